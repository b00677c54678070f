package shell

import (
	"fmt"
	"groundline/course"
	"groundline/report/keep"
	"net/http"
	"strconv"
	"strings"
)

// OfCourse is the course whose number stands in the address.
func (s *Shell) OfCourse(r *http.Request) (keep.Course, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		return keep.Course{}, keep.ErrNotFound
	}
	return s.Store.Course(r.Context(), id)
}

// ProfileOf is the size of that name; nil for none.
func ProfileOf(size string) *course.Profile {
	for _, p := range course.Profiles() {
		if p.Name == size {
			return &p
		}
	}
	return nil
}

// SizePicks are the sizes that a horse may have.
func SizePicks(chosen string) []Pick {
	out := []Pick{{"", "not said", chosen == ""}}
	for _, p := range course.Profiles() {
		out = append(out, Pick{p.Name, p.Name, p.Name == chosen})
	}
	return out
}

func SizeNames() string {
	var names []string
	for _, p := range course.Profiles() {
		names = append(names, p.Name)
	}
	return strings.Join(names, ", ")
}

func HorseAddress(id int64) string { return fmt.Sprintf("/horses/%d", id) }

// OfHorse is the horse whose number stands in the address.
func (s *Shell) OfHorse(r *http.Request) (keep.Horse, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		return keep.Horse{}, keep.ErrNotFound
	}
	return s.Store.Horse(r.Context(), id)
}

// RideName is what a ride is called where it stands alone.
func RideName(r keep.Ride) string {
	name := r.Label
	if name == "" {
		name = r.Horse
	}
	day, of := r.At().UTC().Format("2 January 2006"), "Ride of "
	if r.Start == nil {
		day, of = "kept "+day, "Ride " // no file tells when it was ridden, or not yet
	}
	if name == "" {
		return of + day
	}
	return name + ", " + day
}

// OfRide is the ride whose number stands in the address.
func (s *Shell) OfRide(r *http.Request) (keep.Ride, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		return keep.Ride{}, keep.ErrNotFound
	}
	return s.Store.Ride(r.Context(), id)
}
