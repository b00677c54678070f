package horses

import (
	"groundline/cmd/serve/shell"
	"groundline/report"
	"groundline/report/keep"
	"groundline/report/layout"
	"groundline/report/record"
	"net/http"
	"strconv"
	"time"
)

// againstView is one ride held against the record of its horse's other rides.
type againstView struct {
	Horse  keep.Horse
	RideID int64
	At     *time.Time
	Course string
	Usual  string // by the other rides; "" where they don't tell
	Others int
	Own    string // that ride's own middle stride; "" where it is not told
	Unit   string
	Lines  []againstRow
}

type againstRow struct {
	Name, Kind, Stride string
	ByRecord, ByRide   string
}

// showAgainst holds a ride's lines against the record of its horse's other rides. A debrief holds them against that ride's own stride,
// and stays as it is whatever is ridden later; this is worked out anew each time.
func (s *Room) showAgainst(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	var told []record.Ride
	var id int64
	if err == nil {
		id, err = strconv.ParseInt(r.PathValue("ride"), 10, 64)
		if err != nil {
			err = keep.ErrNotFound
		}
	}
	if err == nil {
		told, err = s.Store.Told(r.Context(), h.ID)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	var one *record.Ride
	for i := range told {
		if told[i].ID == id {
			one = &told[i]
		}
	}
	if one == nil {
		s.Fail(w, r, keep.ErrNotFound)
		return
	}
	rec, err := record.Of(h.Name, shell.ProfileOf(h.Size), record.Without(told, *one))
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	units := shell.UnitsOf(r)
	k := report.StrideLength
	v := againstView{Horse: h, RideID: id, At: one.At, Course: one.Course, Others: len(rec.Rides), Unit: shell.UnitName(k, units)}
	if u := rec.Usual(); u != nil {
		v.Usual = shell.WithUnit(k, *u, units)
	}
	if e := one.CanterStrideM; e != nil {
		v.Own = shell.WithUnit(k, *e, units)
	}
	for _, q := range record.Against(record.Without(told, *one), shell.ProfileOf(h.Size), *one) {
		l := one.Lines[q.Line]
		row := againstRow{Name: l.From + " to " + l.To, Kind: l.Kind, Stride: k.Measured(*l.StrideLengthM, units, false),
			ByRecord: verdictWords(q.Says, k.Measured(q.PerStrideM, units, true))}
		if l.FitM != nil {
			row.ByRide = verdictWords(l.FitSays, k.Measured(*l.FitM, units, true))
		}
		v.Lines = append(v.Lines, row)
	}
	s.Show(w, r, http.StatusOK, "horse_against.html", shell.View{Title: h.Name + ": a ride against its record", Here: "horses", Data: v})
}

// Of tells how many rides the record has besides.
func (v againstView) Of() string { return layout.Count(v.Others, "other ride") }

// verdictWords is a verdict with its figure.
func verdictWords(says, figure string) string {
	if says == "" {
		says = "too close to call"
	}
	return says + " (" + figure + ")"
}
