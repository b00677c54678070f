package layout

import "strings"

// Cell is a text as it stands in a cell of a CSV file that may be opened in a spreadsheet, which takes what begins with =, +, -
// or @ for a formula: such a text gets an apostrophe before it, which spreadsheets understand as "this is text" (OWASP, CSV
// injection). [OfCell] takes it away again.
func Cell(text string) string {
	if isFormula(text) {
		return "'" + text
	}
	return text
}

// OfCell is the text that [Cell] wrote.
func OfCell(cell string) string {
	if strings.HasPrefix(cell, "'") && isFormula(cell) {
		return cell[1:]
	}
	return cell
}

// isFormula reports whether a text begins, behind apostrophes, as a formula does.
func isFormula(text string) bool {
	text = strings.TrimLeft(text, "'")
	return text != "" && strings.IndexByte("=+-@\t\r", text[0]) >= 0
}
