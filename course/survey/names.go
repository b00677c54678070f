package survey

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"groundline/course"
)

// what a mark is.
type what int

const (
	nothing  what = iota // not understood
	unnamed              // pressed without a name, or named by the device
	obstacle             // the middle or an end of an obstacle
	corner               // of the arena
	start
	finish
	home
	gate
	level // a spot height alone
)

// meaning is what a mark's name says.
type meaning struct {
	what    what
	id      string // of an obstacle or corner, in small letters, without leading zeros
	side    string // "left" or "right", as jumped; "" without
	kind    course.Kind
	heightM float64 // of an obstacle; 0 without
	zM      *float64
}

var (
	idWord      = regexp.MustCompile(`^0*([0-9]{1,3})([a-z]?)$`)
	heightWord  = regexp.MustCompile(`^([0-9][.,][0-9]{1,3}m?|[0-9]{2,3}cm)$`)
	plainNumber = regexp.MustCompile(`^[+-]?[0-9]{1,4}(\.[0-9]{1,3})?$`)
	kindWords   = map[string]course.Kind{
		"vertical": course.Vertical, "upright": course.Vertical, "oxer": course.Oxer, "triple": course.TripleBar,
		"bar": course.TripleBar, "wall": course.Wall, "cross": course.Cross, "crosspole": course.Cross, "crosspoles": course.Cross, "cross-pole": course.Cross, "cross-poles": course.Cross, "water": course.Water,
		"ditch": course.Ditch, "pole": course.Pole, "poles": course.Pole,
	}
	placeWords = map[string]what{
		"start": start, "finish": finish, "home": home, "stables": home, "stable": home, "trailer": home, "trailers": home,
		"gate": gate, "ingate": gate, "in-gate": gate, "corner": corner,
	}
	fillers     = []string{"fence", "jump", "obstacle", "no", "nr", "number", "element", "end", "line", "ground"}
	deviceWords = []string{"lap", "waypoint", "wpt", "wp", "mark", "point"}
	sideWords   = map[string]string{"left": "left", "l": "left", "right": "right", "r": "right"}
)

// How the words of a name are told; the report quotes it when a name is not understood.
const namesHelp = `an obstacle's number ("3", "7a"), with "left" or "right" for an end of its face, a kind ("3 oxer"), a height ("3 0.85"); ` +
	`"corner", "start left", "start right", "finish left", "finish right", "home", "gate", "level 0.35"`

// understand reads a mark's name. Words may stand in any order and case, apart by blanks, commas, dashes or
// underscores:
//
//	3, 07, 7a            the obstacle of that number, a letter for an element of a combination
//	left, right, l, r    this end of its face (or of the start or finish line), as jumped
//	vertical, upright, oxer, triple bar, wall, cross, water, ditch, pole   its kind
//	0.85, 85cm           its height, metres
//	corner, corner 2     a corner of the arena
//	start, finish        the start or finish line
//	home, stables, trailer; gate; level 0.35
//	fence, jump, obstacle, no, number, #   nothing more
//
// A height of the ground may follow any place behind the word level: "3 level 0.35". Names that devices give
// by themselves (lap 3, waypoint 12, wpt 4, mark, none at all) are no names: such marks are unnamed.
func understand(name string) meaning {
	words := strings.FieldsFunc(strings.ToLower(strings.ReplaceAll(name, "#", " ")), func(c rune) bool {
		return c == ' ' || c == '\t' || c == '_' || c == ';' || c == ':' || c == '/'
	})
	var m meaning
	if i := slices.Index(words, "level"); i >= 0 {
		if i+1 == len(words) {
			return meaning{}
		}
		z, ok := metres(words[i+1], -100, 9000) // the lowest and highest ground on earth, about
		if !ok {
			return meaning{}
		}
		m.zM = &z
		if words = slices.Delete(words, i, i+2); len(words) == 0 {
			m.what = level
			return m
		}
	}
	device, good := false, true
	for _, w := range words {
		w = strings.Trim(w, ",.-()")
		switch {
		case w == "" || slices.Contains(fillers, w):
		case m.id == "" && idWord.MatchString(w):
			m.id = idWord.ReplaceAllString(w, "$1$2")
		case m.heightM == 0 && heightWord.MatchString(w):
			m.heightM, good = metres(w, 0.01, 2.5) // the highest wall ever jumped stood at 2.47 m (from memory)
		case m.side == "" && sideWords[w] != "":
			m.side = sideWords[w]
		case m.what == nothing && placeWords[w] != nothing:
			m.what = placeWords[w]
		case kindWords[w] != "" && m.kind == "":
			m.kind = kindWords[w]
		case m.kind == course.Cross && (w == "pole" || w == "poles") || m.kind == course.TripleBar && w == "bar":
		case slices.Contains(deviceWords, w):
			device = true
		default:
			good = false
		}
		if !good {
			return meaning{}
		}
	}
	return m.settle(device)
}

// settle says what a name means from the words found in it.
func (m meaning) settle(device bool) meaning {
	built := m.kind != "" || m.heightM != 0
	switch {
	case m.what == start || m.what == finish:
		if built || m.id != "" {
			return meaning{}
		}
	case m.what != nothing:
		if built || m.side != "" || m.id != "" && m.what != corner {
			return meaning{}
		}
	case device || m.id == "":
		m.what, m.id = unnamed, ""
	default:
		m.what = obstacle
	}
	return m
}

// metres is a number of metres, or of centimetres where it says so, in [low, high].
func metres(w string, low, high float64) (float64, bool) {
	parts := 1.0 // of a metre
	if cm := strings.TrimSuffix(w, "cm"); cm != w {
		w, parts = cm, 100
	}
	w = strings.ReplaceAll(strings.Trim(strings.TrimSuffix(w, "m"), ",()"), ",", ".")
	if !plainNumber.MatchString(w) {
		return 0, false
	}
	v, err := strconv.ParseFloat(w, 64)
	v /= parts
	return v, err == nil && v >= low && v <= high
}

// label is the name under which a tape may speak of what a mark means: "3", "3 left", "corner 2", "home".
func (m meaning) label() string {
	var s string
	switch m.what {
	case obstacle:
		s = m.id
	case corner:
		s = "corner " + m.id
	case start:
		s = "start"
	case finish:
		s = "finish"
	case home:
		s = "home"
	case gate:
		s = "gate"
	case level:
		s = "level"
	}
	if m.side != "" {
		s += " " + m.side
	}
	return s
}
