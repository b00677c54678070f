package draw

import (
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// WritePDF writes the drawing as a PDF of one page of the sheet's size, with the letters that it uses embedded.
func WritePDF(w io.Writer, d *Drawing) error {
	if err := d.check(); err != nil {
		return err
	}
	// The page is as wide and high as said: "P" only keeps the library from swapping the two.
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "pt", Size: fpdf.SizeType{Wd: d.WidthPt, Ht: d.HighPt}})
	// The same bytes each run: no clock, no order of maps.
	fixed := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	pdf.SetCreationDate(fixed)
	pdf.SetModificationDate(fixed)
	pdf.SetCatalogSort(true)
	pdf.SetTitle(cleaned(d.Title), true)
	pdf.SetSubject(cleaned(d.Description), true)
	pdf.SetProducer("groundline", false)
	pdf.SetLang("en")
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetLineJoinStyle("round")
	pdf.AddUTF8FontFromBytes("go", "", goregular.TTF)
	pdf.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	pdf.AddPage()
	f := newFonts()
	for _, g := range d.Groups {
		for _, it := range g.Items {
			switch it := it.(type) {
			case Line:
				pdf.SetDrawColor(int(it.Colour.R), int(it.Colour.G), int(it.Colour.B))
				pdf.SetLineWidth(it.WidthPt)
				pdf.SetDashPattern(it.DashPt, 0)
				trace(pdf, it.Points, it.Closed, "D")
			case Area:
				pdf.SetFillColor(int(it.Fill.R), int(it.Fill.G), int(it.Fill.B))
				trace(pdf, it.Points, true, "F")
			case Text:
				style := ""
				if it.Bold {
					style = "B"
				}
				pdf.SetFont("go", style, it.SizePt)
				pdf.SetTextColor(int(it.Colour.R), int(it.Colour.G), int(it.Colour.B))
				s := f.known(it.Text)
				pdf.Text(it.left(f.width(it.Text, it.SizePt, it.Bold)), it.At.Y, s)
			}
		}
	}
	return pdf.Output(w)
}

func trace(pdf *fpdf.Fpdf, points []XY, closed bool, style string) {
	if len(points) == 0 {
		return
	}
	pdf.MoveTo(points[0].X, points[0].Y)
	for _, p := range points[1:] {
		pdf.LineTo(p.X, p.Y)
	}
	if closed {
		pdf.ClosePath()
	}
	pdf.DrawPath(style)
}
