package strides

import (
	"cmp"
	"fmt"
	"groundline/cmd/serve/shell"
	"slices"
	"strconv"
	"strings"
)

// choice is the rides that a researcher has chosen, by number, as spans in order that don't touch. It travels in the
// address, so that a choice of ten thousand rides survives from page to page, without a script, and in a bookmark.
// Numbers of rides that are no more are passed over by whoever looks them up.
type choice []span

// span is the numbers from first to last.
type span struct{ first, last int64 }

// parseChoice reads "1-40,57". Spans may touch or lie in any order.
func parseChoice(s string) (choice, error) {
	if len(s) > shell.MaxChoiceBytes {
		return nil, shell.BadRequest("rides: %d characters long, expected at most %d: choose whole stretches of the list", len(s), shell.MaxChoiceBytes)
	}
	if s == "" {
		return nil, nil
	}
	var c choice
	for part := range strings.SplitSeq(s, ",") {
		first, last, isSpan := strings.Cut(part, "-")
		a, ok := rideNumber(first)
		b := a
		if isSpan && ok {
			b, ok = rideNumber(last)
		}
		if !ok || b < a {
			return nil, shell.BadRequest("rides: %q, expected numbers and spans such as 1-40,57", shell.Short(part))
		}
		c = append(c, span{a, b})
	}
	return c.tidied(), nil
}

// rideNumber is a number as addresses give it: digits alone, from 1.
func rideNumber(s string) (int64, bool) {
	if s == "" || s[0] < '1' || s[0] > '9' {
		return 0, false
	}
	n, err := strconv.ParseInt(s, 10, 64)
	return n, err == nil
}

// tidied puts the spans in order and joins those that touch.
func (c choice) tidied() choice {
	slices.SortFunc(c, func(a, b span) int { return cmp.Compare(a.first, b.first) })
	out := c[:0]
	for _, s := range c {
		if n := len(out); n > 0 && s.first-1 <= out[n-1].last {
			out[n-1].last = max(out[n-1].last, s.last)
			continue
		}
		out = append(out, s)
	}
	return out
}

// choiceOf is the choice of numbers.
func choiceOf(ids []int64) choice {
	c := make(choice, len(ids))
	for i, id := range ids {
		c[i] = span{id, id}
	}
	return c.tidied()
}

func (c choice) has(id int64) bool {
	_, found := slices.BinarySearchFunc(c, id, func(s span, id int64) int {
		switch {
		case s.last < id:
			return -1
		case s.first > id:
			return 1
		}
		return 0
	})
	return found
}

// with is the choice and the numbers.
func (c choice) with(ids []int64) choice {
	return append(slices.Clone(c), choiceOf(ids)...).tidied()
}

// without is the choice but for the numbers.
func (c choice) without(ids []int64) choice {
	out := slices.Clone(c)
	for _, id := range ids {
		for i, s := range out {
			if id < s.first || id > s.last {
				continue
			}
			var left []span
			if s.first < id {
				left = append(left, span{s.first, id - 1})
			}
			if id < s.last {
				left = append(left, span{id + 1, s.last})
			}
			out = slices.Replace(out, i, i+1, left...)
			break
		}
	}
	return out
}

func (c choice) String() string {
	var b strings.Builder
	for i, s := range c {
		if i > 0 {
			b.WriteByte(',')
		}
		if s.first == s.last {
			fmt.Fprint(&b, s.first)
		} else {
			fmt.Fprintf(&b, "%d-%d", s.first, s.last)
		}
	}
	return b.String()
}
