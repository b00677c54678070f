package horses

import (
	"context"
	"errors"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/course/horse"
	"groundline/report"
	"groundline/report/keep"
	"groundline/report/record"
	"net/http"
	"strings"
)

// CourseHorse is the horse that its kept rides tell of. The error is [horse.ErrNoLine] where they don't.
func (s *Room) CourseHorse(ctx context.Context, h keep.Horse) (course.Horse, error) {
	rec, err := s.record(ctx, h)
	if err != nil {
		return course.Horse{}, err
	}
	return rec.CourseHorse()
}

// Routes are the horses and their records.
func (s *Room) Routes(mux *http.ServeMux) {
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
	Sizes  []shell.Pick
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

func (s *Room) showHorses(w http.ResponseWriter, r *http.Request) {
	s.listHorses(w, r, http.StatusOK, horsesView{})
}

func (s *Room) listHorses(w http.ResponseWriter, r *http.Request, status int, v horsesView) {
	ctx, units := r.Context(), shell.UnitsOf(r)
	horses, err := s.Store.Horses(ctx)
	var marks map[int64]string
	if err == nil {
		marks, err = s.Store.Marks(ctx)
	}
	if err != nil {
		s.Fail(w, r, err)
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
					s.Fail(w, r, err)
					return
				}
			}
		}
		if rec != nil && rec.Usual() != nil {
			row.Usual = shell.WithUnit(report.StrideLength, *rec.Usual(), units)
		}
		v.Horses = append(v.Horses, row)
	}
	v.Sizes = shell.SizePicks("")
	s.Show(w, r, status, "horses.html", shell.View{Title: "Horses", Here: "horses", Data: v})
}

func (s *Room) addHorse(w http.ResponseWriter, r *http.Request) {
	if err := shell.ReadForm(w, r, shell.MaxFormBytes); err != nil {
		s.Fail(w, r, err)
		return
	}
	h, _, err := s.newHorse(r.Context(), keep.Horse{Name: r.PostFormValue("name"), Size: r.PostFormValue("size")})
	var invalid *keep.InvalidError
	if errors.As(err, &invalid) {
		s.listHorses(w, r, http.StatusBadRequest, horsesView{Wrong: invalid.Error(), Name: r.PostFormValue("name")})
		return
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, shell.HorseAddress(h.ID)+"?said=saved", http.StatusSeeOther)
}

// newHorse keeps a horse; one of that name that is kept already is it, and is not changed.
func (s *Room) newHorse(ctx context.Context, h keep.Horse) (of keep.Horse, made bool, err error) {
	if h.Size != "" && shell.ProfileOf(h.Size) == nil {
		return of, false, &keep.InvalidError{Field: "size", Found: fmt.Sprintf("%q", shell.Short(shell.Cleaned(h.Size))), Expected: shell.SizeNames()}
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

func (s *Room) changeHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	if err == nil {
		err = shell.ReadForm(w, r, shell.MaxFormBytes)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	changed := h
	changed.Name, changed.Size, changed.Note = r.PostFormValue("name"), r.PostFormValue("size"), r.PostFormValue("note")
	err = s.Store.SetHorse(r.Context(), changed)
	var invalid *keep.InvalidError
	if errors.As(err, &invalid) {
		s.answerHorse(w, r, http.StatusBadRequest, h, horseForm{Wrong: invalid.Error(), Name: changed.Name, Sizes: shell.SizePicks(changed.Size), Note: changed.Note})
		return
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, shell.HorseAddress(h.ID)+"?said=saved", http.StatusSeeOther)
}

// walkForHorse leads to a course walked for the horse.
func (s *Room) walkForHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	var id int64
	if err == nil {
		id, err = shell.Number("course", r.URL.Query().Get("course"))
	}
	if err == nil {
		_, err = s.Store.Course(r.Context(), id)
		err = shell.Gone(err, "course: %d, expected a course that is kept", id)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, fmt.Sprintf("/courses/%d?horse=%d#walk", id, h.ID), http.StatusSeeOther)
}

func (s *Room) askHorseRemoval(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	s.Show(w, r, http.StatusOK, "horse_remove.html", shell.View{Title: "Remove " + h.Name + "?", Here: "horses", Data: h})
}

func (s *Room) removeHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	if err == nil {
		err = s.Store.RemoveHorse(r.Context(), h.ID)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/horses?said=removed", http.StatusSeeOther)
}

// horseFile is the horse as a file that groundline walk takes.
func (s *Room) horseFile(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	var of course.Horse
	if err == nil {
		of, err = s.CourseHorse(r.Context(), h)
	}
	if errors.Is(err, horse.ErrNoLine) {
		err = shell.Refusal{Status: http.StatusConflict, Err: errors.New("no ride of this horse has a related or bending line whose strides were measured, which is what tells its stride")}
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	guard.Attachment(w, h.Name+".yaml", "application/yaml")
	_, _ = w.Write(course.WriteHorse(of)) // the reader has gone: nobody to tell
}

// recordFile is the record as JSON, to keep.
func (s *Room) recordFile(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	var data []byte
	if err == nil {
		data, err = s.recordJSON(r.Context(), h)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	guard.Attachment(w, h.Name+".json", "application/json")
	_, _ = w.Write(data)
}

// record is the record of a horse.
func (s *Room) record(ctx context.Context, h keep.Horse) (*record.Record, error) {
	marks, err := s.Store.Marks(ctx)
	if err != nil {
		return nil, err
	}
	if rec, ok := s.records.find(h, marks[h.ID]); ok {
		return rec, nil
	}
	return s.makeRecord(ctx, h, marks[h.ID])
}

func (s *Room) makeRecord(ctx context.Context, h keep.Horse, mark string) (*record.Record, error) {
	told, err := s.Store.Told(ctx, h.ID)
	if err != nil {
		return nil, err
	}
	rec, err := record.Of(h.Name, shell.ProfileOf(h.Size), told)
	if err != nil {
		return nil, err
	}
	s.records.put(h, mark, rec)
	return rec, nil
}
