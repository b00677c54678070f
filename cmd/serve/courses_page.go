package serve

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"groundline/course"
	"groundline/report"
	"groundline/report/keep"
)

// courseView is one version of a course, walked for a horse.
type courseView struct {
	Course   keep.Course
	Version  keep.Version
	Old      bool // a newer version is there
	Picture  template.HTML
	Words    string // of the picture
	Missing  string // why the chosen horse could not be walked for; "" when it could
	Horses   []pick
	Sizes    []pick
	Pace     string
	Walk     report.WalkTold
	Plan     report.PlanTold
	Ridden   []riddenRow
	Versions []keep.Version
	Asked    string // the choice of horse, version and pace, for addresses
	OfPlan   string // the version alone
	NoMap    bool   // the plan has no place on the earth
}

type riddenRow struct {
	keep.RiddenLine
	Href string
}

// showCourse is a course: its plan drawn, walked for a horse, its lines as they were ridden, its versions.
func (s *server) showCourse(w http.ResponseWriter, r *http.Request) {
	ctx, units := r.Context(), unitsOf(r)
	c, err := s.ofCourse(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v := courseView{Course: c}
	if v.Version, v.Versions, err = s.ofVersion(r, c); err != nil {
		s.fail(w, r, err)
		return
	}
	v.Old = v.Version.ID != c.VersionID
	plan, warnings, err := s.Store.Plan(ctx, v.Version.ID)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	chosen, err := s.walker(ctx, r.URL.Query())
	if errors.Is(err, course.ErrNoLine) {
		v.Missing = fmt.Sprintf("No related or bending line of %s is measured yet, and its size is not said, so the walk is for the standard horse. "+
			"Keep a ride of it with a motion sensor, or say its size on its page.", cleaned(chosen.name))
		err = nil
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	walk := plan.Walk(chosen.horse)
	if v.Walk, err = report.TellWalk(plan, walk, warnings, units); err != nil {
		s.fail(w, r, err)
		return
	}
	v.Plan = report.TellPlan(plan, report.PlanOptions{Units: units})
	v.Picture, v.Words = planPicture(plan, walk, units)
	v.NoMap = plan.Anchor == nil
	if v.Horses, v.Sizes, err = s.walkChoices(ctx, chosen); err != nil {
		s.fail(w, r, err)
		return
	}
	if chosen.paceMMin > 0 {
		v.Pace = strconv.FormatFloat(chosen.paceMMin, 'f', -1, 64)
	}
	ridden, err := s.Store.RiddenLines(ctx, c.ID)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	for _, l := range alongRoute(ridden, plan) {
		v.Ridden = append(v.Ridden, riddenRow{l, lineAddress(c.ID, l.From, l.To)})
	}
	asked := chosen.query()
	if v.Old {
		asked.Set("version", strconv.Itoa(v.Version.Version))
		v.OfPlan = fmt.Sprintf("?version=%d", v.Version.Version)
	}
	if len(asked) > 0 {
		v.Asked = "?" + asked.Encode()
	}
	title := c.Name
	if v.Old {
		title = fmt.Sprintf("%s, version %d", v.Version.Name, v.Version.Version)
	}
	s.show(w, r, http.StatusOK, "course.html", view{Title: title, Here: "courses", Data: v})
}

// alongRoute puts the lines of a plan's route in its order, and behind them the others as they come.
func alongRoute(ridden []keep.RiddenLine, plan *course.Plan) []keep.RiddenLine {
	place := func(l keep.RiddenLine) int {
		if i := slices.IndexFunc(plan.Lines, func(x course.Line) bool { return x.From == l.From && x.To == l.To }); i >= 0 {
			return i
		}
		return len(plan.Lines)
	}
	slices.SortStableFunc(ridden, func(a, b keep.RiddenLine) int { return place(a) - place(b) })
	return ridden
}

// walker is for whom a course is walked.
type walker struct {
	horse    course.Horse
	name     string
	horseID  int64  // a kept horse; 0 for a size
	size     string // "" for the standard horse unasked
	paceMMin float64
}

// query is the choice as a query of the interface.
func (w walker) query() url.Values {
	q := url.Values{}
	switch {
	case w.horseID != 0:
		q.Set("horse_id", strconv.FormatInt(w.horseID, 10))
	case w.size != "":
		q.Set("size", w.size)
	}
	if w.paceMMin > 0 {
		q.Set("pace", strconv.FormatFloat(w.paceMMin, 'f', -1, 64))
	}
	return q
}

// Paces between walk and racing gallop, m/min, as the command takes them.
const minPaceMMin, maxPaceMMin = 100, 1000

// keptHorsePrefix tells a kept horse from a size where one list has both.
const keptHorsePrefix = "horse-"

// walker reads for whom a course is to be walked: horse_id=NUMBER (or horse=) of a kept horse or size=NAME of a table, or either of them
// as for=; and pace=M/MIN. The error is [course.ErrNoLine] where the rides of a horse don't tell its stride and its size
// is not said; the walker is then the standard horse under that horse's name.
func (s *server) walker(ctx context.Context, q url.Values) (walker, error) {
	w := walker{size: q.Get("size")}
	id := cmp.Or(q.Get("horse_id"), q.Get("horse"))
	if of, isHorse := strings.CutPrefix(q.Get("for"), keptHorsePrefix); isHorse {
		id, w.size = of, ""
	} else if of != "" {
		id, w.size = "", of
	}
	if id != "" && w.size != "" {
		return w, badRequest("horse_id with size, expected one of them: a kept horse has its own size")
	}
	if text := q.Get("pace"); text != "" {
		pace, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
		if err != nil || !(pace >= minPaceMMin && pace <= maxPaceMMin) {
			return w, badRequest("pace: %q, expected %d to %d m/min", short(cleaned(text)), minPaceMMin, maxPaceMMin)
		}
		w.paceMMin = pace
	}
	var err error
	var missing error
	if w.horseID, err = number("horse_id", id); err != nil {
		return w, err
	}
	switch {
	case w.horseID != 0:
		h, err := s.Store.Horse(ctx, w.horseID)
		if err != nil {
			return w, gone(err, "horse_id: %d, expected a horse that is kept", w.horseID)
		}
		w.name = h.Name
		w.horse, err = s.courseHorse(ctx, h)
		if errors.Is(err, course.ErrNoLine) {
			missing = err
			if of := profileOf(h.Size); of != nil {
				missing = nil
				w.horse = of.Horse()
				w.horse.Name = h.Name
				w.horse.Source = "no line of it is measured yet; what the tables have for its size: " + w.horse.Source
			} else {
				w.horse = course.Profiles()[0].Horse()
			}
		} else if err != nil {
			return w, err
		}
	case w.size != "":
		of := profileOf(w.size)
		if of == nil {
			return w, badRequest("size: %q, expected %s", short(cleaned(w.size)), sizeNames())
		}
		w.horse, w.name = of.Horse(), of.Name
	default:
		w.horse = course.Profiles()[0].Horse()
		w.name = w.horse.Name
	}
	if w.paceMMin > 0 {
		w.horse = w.horse.AtPace(w.paceMMin / 60)
	}
	return w, missing
}

// courseHorse is the horse that its kept rides tell of. The error is [course.ErrNoLine] where they don't.
func (s *server) courseHorse(ctx context.Context, h keep.Horse) (course.Horse, error) {
	rec, err := s.record(ctx, h)
	if err != nil {
		return course.Horse{}, err
	}
	return rec.CourseHorse()
}

// profileOf is the size of that name; nil for none.
func profileOf(size string) *course.Profile {
	for _, p := range course.Profiles() {
		if p.Name == size {
			return &p
		}
	}
	return nil
}

// walkChoices are the horses and sizes that a course may be walked for.
func (s *server) walkChoices(ctx context.Context, chosen walker) (horses, sizes []pick, err error) {
	kept, err := s.Store.Horses(ctx)
	if err != nil {
		return nil, nil, err
	}
	for _, h := range kept {
		horses = append(horses, pick{keptHorsePrefix + strconv.FormatInt(h.ID, 10), h.Name, h.ID == chosen.horseID})
	}
	for i, p := range course.Profiles() {
		standard := i == 0 && chosen.size == "" && chosen.horseID == 0
		sizes = append(sizes, pick{p.Name, p.Name, standard || p.Name == chosen.size})
	}
	return horses, sizes, nil
}
