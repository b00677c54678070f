package lines

import (
	"groundline/cmd/serve/shell"
	"groundline/report"
	"groundline/report/keep"
	"groundline/trace"
	"net/http"
	"slices"
	"strconv"
	"time"
)

// attemptJSON is one ride of a line; figures as in the debrief's lines.
type attemptJSON struct {
	RideID        int64           `json:"ride_id"`
	Attempt       int             `json:"attempt"` // which ride of this way in its ride, from 1
	Round         *int            `json:"round"`
	RiddenAt      time.Time       `json:"ridden_at"` // when the ride began or, while that is not known, when it was kept
	Start         *time.Time      `json:"start"`     // of the ride
	StartS        *float64        `json:"start_s"`   // landing before the line, seconds from the ride's start
	HorseID       *int64          `json:"horse_id"`
	Horse         *string         `json:"horse"`
	Label         string          `json:"label"`
	Basis         string          `json:"basis"`
	VersionID     int64           `json:"course_version_id"`
	Kind          string          `json:"kind"`
	DistanceM     *float64        `json:"distance_m"`
	Strides       *trace.Estimate `json:"strides"`
	StridesBy     string          `json:"strides_by"`
	StrideLengthM *trace.Estimate `json:"stride_length_m"`
	StrideS       *trace.Estimate `json:"stride_s"`
	SpeedMS       *trace.Estimate `json:"speed_m_s"`
	SpeedInMS     *trace.Estimate `json:"speed_in_m_s"`
	SpeedOutMS    *trace.Estimate `json:"speed_out_m_s"`
	TrackM        *trace.Estimate `json:"track_m"`
	RadiusMinM    *trace.Estimate `json:"radius_min_m"`
	PerStrideM    *trace.Estimate `json:"per_stride_m"`
	Says          string          `json:"says"` // long | right | tight; "" where the horse's usual stride is not known
}

type attemptsJSON struct {
	From     string        `json:"from"`
	To       string        `json:"to"`
	Attempts []attemptJSON `json:"attempts"` // newest first
	Total    int           `json:"total"`
}

// apiAttempts are the rides of a line of a course, in any of its versions.
func (s *Room) apiAttempts(w http.ResponseWriter, r *http.Request) {
	c, err := s.OfCourse(r)
	var f keep.AttemptFilter
	if err == nil {
		f, err = attemptFilter(r.URL.Query())
	}
	if text := r.URL.Query().Get("limit"); err == nil && text != "" {
		if f.Limit, err = strconv.Atoi(text); err != nil || f.Limit < 1 || f.Limit > 10_000 {
			err = shell.BadRequest("limit: %q, expected 1 to 10000", shell.Short(text))
		}
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	out := attemptsJSON{From: r.PathValue("from"), To: r.PathValue("to"), Attempts: []attemptJSON{}}
	list, total, err := s.Store.Attempts(r.Context(), c.ID, out.From, out.To, f)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	out.Total = total
	for _, a := range list {
		x := attemptJSON{RideID: a.RideID, Attempt: a.Attempt, Round: a.Round, RiddenAt: a.RiddenAt, Start: a.Start, StartS: a.StartS, HorseID: shell.Known(a.HorseID), Label: a.Label,
			Basis: a.Basis, VersionID: a.VersionID, Kind: a.Kind, DistanceM: a.DistanceM, Strides: a.Strides, StridesBy: a.StridesBy, StrideLengthM: a.StrideLengthM,
			StrideS: a.StrideS, SpeedMS: a.SpeedMS, SpeedInMS: a.SpeedInMS, SpeedOutMS: a.SpeedOutMS, TrackM: a.TrackM, RadiusMinM: a.RadiusMinM, PerStrideM: a.PerStrideM, Says: a.Says}
		if a.HorseID != 0 {
			name := a.Horse
			x.Horse = &name
		}
		out.Attempts = append(out.Attempts, x)
	}
	if out, err = report.Rounded(out, "attempts"); err != nil {
		s.Fail(w, r, err)
		return
	}
	shell.Answer(w, http.StatusOK, out)
}

// attemptFilter reads horse_id (again for more), from and to.
func attemptFilter(q map[string][]string) (keep.AttemptFilter, error) {
	var f keep.AttemptFilter
	first := func(name string) string {
		if v := q[name]; len(v) > 0 {
			return v[0]
		}
		return ""
	}
	for _, text := range q["horse_id"] {
		id, err := shell.Number("horse_id", text)
		if err != nil {
			return f, err
		}
		if id != 0 && !slices.Contains(f.HorseIDs, id) {
			f.HorseIDs = append(f.HorseIDs, id)
		}
	}
	const mostHorses = 100
	if len(f.HorseIDs) > mostHorses {
		return f, shell.BadRequest("horse_id: %d horses, expected at most %d", len(f.HorseIDs), mostHorses)
	}
	var err error
	if f.From, err = shell.DayOf("from", first("from"), 0); err != nil {
		return f, err
	}
	f.To, err = shell.DayOf("to", first("to"), 24*time.Hour)
	return f, err
}
