package record

import (
	"encoding/json"
	"fmt"
	"io"

	"groundline/report"
)

func writeJSON(w io.Writer, r *Record) error {
	out, err := report.Rounded(*r, "horse")
	if err != nil {
		return err
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(out); err != nil {
		return fmt.Errorf("horse as JSON: %w", err)
	}
	return nil
}
