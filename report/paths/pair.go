package paths

import (
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// File is a recording among many of one day, as far as is needed to say which others are of the same ride.
type File struct {
	Name              string
	Start             time.Time // zero where the file's clock knows no day
	DurationS         float64
	Positions, Motion bool
}

const (
	// Two recordings of one ride cover each other for at least this share of the shorter: watch and sensor are
	// started and stopped by the same hand, while the rides of a lesson follow one another.
	pairOverlap = 0.5
	// Undated files of one device are a watch's when, one by one in order, they last as long to within so much, seconds, in
	// the mean, and no other watch comes within twice that.
	pairDurationS = 3.0
)

// Pair says which files are of one ride, as indices into files: each position file with at most one motion file. Files with a clock are paired by
// the time that both ran. The undated files of a device, which are in the order of their names, are given to the watch whose remaining rides
// last as long one by one; where no watch or more than one fits they stay alone, and somebody has to say whose they are. A file with both
// channels is a ride by itself. Rides come in the order of their first file.
func Pair(files []File) [][]int {
	with := make([]int, len(files)) // the motion file of a position file, -1
	taken := make([]bool, len(files))
	var watches, dated []int
	undated := map[string][]int{}
	for i, f := range files {
		with[i] = -1
		switch {
		case f.Positions && !f.Motion:
			watches = append(watches, i)
		case f.Motion && !f.Positions && !f.Start.IsZero():
			dated = append(dated, i)
		case f.Motion && !f.Positions:
			undated[Device(f.Name)] = append(undated[Device(f.Name)], i)
		}
	}
	for _, m := range dated {
		best, most := -1, pairOverlap
		for _, w := range watches {
			if share := overlap(files[w], files[m]); with[w] < 0 && share > most {
				best, most = w, share
			}
		}
		if best >= 0 {
			with[best], taken[m] = m, true
		}
	}
	for _, device := range sortedKeys(undated) {
		of := undated[device]
		slices.SortFunc(of, func(a, b int) int { return strings.Compare(files[a].Name, files[b].Name) })
		var fits [][]int
		close := 0
		for _, rides := range byWatch(files, watches, with) {
			if len(rides) != len(of) {
				continue
			}
			off := 0.0
			for k := range of {
				off += math.Abs(files[of[k]].DurationS-files[rides[k]].DurationS) / float64(len(of))
			}
			if off <= 2*pairDurationS {
				close++
			}
			if off <= pairDurationS {
				fits = append(fits, rides)
			}
		}
		if len(fits) != 1 || close != 1 {
			continue
		}
		for k, m := range of {
			with[fits[0][k]], taken[m] = m, true
		}
	}
	var out [][]int
	for i := range files {
		switch {
		case taken[i]:
		case with[i] >= 0:
			out = append(out, []int{i, with[i]})
		default:
			out = append(out, []int{i})
		}
	}
	return out
}

// byWatch are the position files that have no motion file yet, those of one watch together in the order of their start.
func byWatch(files []File, watches, with []int) [][]int {
	of := map[string][]int{}
	for _, w := range watches {
		if with[w] < 0 && !files[w].Start.IsZero() {
			of[Device(files[w].Name)] = append(of[Device(files[w].Name)], w)
		}
	}
	var out [][]int
	for _, name := range sortedKeys(of) {
		slices.SortFunc(of[name], func(a, b int) int { return files[a].Start.Compare(files[b].Start) })
		out = append(out, of[name])
	}
	return out
}

// overlap is the share of the shorter recording in which both ran.
func overlap(a, b File) float64 {
	if a.Start.IsZero() || b.Start.IsZero() || !(a.DurationS > 0) || !(b.DurationS > 0) {
		return 0
	}
	from, to := a.Start, a.Start.Add(time.Duration(a.DurationS*float64(time.Second)))
	if b.Start.After(from) {
		from = b.Start
	}
	if end := b.Start.Add(time.Duration(b.DurationS * float64(time.Second))); end.Before(to) {
		to = end
	}
	return to.Sub(from).Seconds() / min(a.DurationS, b.DurationS)
}

// Device is what a recording's name says of what recorded it: the name without its ending, dates, times and counters, which are the runs of
// three digits and more.
func Device(name string) string {
	name = strings.TrimSuffix(filepath.Base(name), filepath.Ext(name))
	name = regexp.MustCompile(`[0-9]{3,}`).ReplaceAllString(name, " ")
	return strings.Join(strings.FieldsFunc(name, func(r rune) bool { return strings.ContainsRune(" _-.:", r) }), " ")
}
