package horses

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"groundline/report/record"
	"io"
	"net/http"
	"time"
)

// horseInterface is what programs may ask of horses.
func (s *Room) horseInterface(mux *http.ServeMux) {
	mux.HandleFunc("GET /api/1/horses", s.apiHorses)
	mux.HandleFunc("POST /api/1/horses", s.apiNewHorse)
	mux.HandleFunc("GET /api/1/horses/{id}", s.apiHorse)
	mux.HandleFunc("PUT /api/1/horses/{id}", s.apiChangeHorse)
	mux.HandleFunc("DELETE /api/1/horses/{id}", s.apiRemoveHorse)
	mux.HandleFunc("GET /api/1/horses/{id}/record", s.apiRecord)
}

// horseJSON is a horse as programs see it.
type horseJSON struct {
	ID    int64      `json:"id"`
	Page  string     `json:"page"` // for people
	Name  string     `json:"name"`
	Size  *string    `json:"size"` // nil for not said
	Note  string     `json:"note"`
	Rides int        `json:"rides"`
	Last  *time.Time `json:"last"` // of its newest ride; nil without one
}

func horseAsJSON(h keep.Horse) horseJSON {
	out := horseJSON{ID: h.ID, Page: shell.HorseAddress(h.ID), Name: h.Name, Note: h.Note, Rides: h.Rides, Last: h.Last}
	if h.Size != "" {
		out.Size = &h.Size
	}
	return out
}

func (s *Room) apiHorses(w http.ResponseWriter, r *http.Request) {
	horses, err := s.Store.Horses(r.Context())
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	out := struct {
		Horses []horseJSON `json:"horses"`
	}{[]horseJSON{}}
	for _, h := range horses {
		out.Horses = append(out.Horses, horseAsJSON(h))
	}
	shell.Answer(w, http.StatusOK, out)
}

// horseSent is what programs say of a horse.
type horseSent struct {
	Name *string `json:"name"`
	Size *string `json:"size"`
	Note *string `json:"note"`
}

// sentHorse reads a horse; its name must be there.
func sentHorse(w http.ResponseWriter, r *http.Request) (keep.Horse, error) {
	const expected = `expected {"name": "…"} with size and note, if any`
	var body horseSent
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, shell.MaxFormBytes))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&body); err != nil {
		if err := shell.CutOff(err); statusIs(err, http.StatusRequestEntityTooLarge) {
			return keep.Horse{}, err
		}
		return keep.Horse{}, shell.BadRequest(expected)
	}
	if _, err := dec.Token(); err != io.EOF || body.Name == nil {
		return keep.Horse{}, shell.BadRequest(expected)
	}
	h := keep.Horse{Name: *body.Name}
	if body.Size != nil {
		h.Size = *body.Size
	}
	if body.Note != nil {
		h.Note = *body.Note
	}
	return h, nil
}

func statusIs(err error, status int) bool {
	if err == nil {
		return false
	}
	is, _ := shell.StatusOf(err)
	return is == status
}

// apiNewHorse keeps a horse. One of that name that is kept already is answered as it is, with 200.
func (s *Room) apiNewHorse(w http.ResponseWriter, r *http.Request) {
	h, err := sentHorse(w, r)
	made := false
	if err == nil {
		h, made, err = s.newHorse(r.Context(), h)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	w.Header().Set("Location", fmt.Sprintf("/api/1/horses/%d", h.ID))
	status := http.StatusOK
	if made {
		status = http.StatusCreated
	}
	shell.Answer(w, status, horseAsJSON(h))
}

func (s *Room) apiHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	shell.Answer(w, http.StatusOK, horseAsJSON(h))
}

func (s *Room) apiChangeHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	var sent keep.Horse
	if err == nil {
		sent, err = sentHorse(w, r)
	}
	if err == nil {
		sent.ID = h.ID
		err = s.Store.SetHorse(r.Context(), sent)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	s.apiHorse(w, r)
}

func (s *Room) apiRemoveHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	if err == nil {
		err = s.Store.RemoveHorse(r.Context(), h.ID)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (s *Room) apiRecord(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	var data []byte
	if err == nil {
		data, err = s.recordJSON(r.Context(), h)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(data) // the reader has gone: nobody to tell
}

func (s *Room) recordJSON(ctx context.Context, h keep.Horse) ([]byte, error) {
	rec, err := s.record(ctx, h)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	err = record.JSON(&out, rec)
	return out.Bytes(), err
}
