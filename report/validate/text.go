package validate

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundline/report/layout"
	"groundline/trace"
)

// JSON writes the result for programs.
func JSON(w io.Writer, r *Result) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	enc.SetEscapeHTML(false)
	return enc.Encode(r)
}

// PairsCSV writes every pair, a row each.
func PairsCSV(w io.Writer, rides []*Judged) error {
	out := csv.NewWriter(w)
	if err := out.Write(pairsHeader()); err != nil {
		return err
	}
	num := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	for _, j := range rides {
		for _, p := range j.Pairs {
			row := []string{p.Ride, p.Horse, p.Mounting, p.Kind, p.At, "", p.Rater, p.Label, num(p.Sure), "", "", "", "", p.SeenIs, p.FoundIs, ""}
			for i := range row {
				row[i] = inert(row[i])
			}
			if p.Attempt > 0 {
				row[5] = strconv.Itoa(p.Attempt)
			}
			if p.Seen != nil {
				row[9] = num(round(*p.Seen))
			}
			if p.Found != nil {
				row[10], row[11], row[12] = num(round(p.Found.Value)), num(round(p.Found.Low)), num(round(p.Found.High))
			}
			if p.WeightS > 0 {
				row[15] = num(round(p.WeightS))
			}
			if err := out.Write(row); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return out.Error()
}

// inert is a cell that no spreadsheet runs: a name that begins as a formula gets a quote before it.
func inert(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func round(v float64) float64 { return math.Round(1e4*v) / 1e4 }

func number(v float64, decimals int) string { return layout.Number(v, decimals) }

// A section is a part of the result in words: a heading, a table and lines of text.
type section struct {
	Heading string
	Head    []string
	Rows    [][]string
	Lines   []string
}

// Text writes the result for people.
func Text(w io.Writer, r *Result) error {
	var b strings.Builder
	for i, s := range sections(r) {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(s.Heading + "\n")
		for _, l := range s.Lines {
			b.WriteString(wrapped(l, 2, 100))
		}
		rows := s.Rows
		if len(s.Head) > 0 && len(rows) > 0 {
			rows = append([][]string{s.Head}, rows...)
		}
		width := map[int]int{}
		for _, row := range rows {
			for c, cell := range row {
				width[c] = max(width[c], layout.Columns(cell))
			}
		}
		for _, row := range rows {
			var line strings.Builder
			for c, cell := range row {
				line.WriteString("  " + cell + strings.Repeat(" ", width[c]-layout.Columns(cell)))
			}
			b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// wrapped is text broken at blanks, each line indented.
func wrapped(text string, indent, width int) string {
	var b strings.Builder
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && layout.Columns(line)+1+layout.Columns(word) > width-indent {
			b.WriteString(strings.Repeat(" ", indent) + line + "\n")
			line = ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	if line != "" {
		b.WriteString(strings.Repeat(" ", indent) + line + "\n")
	}
	return b.String()
}

// sections is the result in words, for text and page alike.
func sections(r *Result) []section {
	var out []section
	labels := 0
	for _, x := range r.Rides {
		labels += x.Labels
	}
	top := section{Heading: fmt.Sprintf("%s against %s", layout.Count(len(r.Rides), "ride"), layout.Count(labels, "label"))}
	top.Lines = append(top.Lines, headline(r))
	out = append(out, top)
	if x := r.Raters; x != nil {
		s := section{Heading: fmt.Sprintf("First the two raters against each other: %s and %s", named(x.A), named(x.B))}
		if x.Counts.Of > 0 {
			s.Lines = append(s.Lines, "Counts alike: "+share(x.Counts)+".")
		}
		if x.Times != nil && x.Times.Bias != nil {
			s.Lines = append(s.Lines, fmt.Sprintf("Times of take-off and landing: %s later by %s s; 95 of 100 differences between %s and %s s.",
				named(x.B), plusMinus(x.Times.Bias, 3), number(x.Times.Low.Value, 2), number(x.Times.High.Value, 2)))
		}
		if x.Words.Of > 0 {
			s.Lines = append(s.Lines, "Gaits and leads alike: "+share(x.Words)+".")
		}
		for _, p := range x.Slips {
			row := []string{p.Event, p.At, attemptWords(p.Attempt), p.LabelA + ": " + p.A, p.LabelB + ": " + p.B}
			if p.Recording != "" {
				row = append(row, "recording "+p.Recording)
			}
			s.Rows = append(s.Rows, row)
		}
		out = append(out, s)
	}
	if c := r.Counts; c.Exact.Of+c.Missing > 0 {
		s := section{Heading: "Strides of lines", Lines: []string{
			fmt.Sprintf("Exact: %s. Within one: %s. Inside the reported range: %s.", share(c.Exact), share(c.WithinOne), share(c.Inside))}}
		if c.Missing > 0 {
			s.Lines = append(s.Lines, fmt.Sprintf("%s counted by hand without a count from the recording.", layout.Count(c.Missing, "line")))
		}
		s.Head, s.Rows = confusionRows(c)
		out = append(out, s)
	}
	if len(r.Events) > 0 {
		s := section{Heading: "Events", Head: []string{"", "labelled", "found", "F1 50 ms", "100 ms", "200 ms"}}
		t := section{Heading: "Found less labelled (positive: the tool is later or longer)", Head: []string{"", "pairs", "bias", "spread", "95 of 100 between", "grows by"}}
		for _, e := range r.Events {
			if len(e.Detection) > 0 {
				row := []string{e.Event, strconv.Itoa(e.Detection[0].Labelled), strconv.Itoa(e.Detection[0].Found)}
				for _, d := range e.Detection {
					row = append(row, optional(d.F1, 2))
				}
				s.Rows = append(s.Rows, row)
			}
			if a := e.Agreement; a != nil && a.Bias != nil {
				row := []string{e.Event + ", " + e.Unit, strconv.Itoa(a.N), plusMinus(a.Bias, 3), optional(a.SD, 3),
					number(a.Low.Value, 3) + " and " + number(a.High.Value, 3), ""}
				if a.Slope != nil {
					row[5] = plusMinus(a.Slope, 3)
				}
				t.Rows = append(t.Rows, row)
				if a.MoreRides != nil && e.Event == Takeoff {
					t.Lines = append(t.Lines, fmt.Sprintf("Some %s like these would halve the ± of the take-off's bias.", layout.Count(*a.MoreRides, "more ride")))
				}
			}
		}
		out = append(out, s)
		if len(t.Rows) > 0 {
			out = append(out, t)
		}
	}
	for _, c := range []struct {
		is   *Confusion
		what string
	}{{r.Gaits, "Gaits, seconds"}, {r.Leads, "Leads"}} {
		if c.is != nil {
			s := section{Heading: c.what, Lines: []string{"Right: " + share(c.is.Right) + "."}}
			s.Head, s.Rows = tableRows(c.is.Table)
			out = append(out, s)
		}
	}
	if len(r.Coverage) > 0 {
		s := section{Heading: "How often the 90 % intervals hold the label (should be nine in ten)"}
		for _, c := range r.Coverage {
			s.Rows = append(s.Rows, []string{c.Figure, share(c.Inside)})
		}
		out = append(out, s)
	}
	out = append(out, parts("By mounting", r.ByMounting)...)
	out = append(out, parts("By horse", r.ByHorse)...)
	clocks := section{Heading: "Clocks", Head: []string{"ride", "film ahead, s", "drift, millionths", "events"}}
	for _, x := range r.Rides {
		if x.Clock != nil && x.Clock.OffsetS != nil {
			row := []string{x.Ride, plusMinus(x.Clock.OffsetS, 2), "", strconv.Itoa(x.Clock.Events)}
			if x.Clock.DriftPPM != nil {
				row[2] = plusMinus(x.Clock.DriftPPM, 0)
			}
			if x.Clock.Given {
				row[2] = "given"
			}
			clocks.Rows = append(clocks.Rows, row)
		}
	}
	if len(clocks.Rows) > 0 {
		out = append(out, clocks)
	}
	if len(r.Notes) > 0 {
		out = append(out, section{Heading: "To keep in mind", Lines: r.Notes})
	}
	return out
}

// headline is the result in one sentence.
func headline(r *Result) string {
	if r.Counts.Exact.Of > 0 {
		return fmt.Sprintf("Of %s, %d had the right number of strides, %d were within one.",
			layout.Count(r.Counts.Exact.Of, "line"), r.Counts.Exact.Is, r.Counts.WithinOne.Is)
	}
	for _, e := range r.Events {
		if e.Event == Takeoff && len(e.Detection) == 3 {
			return fmt.Sprintf("Of %d take-offs labelled, %d were found within 0.2 s.", e.Detection[2].Labelled, e.Detection[2].Paired)
		}
	}
	return "Each figure beside what was seen."
}

func parts(what string, of []Part) []section {
	if len(of) == 0 {
		return nil
	}
	s := section{Heading: what, Head: []string{"", "rides", "strides exact", "take-off, s", "take-off inside", "landing inside"}}
	for _, p := range of {
		row := []string{named(p.Name), strconv.Itoa(p.Rides), share(p.Counts.Exact), "", "", ""}
		for _, e := range p.Events {
			if e.Event == Takeoff && e.Agreement != nil && e.Agreement.Bias != nil {
				row[3] = plusMinus(e.Agreement.Bias, 3)
			}
		}
		for _, c := range p.Coverage {
			if c.Figure == Takeoff {
				row[4] = share(c.Inside)
			}
			if c.Figure == Landing {
				row[5] = share(c.Inside)
			}
		}
		s.Rows = append(s.Rows, row)
	}
	return []section{s}
}

func named(s string) string {
	if s == "" {
		return "(not named)"
	}
	return layout.Printable(s)
}

func attemptWords(n int) string {
	if n == 0 {
		return ""
	}
	return "attempt " + strconv.Itoa(n)
}

// share is "34 of 40 (0.85, 0.73 to 0.93)".
func share(s Share) string {
	if s.Share == nil {
		return "none"
	}
	return fmt.Sprintf("%d of %d (%s, %s to %s)", s.Is, s.Of, number(s.Share.Value, 2), number(s.Share.Low, 2), number(s.Share.High, 2))
}

// plusMinus is a figure with half its interval.
func plusMinus(e *trace.Estimate, decimals int) string {
	return number(e.Value, decimals) + " ±" + number((e.High-e.Low)/2, decimals)
}

func optional(v *float64, decimals int) string {
	if v == nil {
		return ""
	}
	return number(*v, decimals)
}

// confusionRows are the counts that differ: labelled, found, how often.
func confusionRows(c Counts) (head []string, rows [][]string) {
	type off struct{ labelled, found, times int }
	var all []off
	for a, row := range c.Confusion {
		for b, n := range row {
			labelled, _ := strconv.Atoi(a)
			if found, err := strconv.Atoi(b); err == nil && found != labelled {
				all = append(all, off{labelled, found, n})
			}
		}
	}
	slices.SortFunc(all, func(x, y off) int { return cmp.Or(x.labelled-y.labelled, x.found-y.found) })
	for _, o := range all {
		rows = append(rows, []string{strconv.Itoa(o.labelled), strconv.Itoa(o.found), strconv.Itoa(o.times)})
	}
	return []string{"labelled", "found", "lines"}, rows
}

// tableRows is a table of confusion, numbers in order of size, words of the alphabet.
func tableRows(t map[string]map[string]float64) (head []string, rows [][]string) {
	var a, b []string
	for k, row := range t {
		a = append(a, k)
		for c := range row {
			if !slices.Contains(b, c) {
				b = append(b, c)
			}
		}
	}
	byValue := func(x, y string) int {
		i, errI := strconv.Atoi(x)
		j, errJ := strconv.Atoi(y)
		if errI == nil && errJ == nil {
			return i - j
		}
		return strings.Compare(x, y)
	}
	slices.SortFunc(a, byValue)
	slices.SortFunc(b, byValue)
	head = []string{"labelled \\ found"}
	for _, c := range b {
		if c == "" {
			c = "not known"
		}
		head = append(head, c)
	}
	for _, k := range a {
		row := []string{k}
		for _, c := range b {
			cell := ""
			if v := t[k][c]; v > 0 {
				cell = strconv.FormatFloat(v, 'f', -1, 64)
			}
			row = append(row, cell)
		}
		rows = append(rows, row)
	}
	return head, rows
}

const pageHTML = `<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'">
<title>Checked against labels</title>
<style>
:root{color-scheme:light dark}
body{font:1rem/1.5 system-ui,sans-serif;max-width:60rem;margin:1rem auto;padding:0 1rem}
h1{font-size:1.5rem;margin:.5rem 0}h2{font-size:1.15rem;margin:1.5rem 0 .25rem}
.wide{overflow-x:auto}table{border-collapse:collapse;font-variant-numeric:tabular-nums}
th,td{padding:.2rem .7rem .2rem 0;text-align:left;border-bottom:1px solid color-mix(in srgb,currentColor 20%,transparent);white-space:nowrap}
p{margin:.25rem 0}@media print{body{margin:0;max-width:none}}
</style></head><body><main>
<h1>{{(index . 0).Heading}}</h1>{{range (index . 0).Lines}}<p>{{.}}</p>{{end}}
{{range slice . 1}}<section><h2>{{.Heading}}</h2>{{range .Lines}}<p>{{.}}</p>{{end}}
{{if .Rows}}<div class="wide" tabindex="0" role="region" aria-label="{{.Heading}}"><table>{{if .Head}}<thead><tr>{{range .Head}}<th scope="col">{{.}}</th>{{end}}</tr></thead>{{end}}
<tbody>{{range .Rows}}<tr>{{range .}}<td>{{.}}</td>{{end}}</tr>{{end}}</tbody></table></div>{{end}}</section>
{{end}}</main></body></html>
`

// HTML writes the result as one page that needs nothing else: what [Text] says, in tables.
func HTML(w io.Writer, r *Result) error {
	t := template.Must(template.New("validate").Parse(pageHTML))
	var b bytes.Buffer
	if err := t.Execute(&b, sections(r)); err != nil {
		return fmt.Errorf("validate: %w", err)
	}
	_, err := w.Write(b.Bytes())
	return err
}
