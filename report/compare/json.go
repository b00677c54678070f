package compare

import (
	"encoding/json"
	"fmt"
	"io"

	"groundline/report"
)

// JSON writes the comparison as one JSON object, indented, in the layout of [Schema], with the promises of
// [report.JSON]. The same comparison is the same bytes.
func JSON(w io.Writer, c *Comparison) error {
	out, err := report.Rounded(*c, "comparison")
	if err != nil {
		return err
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(out); err != nil {
		return fmt.Errorf("comparison as JSON: %w", err)
	}
	return nil
}
