package guard

import (
	"net/http"
	"net/url"
	"path"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Policy is the Content-Security-Policy of every answer that sets no other: script, style, pictures and data from
// this server alone, in nobody's frame.
const Policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// An answer that is no page: nothing in it may run, wherever it is opened.
const policyOfFiles = "default-src 'none'; frame-ancestors 'none'; sandbox"

func (g *Guard) withHeaders(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", Policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY") // browsers without frame-ancestors
		// Not "no-referrer": under it a browser sends "Origin: null" with the page's own forms (Fetch, "append a
		// request Origin header"), and who comes from here could no longer be told from who does not.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), display-capture=(), geolocation=(), microphone=(), payment=(), usb=()")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store") // rides are private; handlers of what is not say otherwise
		next.ServeHTTP(w, r)
	})
}

// SetPolicy gives an answer the policy that its page brings (one with style and script in it names them by their
// hash). What a page can't say of itself in a meta element, that nobody frames it, is added; nothing that was there
// is loosened by it.
func SetPolicy(w http.ResponseWriter, own string) {
	keep := []string{"default-src 'none'"}
	named := map[string]bool{"frame-ancestors": true, "report-uri": true, "report-to": true}
	for part := range strings.SplitSeq(own, ";") {
		fields := strings.Fields(part)
		if len(fields) == 0 {
			continue
		}
		directive := strings.ToLower(fields[0])
		if named[directive] { // the first of a name counts
			continue
		}
		named[directive] = true
		if directive == "default-src" {
			keep[0] = strings.Join(fields, " ")
			continue
		}
		keep = append(keep, strings.Join(fields, " "))
	}
	for _, must := range []string{"form-action 'self'", "base-uri 'none'"} {
		if directive, _, _ := strings.Cut(must, " "); !named[directive] {
			keep = append(keep, must)
		}
	}
	w.Header().Set("Content-Security-Policy", strings.Join(append(keep, "frame-ancestors 'none'"), "; "))
}

// Inert says that the answer is a file of that media type in which nothing runs, wherever it is shown: a picture to be
// looked at.
func Inert(w http.ResponseWriter, mediaType string) {
	h := w.Header()
	h.Set("Content-Type", mediaType)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Security-Policy", policyOfFiles)
}

// Attachment says that the answer is a file to be saved under the name (or what of it is safe as one), never shown, and
// runs nothing where a browser shows it all the same. mediaType is that of a file the server makes; "" is for originals
// that somebody sent, which go as bytes, whatever is in them.
func Attachment(w http.ResponseWriter, name, mediaType string) {
	if mediaType == "" {
		mediaType = "application/octet-stream"
	}
	Inert(w, mediaType)
	w.Header().Set("Content-Disposition", disposition(name))
}

// disposition names a file in ASCII for all, and in full for those who read RFC 8187 (RFC 6266, appendix D).
func disposition(name string) string {
	name = FileName(name)
	plain := strings.Map(func(r rune) rune {
		if r >= 0x7f || r == '%' || r == '"' {
			return '_'
		}
		return r
	}, name)
	d := `attachment; filename="` + plain + `"`
	if plain != name {
		// PathEscape leaves some characters that attr-char has not; they are no letters of a name that is worth
		// keeping, but must not end the value.
		d += "; filename*=UTF-8''" + strings.NewReplacer(":", "%3A", "@", "%40", "=", "%3D", ",", "%2C", ";", "%3B", "'", "%27", "(", "%28", ")", "%29", "*", "%2A").Replace(url.PathEscape(name))
	}
	return d
}

// longestName leaves room for what a browser adds, below the 255 bytes that file systems have.
const longestName = 200

// FileName is what of a name is safe as that of a file, on any system: its last part, without control and
// direction-turning characters, without characters that systems reserve, not hidden, not a device of Windows, not
// too long. Never empty.
func FileName(name string) string {
	name = path.Base(strings.ReplaceAll(strings.ToValidUTF8(name, "_"), `\`, "/"))
	name = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Zl, r), unicode.Is(unicode.Zp, r):
			return -1
		case strings.ContainsRune(`<>:"/\|?*;`, r):
			return '_'
		case unicode.IsSpace(r):
			return ' '
		}
		return r
	}, name)
	name = strings.Trim(name, ". ")
	stem, ext := name, ""
	if i := strings.LastIndexByte(name, '.'); i > 0 && len(name)-i <= 12 {
		stem, ext = name[:i], name[i:]
	}
	for len(stem)+len(ext) > longestName {
		_, size := utf8.DecodeLastRuneInString(stem)
		stem = stem[:len(stem)-size]
	}
	first, _, _ := strings.Cut(strings.ToUpper(stem), ".")
	switch strings.TrimRight(first, " 0123456789¹²³") {
	case "CON", "PRN", "AUX", "NUL", "COM", "LPT", "CONIN$", "CONOUT$":
		stem = "_" + stem
	}
	if name = stem + ext; name == "" {
		return "download"
	}
	return name
}
