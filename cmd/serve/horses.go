package serve

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"groundline/cmd/serve/guard"
	"groundline/course"
	"groundline/report/compare"
	"groundline/report/keep"
	"groundline/report/record"
)

// horseRoutes are the horses and their records.
func (s *server) horseRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /horses", s.showHorses)
	mux.HandleFunc("POST /horses", s.addHorse)
	mux.HandleFunc("GET /horses/{id}", s.showHorse)
	mux.HandleFunc("POST /horses/{id}", s.changeHorse)
	mux.HandleFunc("GET /horses/{id}/walk", s.walkForHorse)
	mux.HandleFunc("GET /horses/{id}/rides/{ride}", s.showAgainst)
	mux.HandleFunc("GET /horses/{id}/remove", s.askHorseRemoval)
	mux.HandleFunc("POST /horses/{id}/remove", s.removeHorse)
	mux.HandleFunc("GET /horses/{id}/horse.yaml", s.horseFile)
	mux.HandleFunc("GET /horses/{id}/record.json", s.recordFile)
	s.horseInterface(mux)
}

// horsesView is the list of horses with the form for a new one.
type horsesView struct {
	Horses []horseRow
	Sizes  []pick
	// Of a form that was refused.
	Wrong, Name string
}

type horseRow struct {
	keep.Horse
	Usual string // stride; "" where it is not told
	Later bool   // not worked out yet
}

// listBudget is of how many rides the list of horses may work out records that nobody asked for before: the others' usual
// strides stand on their own pages, and here once those were opened. With it the list of a full store is there in a tenth of a
// second, and people with a hundred rides never meet it.
const listBudget = 100

func (s *server) showHorses(w http.ResponseWriter, r *http.Request) {
	s.listHorses(w, r, http.StatusOK, horsesView{})
}

func (s *server) listHorses(w http.ResponseWriter, r *http.Request, status int, v horsesView) {
	ctx, units := r.Context(), unitsOf(r)
	horses, err := s.Store.Horses(ctx)
	var marks map[int64]string
	if err == nil {
		marks, err = s.Store.Marks(ctx)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	left := listBudget
	for _, h := range horses {
		row := horseRow{Horse: h}
		rec, ok := s.records.find(h, marks[h.ID])
		if !ok && marks[h.ID] != "" {
			if row.Later = h.Rides > left; !row.Later {
				left -= h.Rides
				if rec, err = s.makeRecord(ctx, h, marks[h.ID]); err != nil {
					s.fail(w, r, err)
					return
				}
			}
		}
		if rec != nil && rec.Usual() != nil {
			row.Usual = withUnit(compare.StrideLength, *rec.Usual(), units)
		}
		v.Horses = append(v.Horses, row)
	}
	v.Sizes = sizePicks("")
	s.show(w, r, status, "horses.html", view{Title: "Horses", Here: "horses", Data: v})
}

// sizePicks are the sizes that a horse may have.
func sizePicks(chosen string) []pick {
	out := []pick{{"", "not said", chosen == ""}}
	for _, p := range course.Profiles() {
		out = append(out, pick{p.Name, p.Name, p.Name == chosen})
	}
	return out
}

func (s *server) addHorse(w http.ResponseWriter, r *http.Request) {
	if err := readForm(w, r, maxFormBytes); err != nil {
		s.fail(w, r, err)
		return
	}
	h, _, err := s.newHorse(r.Context(), keep.Horse{Name: r.PostFormValue("name"), Size: r.PostFormValue("size")})
	var invalid *keep.InvalidError
	if errors.As(err, &invalid) {
		s.listHorses(w, r, http.StatusBadRequest, horsesView{Wrong: invalid.Error(), Name: r.PostFormValue("name")})
		return
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	http.Redirect(w, r, horseAddress(h.ID)+"?said=saved", http.StatusSeeOther)
}

// newHorse keeps a horse; one of that name that is kept already is it, and is not changed.
func (s *server) newHorse(ctx context.Context, h keep.Horse) (of keep.Horse, made bool, err error) {
	if h.Size != "" && profileOf(h.Size) == nil {
		return of, false, &keep.InvalidError{Field: "size", Found: fmt.Sprintf("%q", short(cleaned(h.Size))), Expected: sizeNames()}
	}
	h.Name = strings.TrimSpace(h.Name)
	before, err := s.Store.Horses(ctx)
	if err != nil {
		return of, false, err
	}
	id, err := s.Store.NameHorse(ctx, h.Name)
	if err != nil {
		return of, false, err
	}
	for _, b := range before {
		if b.ID == id {
			return b, false, nil
		}
	}
	if h.Size != "" || h.Note != "" {
		h.ID = id
		if err := s.Store.SetHorse(ctx, h); err != nil {
			return of, false, err
		}
	}
	of, err = s.Store.Horse(ctx, id)
	return of, true, err
}

func sizeNames() string {
	var names []string
	for _, p := range course.Profiles() {
		names = append(names, p.Name)
	}
	return strings.Join(names, ", ")
}

func (s *server) changeHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	if err == nil {
		err = readForm(w, r, maxFormBytes)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	changed := h
	changed.Name, changed.Size, changed.Note = r.PostFormValue("name"), r.PostFormValue("size"), r.PostFormValue("note")
	err = s.Store.SetHorse(r.Context(), changed)
	var invalid *keep.InvalidError
	if errors.As(err, &invalid) {
		s.answerHorse(w, r, http.StatusBadRequest, h, horseForm{Wrong: invalid.Error(), Name: changed.Name, Sizes: sizePicks(changed.Size), Note: changed.Note})
		return
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	http.Redirect(w, r, horseAddress(h.ID)+"?said=saved", http.StatusSeeOther)
}

func horseAddress(id int64) string { return fmt.Sprintf("/horses/%d", id) }

// ofHorse is the horse whose number stands in the address.
func (s *server) ofHorse(r *http.Request) (keep.Horse, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		return keep.Horse{}, keep.ErrNotFound
	}
	return s.Store.Horse(r.Context(), id)
}

// walkForHorse leads to a course walked for the horse.
func (s *server) walkForHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	var id int64
	if err == nil {
		id, err = number("course", r.URL.Query().Get("course"))
	}
	if err == nil {
		_, err = s.Store.Course(r.Context(), id)
		err = gone(err, "course: %d, expected a course that is kept", id)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	http.Redirect(w, r, fmt.Sprintf("/courses/%d?horse=%d#walk", id, h.ID), http.StatusSeeOther)
}

func (s *server) askHorseRemoval(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "horse_remove.html", view{Title: "Remove " + h.Name + "?", Here: "horses", Data: h})
}

func (s *server) removeHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	if err == nil {
		err = s.Store.RemoveHorse(r.Context(), h.ID)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/horses?said=removed", http.StatusSeeOther)
}

// horseFile is the horse as a file that groundline walk takes.
func (s *server) horseFile(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	var of course.Horse
	if err == nil {
		of, err = s.courseHorse(r.Context(), h)
	}
	if errors.Is(err, course.ErrNoLine) {
		err = refusal{http.StatusConflict, errors.New("no ride of this horse has a related or bending line whose strides were measured, which is what tells its stride")}
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	guard.Attachment(w, h.Name+".yaml", "application/yaml")
	_, _ = w.Write(course.WriteHorse(of)) // the reader has gone: nobody to tell
}

// recordFile is the record as JSON, to keep.
func (s *server) recordFile(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	var data []byte
	if err == nil {
		data, err = s.recordJSON(r.Context(), h)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	guard.Attachment(w, h.Name+".json", "application/json")
	_, _ = w.Write(data)
}

// record is the record of a horse.
func (s *server) record(ctx context.Context, h keep.Horse) (*record.Record, error) {
	marks, err := s.Store.Marks(ctx)
	if err != nil {
		return nil, err
	}
	if rec, ok := s.records.find(h, marks[h.ID]); ok {
		return rec, nil
	}
	return s.makeRecord(ctx, h, marks[h.ID])
}

func (s *server) makeRecord(ctx context.Context, h keep.Horse, mark string) (*record.Record, error) {
	told, err := s.Store.Told(ctx, h.ID)
	if err != nil {
		return nil, err
	}
	rec, err := record.Of(h.Name, profileOf(h.Size), told)
	if err != nil {
		return nil, err
	}
	s.records.put(h, mark, rec)
	return rec, nil
}
