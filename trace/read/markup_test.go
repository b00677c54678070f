package read

import (
	"bytes"
	"encoding/xml"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// texts is a document as the decoder understands it: tags, and the text between two.
func texts(t require.TestingT, r io.Reader) []string {
	dec := xml.NewDecoder(r)
	var out []string
	text := ""
	for {
		tok, err := dec.RawToken()
		if err == io.EOF {
			return append(out, text)
		}
		require.NoError(t, err)
		switch tok := tok.(type) {
		case xml.CharData:
			text += string(tok)
		case xml.StartElement:
			out = append(out, text, "<"+tok.Name.Local)
			for _, a := range tok.Attr {
				out = append(out, a.Name.Local+"="+a.Value)
			}
			text = ""
		case xml.EndElement:
			out = append(out, text, "/"+tok.Name.Local)
			text = ""
		}
	}
}

func TestMarkupKeepsWhatADocumentSays(t *testing.T) {
	for _, doc := range []string{
		`<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c>d">]><a b="1>2" c='"'>x<!-- <y> -->z<b/></a>`,
		`<a><![CDATA[1 < 2 && 3 > 2 ]] ]]]></a>`,
		`<a><![CDATA[]]><![CDATA[x]]>y</a>`,
		`<a>&lt;<!----></a><!-- - -->`,
		`<a><?b c>d?></a>`,
	} {
		require.Equal(t, texts(t, strings.NewReader(doc)), texts(t, newMarkup(strings.NewReader(doc), 1000)), doc)
		require.Equal(t, texts(t, strings.NewReader(doc)), texts(t, newMarkup(iotest.OneByteReader(strings.NewReader(doc)), 1000)), doc)
	}
	rapid.Check(t, func(t *rapid.T) {
		piece := rapid.SampledFrom([]string{"x", "\n", " ", "<b>", "</b>", "<b c=\"d>\"/>", "<!-- e\n -->", "<![CDATA[<f>&]]>", "&amp;", "<?g h?>", "<!I j>"})
		doc := strings.Join(rapid.SliceOfN(piece, 0, 30).Draw(t, "pieces"), "")
		require.Equal(t, texts(t, strings.NewReader(doc)), texts(t, newMarkup(iotest.HalfReader(strings.NewReader(doc)), 10_000)))
	})
}

func TestMarkupKeepsLineNumbers(t *testing.T) {
	dec := xml.NewDecoder(newMarkup(strings.NewReader("<a>\n<!-- \n\n -->\n<![CDATA[\n]]><!X\n>\n<b/></a>"), 1000))
	for {
		tok, err := dec.RawToken()
		require.NoError(t, err)
		if s, ok := tok.(xml.StartElement); ok && s.Name.Local == "b" {
			line, _ := dec.InputPos()
			require.Equal(t, 8, line)
			return
		}
	}
}

// However a document is written, no run of bytes without a tag's end is longer than allowed.
func TestMarkupBoundsEveryToken(t *testing.T) {
	const most, far = 1000, 1 << 20
	for name, c := range map[string]struct {
		begin, fill string
		fails       bool
	}{
		"CDATA":                {"<a><![CDATA[", "<", false},
		"CDATA of line breaks": {"<a><![CDATA[", "\n", false},
		"many CDATA":           {"<a>", "<![CDATA[xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx]]>", false},
		"comment":              {"<a><!--", "<b>", false},
		"comment of breaks":    {"<a><!--", "\n", false},
		"directive":            {"<!D \"", "<b>", false},
		"instruction":          {"<?a ", "<b>", true},
		"text":                 {"<a>", ">", true},
		"attribute":            {"<a b=\"", ">", true},
		"name":                 {"<", "a", true},
	} {
		t.Run(name, func(t *testing.T) {
			doc := c.begin + strings.Repeat(c.fill, far/len(c.fill))
			out, err := io.ReadAll(newMarkup(strings.NewReader(doc), most))
			if c.fails {
				require.ErrorContains(t, err, "of more than 1000 bytes")
				require.Less(t, len(out), 64<<10)
			} else {
				require.NoError(t, err)
				require.Less(t, len(out), most)
			}
		})
	}
	data, err := io.ReadAll(newMarkup(strings.NewReader("<a><![CDATA["+strings.Repeat("x", far)+"]]></a>"), most))
	require.NoError(t, err)
	require.True(t, bytes.HasSuffix(data, []byte("</a>")))
}

func FuzzMarkup(f *testing.F) {
	f.Add([]byte(`<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c>d">]><a b="1>2">x<!-- <y> -->z<![CDATA[<b>]]></a>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		const most = 200
		dec := xml.NewDecoder(newMarkup(bytes.NewReader(data), most))
		for last := int64(0); ; {
			if _, err := dec.RawToken(); err != nil {
				return
			}
			if n := dec.InputOffset() - last; n > 2*most {
				t.Fatalf("a token of %d bytes", n)
			}
			last = dec.InputOffset()
		}
	})
}
