package report

// Link leads from a page that is one of several to another. Href is written by the program, never by people.
type Link struct {
	Text, Href string
	Here       bool // the page is among those that it leads to
}
