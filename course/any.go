package course

import "bytes"

// Read understands a plan in either form, told apart by its content: a GeoJSON FeatureCollection by
// [ReadGeoJSON], all else by [ReadPlan].
func Read(name string, data []byte) (*Plan, []Warning, error) {
	head := bytes.TrimLeft(bytes.TrimPrefix(data, []byte("\uFEFF")), " \t\r\n")
	if bytes.HasPrefix(head, []byte("{")) && bytes.Contains(head, []byte(`"FeatureCollection"`)) {
		return ReadGeoJSON(name, data)
	}
	return ReadPlan(name, data)
}
