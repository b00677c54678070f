package compare

import (
	"io"

	"groundline/report"
)

// JSON writes the comparison as one JSON object, indented, in the layout of [Schema], with the promises of
// [report.JSON]. The same comparison is the same bytes.
func JSON(w io.Writer, c *Comparison) error { return report.WriteJSON(w, *c, "comparison") }
