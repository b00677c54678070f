package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"groundline/report"
	"groundline/report/keep"
)

func keptCommand(std streams) *cobra.Command {
	c := &cobra.Command{
		Use:   "kept",
		Short: "See, take out, or bring back what the store keeps",
		Long: `kept shows what groundline keep and groundline serve have kept, removes it, and copies all of
it to a folder and back. Another program may use the store at the same time.

` + exitHelp,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return badUse(fmt.Errorf("groundline: kept has no command %q, expected list, show, remove, export, import, check, horses or courses", args[0]))
			}
			return badUse(errors.New("groundline: kept: no command given, expected list, show, remove, export, import, check, horses or courses"))
		},
	}
	c.AddCommand(keptListCommand(std), keptShowCommand(std), keptRemoveCommand(std), keptExportCommand(std), keptImportCommand(std),
		keptCheckCommand(std), keptHorsesCommand(std), keptCoursesCommand(std))
	return c
}

// Schemas of lists in JSON. Fields are added, never renamed.
const (
	ridesSchema   = "groundline.rides/1"
	horsesSchema  = "groundline.horses/1"
	coursesSchema = "groundline.courses/1"
)

// keptList are the choices of a list of rides.
type keptList struct {
	store, horse, course string
	text, state          string
	from, to             dateFlag
	limit                int
	format               formatFlag
}

func keptListCommand(std streams) *cobra.Command {
	f := keptList{format: "text", limit: 50}
	c := &cobra.Command{
		Use:   "list",
		Short: "List rides, the newest first",
		Long: `list tells rides by when they were ridden or, where no file tells the date, when they were kept:
the newest first.

` + exitHelp,
		Example: `  groundline kept list
  groundline kept list --horse Bramble --from 2026-05-01 --format json`,
		Args: filesGiven("", 0, 0),
		RunE: func(c *cobra.Command, _ []string) error { return listRides(c.Context(), f, std) },
	}
	storeFlag(c, &f.store)
	flags := c.Flags()
	flags.StringVar(&f.horse, "horse", "", "rides of this horse")
	flags.StringVar(&f.course, "course", "", "rides over this course, by its name in the store")
	flags.StringVar(&f.text, "text", "", "rides with these words in label, note, names of files, horse or course")
	flags.StringVar(&f.state, "state", "", "rides that are waiting, working, ready or refused")
	flags.Var(&f.from, "from", "rides of this day or later, UTC, as 2026-05-09")
	flags.Var(&f.to, "to", "rides of this day or earlier, UTC")
	flags.IntVar(&f.limit, "limit", f.limit, "at most so many; 0 for all")
	flags.Var(&f.format, "format", "text for people, json for programs")
	return c
}

// dateFlag is a day, checked when it is set.
type dateFlag struct{ day time.Time }

func (d *dateFlag) Type() string { return "date" }
func (d *dateFlag) String() string {
	if d.day.IsZero() {
		return ""
	}
	return d.day.Format(time.DateOnly)
}
func (d *dateFlag) Set(s string) error {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return errors.New("no such day, expected one as 2026-05-09")
	}
	d.day = t
	return nil
}

func (f keptList) filter(ctx context.Context, s *keep.Store) (keep.Filter, error) {
	out := keep.Filter{State: keep.State(f.state), Text: f.text, From: f.from.day, To: f.to.day}
	switch out.State {
	case "", keep.Waiting, keep.Working, keep.Ready, keep.Refused:
	default:
		return out, badUse(fmt.Errorf("groundline: kept list: --state %q, expected waiting, working, ready or refused", f.state))
	}
	if f.limit < 0 {
		return out, badUse(fmt.Errorf("groundline: kept list: --limit %d, expected 0 or more", f.limit))
	}
	if !out.To.IsZero() && out.To.Before(out.From) {
		return out, badUse(fmt.Errorf("groundline: kept list: --from %s is after --to %s, expected a day before it", &f.from, &f.to))
	}
	if !out.To.IsZero() {
		out.To = out.To.AddDate(0, 0, 1)
	}
	if f.horse != "" {
		all, err := s.Horses(ctx)
		if err != nil {
			return out, ofStore(err)
		}
		for _, h := range all {
			if keep.SameName(h.Name, f.horse) {
				out.HorseID = h.ID
			}
		}
		if out.HorseID == 0 {
			return out, badInput(fmt.Errorf("%s: no horse of that name in the store, expected one; groundline kept horses lists them", f.horse))
		}
	}
	if f.course != "" {
		c, err := courseNamed(ctx, s, f.course, "")
		if err != nil {
			return out, err
		}
		out.CourseID = c.ID
	}
	return out, nil
}

// ridePage is how many rides are fetched at once.
const ridePage = 500

func listRides(ctx context.Context, f keptList, std streams) error {
	s, err := openKept(ctx, f.store, std)
	if err != nil {
		return err
	}
	defer s.Close()
	filter, err := f.filter(ctx, s)
	if err != nil {
		return err
	}
	out := ridesJSON{Schema: ridesSchema, Rides: []rideJSON{}}
	shown := 0
	for {
		filter.Limit = ridePage
		if f.limit > 0 {
			filter.Limit = min(ridePage, f.limit-shown)
		}
		rides, next, total, err := s.Rides(ctx, filter)
		if err != nil {
			return ofStore(err)
		}
		for _, r := range rides {
			if f.format == "json" {
				out.Rides = append(out.Rides, asJSON(r))
			} else if _, err := fmt.Fprintln(std.out, rideLine(r)); err != nil {
				return written(err)
			}
		}
		shown += len(rides)
		if filter.Before.IsZero() {
			out.Total = total
		}
		if next == nil || f.limit > 0 && shown >= f.limit {
			break
		}
		filter.Before = *next
	}
	if f.format == "json" {
		return writeJSON(std.out, out)
	}
	switch {
	case out.Total == 0:
		_, err = fmt.Fprintln(std.out, "No ride.")
	case shown < out.Total:
		_, err = fmt.Fprintf(std.out, "%d of %d rides; --limit tells more.\n", shown, out.Total)
	}
	return written(err)
}

func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	return written(enc.Encode(v))
}

// rideLine is a ride in one line: number, when, horse, course, and what it told or how far it is.
func rideLine(r keep.Ride) string {
	when := r.KeptAt.Format("kept 2006-01-02")
	if r.Start != nil {
		when = r.Start.Format("2006-01-02 15:04")
	}
	parts := []string{}
	for _, p := range []string{r.Horse, r.Course, r.Label} {
		if p != "" {
			parts = append(parts, p)
		}
	}
	switch r.State {
	case keep.Ready:
		parts = append(parts, inShort(r))
	case keep.Refused:
		first, _, _ := strings.Cut(r.Why, "\n")
		parts = append(parts, "can't be told: "+first)
	default:
		parts = append(parts, string(r.State))
	}
	return fmt.Sprintf("%5d  %-16s  %s", r.ID, when, strings.Join(parts, "; "))
}

// ridesJSON is a list of rides.
type ridesJSON struct {
	Schema string     `json:"schema"`
	Total  int        `json:"total"` // that the choice finds
	Rides  []rideJSON `json:"rides"` // newest first
}

// rideJSON is a ride, with the fields that the interface for programs has too. What is not known or not said is null.
type rideJSON struct {
	ID              int64      `json:"id"`
	State           keep.State `json:"state"`
	Why             []string   `json:"why"` // faults of a refused ride
	KeptAt          time.Time  `json:"kept_at"`
	HorseID         *int64     `json:"horse_id"`
	Horse           *string    `json:"horse"`
	CourseID        *int64     `json:"course_id"`
	CourseVersionID *int64     `json:"course_version_id"`
	Course          *string    `json:"course"`
	Label           string     `json:"label"`
	Note            string     `json:"note"`
	Columns         string     `json:"columns"`
	Files           []fileJSON `json:"files"`
	Told            *toldJSON  `json:"told"` // null unless it is ready
}

type fileJSON struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

type toldJSON struct {
	Start     *time.Time `json:"start"`
	DurationS float64    `json:"duration_s"`
	Basis     string     `json:"basis"`
	Jumped    int        `json:"jumped"`
	Refusals  int        `json:"refusals"`
	Lines     int        `json:"lines"`
	Rounds    int        `json:"rounds"`
	Strides   int        `json:"strides"`
	Program   string     `json:"program"`
}

func asJSON(r keep.Ride) rideJSON {
	out := rideJSON{ID: r.ID, State: r.State, Why: []string{}, KeptAt: r.KeptAt, Label: r.Label, Note: r.Note, Columns: r.Columns, Files: []fileJSON{}}
	if r.HorseID != 0 {
		out.HorseID, out.Horse = &r.HorseID, &r.Horse
	}
	if r.CourseID != 0 {
		out.CourseID, out.CourseVersionID, out.Course = &r.CourseID, &r.CourseVersionID, &r.Course
	}
	if r.Why != "" {
		out.Why = strings.Split(r.Why, "\n")
	}
	for _, f := range r.Files {
		out.Files = append(out.Files, fileJSON{f.Name, f.Bytes, f.SHA256})
	}
	if r.State == keep.Ready {
		out.Told = &toldJSON{r.Start, r.DurationS, r.Basis, r.Jumps, r.Refusals, r.Lines, r.Rounds, r.Strides, r.Program}
	}
	return out
}

func keptShowCommand(std streams) *cobra.Command {
	f := debriefFlags{format: "text", units: unitsFlag{report.Metric}}
	store := ""
	c := &cobra.Command{
		Use:   "show ID",
		Short: "Tell how each line of a kept ride was ridden",
		Long: `show is the debrief of a kept ride. A ride that nobody has worked out yet is worked out.

` + exitHelp,
		Example: `  groundline kept show 1
  groundline kept show 1 --format html -o ride.html`,
		Args: argsGiven("number", "the number of a ride", 1, 1),
		RunE: func(c *cobra.Command, args []string) error { return showRide(c.Context(), args[0], store, f, std) },
	}
	storeFlag(c, &store)
	flags := c.Flags()
	flags.Var(&f.format, "format", "text for people, json for programs, html for one page with pictures, or the ride on one sheet")
	flags.StringVarP(&f.out, "output", "o", "", "write to this file instead of standard output")
	flags.Var(&f.units, "units", "units of lengths; JSON is in metres")
	flags.BoolVar(&f.explain, "explain", false, "text: also each effort's figures, stride lengths and lesser notes")
	return c
}

// rideNumber understands the number of a ride.
func rideNumber(s string) (int64, error) {
	id, err := strconv.ParseInt(s, 10, 64)
	if err != nil || id < 1 {
		return 0, badUse(fmt.Errorf("groundline: %q, expected the number of a ride; groundline kept list tells them", s))
	}
	return id, nil
}

// noRide tells that there is no such ride.
func noRide(id int64, err error) error {
	if errors.Is(err, keep.ErrNotFound) {
		return badInput(fmt.Errorf("ride %d: not in the store, expected one that groundline kept list tells", id))
	}
	return ofStore(err)
}

func showRide(ctx context.Context, arg, store string, f debriefFlags, std streams) error {
	id, err := rideNumber(arg)
	if err != nil {
		return err
	}
	s, err := openKept(ctx, store, std)
	if err != nil {
		return err
	}
	defer s.Close()
	r, err := s.WorkOut(ctx, id)
	if err != nil {
		return noRide(id, err)
	}
	if r.State == keep.Refused {
		return noAnswer(fmt.Errorf("ride %d: can't be told:\n%s", id, r.Why))
	}
	d, err := s.Debrief(ctx, id)
	if err != nil {
		return noRide(id, err)
	}
	write := func(w io.Writer) error {
		switch f.format {
		case "json":
			return written(report.JSON(w, d))
		case "text":
			return written(report.Text(w, d, report.TextOptions{Units: f.units.units, Bold: std.bold && f.out == "", Explain: f.explain}))
		}
		return debriefPage(w, d, f, std)
	}
	if f.out != "" {
		return writeWhole(f.out, write)
	}
	return write(std.out)
}

func keptRemoveCommand(std streams) *cobra.Command {
	store := ""
	c := &cobra.Command{
		Use:   "remove ID...",
		Short: "Remove rides, with the files that no other ride has",
		Long: `remove takes rides out of the store for good: export what you may want again.

` + exitHelp,
		Example: `  groundline kept remove 1`,
		Args:    argsGiven("number", "the number of a ride", 1, maxFiles),
		RunE:    func(c *cobra.Command, args []string) error { return removeRides(c.Context(), args, store, std) },
	}
	storeFlag(c, &store)
	return c
}

// removeRides looks at all numbers before it removes the first.
func removeRides(ctx context.Context, args []string, store string, std streams) error {
	var ids []int64
	for _, a := range args {
		id, err := rideNumber(a)
		if err != nil {
			return err
		}
		if !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	s, err := openKept(ctx, store, std)
	if err != nil {
		return err
	}
	defer s.Close()
	for _, id := range ids {
		if _, err := s.Ride(ctx, id); err != nil {
			return noRide(id, err)
		}
	}
	for _, id := range ids {
		if err := s.RemoveRide(ctx, id); err != nil {
			return noRide(id, err)
		}
		if _, err := fmt.Fprintf(std.out, "ride %d: removed\n", id); err != nil {
			return written(err)
		}
	}
	return nil
}

func keptExportCommand(std streams) *cobra.Command {
	store, verify := "", false
	c := &cobra.Command{
		Use:   "export FOLDER",
		Short: "Copy everything to a folder",
		Long: `export copies all that is kept to a new folder: the recordings untouched under their own names,
the course plans, the horses, and rides.csv, which is a list of rides for
groundline strides --manifest. What was written is read again and held against what was kept; with
--verify all of it is also imported into a new store, for a trial. The folder appears whole or not
at all. import takes it back.

` + exitHelp,
		Example: `  groundline kept export everything`,
		Args:    argsGiven("folder", "a folder to write to", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			s, err := openKept(c.Context(), store, std)
			if err != nil {
				return err
			}
			defer s.Close()
			if err := s.Export(c.Context(), args[0]); err != nil {
				return ofStore(err)
			}
			if verify {
				if err := keep.Verify(c.Context(), args[0], keep.Options{Program: program()}); err != nil {
					return ofStore(err)
				}
			}
			_, _, total, err := s.Rides(c.Context(), keep.Filter{Limit: 1})
			if err != nil {
				return ofStore(err)
			}
			_, err = fmt.Fprintf(std.out, "%s: %s\n", args[0], amount(total, "ride", "rides"))
			return written(err)
		},
	}
	storeFlag(c, &store)
	c.Flags().BoolVar(&verify, "verify", false, "also import it into a new store beside it, which is removed again")
	return c
}

func keptImportCommand(std streams) *cobra.Command {
	store := ""
	c := &cobra.Command{
		Use:   "import FOLDER",
		Short: "Take in what export wrote",
		Long: `import takes in a folder that export wrote, into an empty store or one with rides in it: what is
there already is not kept twice. Every file is checked against its SHA-256 first: rides with a damaged
file are left out and named (exit code 1), and the rest is taken in. Of a list that is not whole, nothing is.

` + exitHelp,
		Example: `  groundline kept export everything
  groundline kept import everything --store another`,
		Args: argsGiven("folder", "a folder that export wrote", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			s, err := openStore(c.Context(), store, std, nil)
			if err != nil {
				return err
			}
			defer s.Close()
			got, err := s.Import(c.Context(), args[0])
			var left *keep.LeftOutError
			if err != nil && !errors.As(err, &left) {
				return keptSoFar(ofStore(err))
			}
			line := fmt.Sprintf("%s, %s and %s taken in", amount(got.Rides, "ride", "rides"), amount(got.Horses, "horse", "horses"), amount(got.Courses, "course", "courses"))
			if got.Already > 0 {
				line += fmt.Sprintf("; %s kept already", amount(got.Already, "ride", "rides"))
			}
			if _, err := fmt.Fprintln(std.out, line); err != nil {
				return written(err)
			}
			return ofStore(err)
		},
	}
	storeFlag(c, &store)
	return c
}

// keptAll makes a command that lists all of something.
func keptAll(std streams, use, short string, list func(context.Context, *keep.Store) (any, []string, error)) *cobra.Command {
	store := ""
	format := formatFlag("text")
	c := &cobra.Command{
		Use: use, Short: short, Long: short + ".\n\n" + exitHelp,
		Example: "  groundline kept " + use,
		Args:    filesGiven("", 0, 0),
		RunE: func(c *cobra.Command, _ []string) error {
			s, err := openKept(c.Context(), store, std)
			if err != nil {
				return err
			}
			defer s.Close()
			v, lines, err := list(c.Context(), s)
			if err != nil {
				return ofStore(err)
			}
			if format == "json" {
				return writeJSON(std.out, v)
			}
			_, err = fmt.Fprintln(std.out, strings.Join(lines, "\n"))
			return written(err)
		},
	}
	storeFlag(c, &store)
	c.Flags().Var(&format, "format", "text for people, json for programs")
	return c
}

type horseJSON struct {
	ID    int64      `json:"id"`
	Name  string     `json:"name"`
	Size  string     `json:"size"` // "" for not said
	Note  string     `json:"note"`
	Rides int        `json:"rides"`
	Last  *time.Time `json:"last"` // ride
}

func keptHorsesCommand(std streams) *cobra.Command {
	return keptAll(std, "horses", "List the horses", func(ctx context.Context, s *keep.Store) (any, []string, error) {
		all, err := s.Horses(ctx)
		out, lines := []horseJSON{}, []string{}
		for _, h := range all {
			out = append(out, horseJSON{h.ID, h.Name, h.Size, h.Note, h.Rides, h.Last})
			line := fmt.Sprintf("%s; %s", h.Name, amount(h.Rides, "ride", "rides"))
			if h.Last != nil {
				line += ", last " + h.Last.Format(time.DateOnly)
			}
			if h.Size != "" {
				line += "; " + h.Size
			}
			lines = append(lines, line)
		}
		if len(lines) == 0 {
			lines = []string{"No horse."}
		}
		return struct {
			Schema string      `json:"schema"`
			Horses []horseJSON `json:"horses"`
		}{horsesSchema, out}, lines, err
	})
}

type courseJSON struct {
	ID        int64     `json:"id"`
	Name      string    `json:"name"`
	VersionID int64     `json:"version_id"`
	Version   int       `json:"version"`
	ChangedAt time.Time `json:"changed_at"`
	Rides     int       `json:"rides"`
	PutAway   bool      `json:"put_away"`
}

func keptCoursesCommand(std streams) *cobra.Command {
	return keptAll(std, "courses", "List the courses", func(ctx context.Context, s *keep.Store) (any, []string, error) {
		all, err := s.Courses(ctx)
		out, lines := []courseJSON{}, []string{}
		for _, c := range all {
			out = append(out, courseJSON{c.ID, c.Name, c.VersionID, c.Version, c.ChangedAt, c.Rides, c.PutAway})
			line := fmt.Sprintf("%s; version %d of %s; %s", c.Name, c.Version, c.ChangedAt.Format(time.DateOnly), amount(c.Rides, "ride", "rides"))
			if c.PutAway {
				line += "; put away"
			}
			lines = append(lines, line)
		}
		if len(lines) == 0 {
			lines = []string{"No course."}
		}
		return struct {
			Schema  string       `json:"schema"`
			Courses []courseJSON `json:"courses"`
		}{coursesSchema, out}, lines, err
	})
}
