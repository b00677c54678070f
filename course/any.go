package course

import "bytes"

// Read is a plan from YAML or GeoJSON, told apart by content. What is plainly something else, such as a recording
// given in a plan's place, is told as that.
func Read(name string, data []byte) (*Plan, []Warning, error) {
	head := bytes.TrimLeft(bytes.TrimPrefix(data, []byte("\uFEFF")), " \t\r\n")
	if bytes.HasPrefix(head, []byte("{")) && bytes.Contains(head, []byte(`"FeatureCollection"`)) {
		return ReadGeoJSON(name, data)
	}
	if what := noPlan(head); what != "" {
		return nil, nil, Faults{{File: name, Line: 1, Found: what, Expected: "a course plan, as YAML or GeoJSON"}}
	}
	return ReadPlan(name, data)
}

// noPlan says what data are that can't be a plan by their first bytes; "" where they may be one.
func noPlan(head []byte) string {
	for _, k := range []struct{ starts, what string }{
		{"<", "XML, as a watch's recording is"},
		{"PK\x03\x04", "a zip archive"},
		{"\x1f\x8b", "a gzip-packed file"},
		{"%PDF", "a PDF"},
		{"\x89PNG", "a picture"},
	} {
		if bytes.HasPrefix(head, []byte(k.starts)) {
			return k.what
		}
	}
	if len(head) > 12 && bytes.Equal(head[8:12], []byte(".FIT")) {
		return "a FIT recording"
	}
	return ""
}
