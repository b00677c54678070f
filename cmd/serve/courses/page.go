package courses

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"groundline/cmd/serve/lines"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/course/horse"
	"groundline/report"
	"groundline/report/keep"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"
)

// courseView is one version of a course, walked for a horse.
type courseView struct {
	Course   keep.Course
	Version  keep.Version
	Old      bool // a newer version is there
	Picture  template.HTML
	Words    string // of the picture
	Missing  string // why the chosen horse could not be walked for; "" when it could
	Horses   []shell.Pick
	Sizes    []shell.Pick
	Pace     string
	Walk     report.WalkTold
	Plan     report.PlanTold
	Ridden   []lines.RiddenRow
	Versions []keep.Version
	Asked    string // the choice of horse, version and pace, for addresses
	OfPlan   string // the version alone
	NoMap    bool   // the plan has no place on the earth
}

// showCourse is a course: its plan drawn, walked for a horse, its lines as they were ridden, its versions.
func (s *Room) showCourse(w http.ResponseWriter, r *http.Request) {
	ctx, units := r.Context(), shell.UnitsOf(r)
	c, err := s.OfCourse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v := courseView{Course: c}
	if v.Version, v.Versions, err = s.ofVersion(r, c); err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Old = v.Version.ID != c.VersionID
	plan, warnings, err := s.Store.Plan(ctx, v.Version.ID)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	chosen, err := s.walker(ctx, r.URL.Query())
	if errors.Is(err, horse.ErrNoLine) {
		v.Missing = fmt.Sprintf("No related or bending line of %s is measured yet, and its size is not said, so the walk is for the standard horse. "+
			"Keep a ride of it with a motion sensor, or say its size on its page.", shell.Cleaned(chosen.name))
		err = nil
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	walk := plan.Walk(chosen.horse)
	if v.Walk, err = report.TellWalk(plan, walk, warnings, units); err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Plan = report.TellPlan(plan, report.PlanOptions{Units: units})
	v.Picture, v.Words = planPicture(plan, walk, units)
	v.NoMap = plan.Anchor == nil
	if v.Horses, v.Sizes, err = s.walkChoices(ctx, chosen); err != nil {
		s.Fail(w, r, err)
		return
	}
	if chosen.paceMMin > 0 {
		v.Pace = strconv.FormatFloat(chosen.paceMMin, 'f', -1, 64)
	}
	ridden, err := s.Store.RiddenLines(ctx, c.ID)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	for _, l := range lines.AlongRoute(ridden, plan) {
		v.Ridden = append(v.Ridden, lines.RiddenRow{RiddenLine: l, Href: lines.Address(c.ID, l.From, l.To)})
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
	s.Show(w, r, http.StatusOK, "course.html", shell.View{Title: title, Here: "courses", Data: v})
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
// as for=; and pace=M/MIN. The error is [horse.ErrNoLine] where the rides of a horse don't tell its stride and its size
// is not said; the walker is then the standard horse under that horse's name.
func (s *Room) walker(ctx context.Context, q url.Values) (walker, error) {
	w := walker{size: q.Get("size")}
	id := cmp.Or(q.Get("horse_id"), q.Get("horse"))
	if of, isHorse := strings.CutPrefix(q.Get("for"), keptHorsePrefix); isHorse {
		id, w.size = of, ""
	} else if of != "" {
		id, w.size = "", of
	}
	if id != "" && w.size != "" {
		return w, shell.BadRequest("horse_id with size, expected one of them: a kept horse has its own size")
	}
	if text := q.Get("pace"); text != "" {
		pace, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
		if err != nil || !(pace >= minPaceMMin && pace <= maxPaceMMin) {
			return w, shell.BadRequest("pace: %q, expected %d to %d m/min", shell.Short(shell.Cleaned(text)), minPaceMMin, maxPaceMMin)
		}
		w.paceMMin = pace
	}
	var err error
	var missing error
	if w.horseID, err = shell.Number("horse_id", id); err != nil {
		return w, err
	}
	switch {
	case w.horseID != 0:
		h, err := s.Store.Horse(ctx, w.horseID)
		if err != nil {
			return w, shell.Gone(err, "horse_id: %d, expected a horse that is kept", w.horseID)
		}
		w.name = h.Name
		w.horse, err = s.horses.CourseHorse(ctx, h)
		if errors.Is(err, horse.ErrNoLine) {
			missing = err
			if of := shell.ProfileOf(h.Size); of != nil {
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
		of := shell.ProfileOf(w.size)
		if of == nil {
			return w, shell.BadRequest("size: %q, expected %s", shell.Short(shell.Cleaned(w.size)), shell.SizeNames())
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

// walkChoices are the horses and sizes that a course may be walked for.
func (s *Room) walkChoices(ctx context.Context, chosen walker) (horses, sizes []shell.Pick, err error) {
	kept, err := s.Store.Horses(ctx)
	if err != nil {
		return nil, nil, err
	}
	for _, h := range kept {
		horses = append(horses, shell.Pick{Value: keptHorsePrefix + strconv.FormatInt(h.ID, 10), Text: h.Name, Chosen: h.ID == chosen.horseID})
	}
	for i, p := range course.Profiles() {
		standard := i == 0 && chosen.size == "" && chosen.horseID == 0
		sizes = append(sizes, shell.Pick{Value: p.Name, Text: p.Name, Chosen: standard || p.Name == chosen.size})
	}
	return horses, sizes, nil
}
