package serve

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"time"

	"groundline/report/keep"
	"groundline/report/record"
)

// horseInterface is what programs may ask of horses.
func (s *server) horseInterface(mux *http.ServeMux) {
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
	out := horseJSON{ID: h.ID, Page: horseAddress(h.ID), Name: h.Name, Note: h.Note, Rides: h.Rides, Last: h.Last}
	if h.Size != "" {
		out.Size = &h.Size
	}
	return out
}

func (s *server) apiHorses(w http.ResponseWriter, r *http.Request) {
	horses, err := s.Store.Horses(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	out := struct {
		Horses []horseJSON `json:"horses"`
	}{[]horseJSON{}}
	for _, h := range horses {
		out.Horses = append(out.Horses, horseAsJSON(h))
	}
	answer(w, http.StatusOK, out)
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
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxFormBytes))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&body); err != nil {
		if err := cutOff(err); statusIs(err, http.StatusRequestEntityTooLarge) {
			return keep.Horse{}, err
		}
		return keep.Horse{}, badRequest(expected)
	}
	if _, err := dec.Token(); err != io.EOF || body.Name == nil {
		return keep.Horse{}, badRequest(expected)
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
	is, _ := statusOf(err)
	return is == status
}

// apiNewHorse keeps a horse. One of that name that is kept already is answered as it is, with 200.
func (s *server) apiNewHorse(w http.ResponseWriter, r *http.Request) {
	h, err := sentHorse(w, r)
	made := false
	if err == nil {
		h, made, err = s.newHorse(r.Context(), h)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Location", fmt.Sprintf("/api/1/horses/%d", h.ID))
	status := http.StatusOK
	if made {
		status = http.StatusCreated
	}
	answer(w, status, horseAsJSON(h))
}

func (s *server) apiHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	answer(w, http.StatusOK, horseAsJSON(h))
}

func (s *server) apiChangeHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	var sent keep.Horse
	if err == nil {
		sent, err = sentHorse(w, r)
	}
	if err == nil {
		sent.ID = h.ID
		err = s.Store.SetHorse(r.Context(), sent)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.apiHorse(w, r)
}

func (s *server) apiRemoveHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	if err == nil {
		err = s.Store.RemoveHorse(r.Context(), h.ID)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (s *server) apiRecord(w http.ResponseWriter, r *http.Request) {
	h, err := s.ofHorse(r)
	var data []byte
	if err == nil {
		data, err = s.recordJSON(r.Context(), h)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(data) // the reader has gone: nobody to tell
}

func (s *server) recordJSON(ctx context.Context, h keep.Horse) ([]byte, error) {
	rec, err := s.record(ctx, h)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	err = record.JSON(&out, rec)
	return out.Bytes(), err
}
