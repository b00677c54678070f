package course

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundline/trace"
)

const horseFormat = "groundline/1"

// Bounds of what can be meant, metres: racehorses gallop with 7.1 m (Morrice-West et al. 2020), and landing and
// take-off over a 1.10-m fence are 2.0 and 1.7 m.
const (
	minStrideM, maxStrideM = 1.0, 8.0
	maxEdgeM               = 5.0
	// Stride frequencies of canter are 1.4 to 2.3 Hz between fences (see detect), of the fastest horses 2.9.
	minStrideS, maxStrideS = 0.3, 1.0
	maxSourceRunes         = 500
	// More than any effect that can be meant (ours).
	maxStridePerMS, maxHomewardRel, maxGradeRel = 2.0, 0.5, 5.0
)

// ReadHorse understands a horse file in YAML:
//
//	horse: groundline/1
//	name: Bramble
//	units: metres               # metres | feet | paces
//	size: large pony            # optional: one of [Profiles], for what the file leaves out
//	stride: 3.35                # a number, or {value: 3.35, low: 3.2, high: 3.5} with a 90 % interval
//	landing: 1.6                # optional: obstacle's back to fore hooves
//	takeoff: 1.5                # optional: hind hooves to obstacle's front
//	pace: 320                   # optional: m/min between fences
//	turn_pace: 290              # optional: m/min in the turn of a rollback
//	stride_time: 0.61           # optional: s
//	stride_per_pace: 0.5        # optional: metres by which the stride grows for each m/s of pace
//	homeward: 0.03              # optional: part by which the stride grows straight towards home
//	grade: -0.33                # optional: part by which it grows for each metre a metre of rise
//	source: measured in May     # optional: where the numbers come from
//
// One of size and stride must be there. A stride without an interval gets the natural variation of
// strides, 2 %; landing and take-off without one a fifth. Without landing and take-off each takes half a
// stride, as in the distance tables. The error is a [Faults]. [WriteHorse] writes one.
func ReadHorse(name string, data []byte) (Horse, error) {
	r := &planReader{file: name, unitM: 1}
	h := r.horse(data)
	if len(r.faults) > 0 {
		slices.SortStableFunc(r.faults, func(a, b Fault) int { return a.Line - b.Line })
		return Horse{}, r.faults
	}
	return h, nil
}

func (r *planReader) horse(data []byte) Horse {
	if line, found, expected := hostile(data); found != "" {
		r.fault(line, "", found, expected)
		return Horse{}
	}
	body := r.parse(bytes.TrimPrefix(data, []byte("\uFEFF")))
	if body == nil {
		return Horse{}
	}
	top := r.fields(node{Node: body}, "horse", "name", "units", "size", "stride", "landing", "takeoff", "pace", "turn_pace",
		"stride_time", "stride_per_pace", "homeward", "grade", "source")
	if top == nil {
		return Horse{}
	}
	if f, ok := top["horse"]; !ok {
		r.fault(1, "horse", "the field is missing", horseFormat)
	} else if s, ok := r.text(f.node, maxNameRunes, horseFormat); ok && s != horseFormat {
		r.fault(f.node.line(), "horse", f.node.describe(), horseFormat)
	}
	if f, ok := top["units"]; ok {
		r.units(f.node)
	}
	var h Horse
	sized, size := false, ""
	if f, ok := top["size"]; ok {
		names := make([]string, 0, len(Profiles()))
		for _, p := range Profiles() {
			names = append(names, p.Name)
		}
		expected := "one of " + strings.Join(names, ", ")
		if s, ok := r.text(f.node, maxNameRunes, expected); ok {
			i := slices.Index(names, s)
			if sized = i >= 0; sized {
				h, size = Profiles()[i].Horse(), s
			} else {
				r.fault(f.node.line(), "size", f.node.describe(), expected)
			}
		}
	}
	stride, okStride := r.figure(top, "stride", minStrideM, maxStrideM, sameStrideRel*1.645, true)
	landing, okLanding := r.figure(top, "landing", 0, maxEdgeM, 0.2, true)
	takeoff, okTakeoff := r.figure(top, "takeoff", 0, maxEdgeM, 0.2, true)
	if okLanding != okTakeoff && len(r.faults) == 0 {
		r.fault(1, "", "found one of landing and takeoff", "both or none")
	}
	switch {
	case !okStride && !sized && len(r.faults) == 0:
		r.fault(1, "stride", "the field is missing", "metres, or a size")
	case okStride && okLanding && okTakeoff:
		h = HorseFromHooves("", stride, landing, takeoff)
		h.Source = "horse file " + r.file
	case okStride:
		h = Profile{StrideM: stride.Value, LowM: stride.Low, HighM: stride.High, Source: "horse file " + r.file}.Horse()
	case okLanding && okTakeoff:
		bySize := h
		h = HorseFromHooves("", bySize.StrideM, landing, takeoff)
		h.Source = "landing and take-off by horse file " + r.file + ", stride " + bySize.Source
	}
	h.Size = size
	if f, ok := top["name"]; ok {
		h.Name, _ = r.text(f.node, maxNameRunes, "a name")
	}
	optional := func(key string, low, high, rel, factor float64) *trace.Estimate {
		e, ok := r.figure(top, key, low, high, rel, false)
		if !ok {
			return nil
		}
		return &trace.Estimate{Value: e.Value * factor, Low: e.Low * factor, High: e.High * factor}
	}
	h.SpeedMS = optional("pace", minSpeedMMin, maxSpeedMMin, 0.05, 1.0/60)
	h.TurnMS = optional("turn_pace", minSpeedMMin, maxSpeedMMin, 0.05, 1.0/60)
	h.StrideS = optional("stride_time", minStrideS, maxStrideS, sameStrideRel*1.645, 1)
	h.StridePerMS = optional("stride_per_pace", 0, maxStridePerMS, 0.33, 1)
	h.HomewardRel = optional("homeward", -maxHomewardRel, maxHomewardRel, 1, 1)
	if e := optional("grade", -maxGradeRel, maxGradeRel, 1, 1); e != nil {
		h.GradeRel = e
	}
	if f, ok := top["source"]; ok {
		h.Source, _ = r.text(f.node, maxSourceRunes, "where the numbers come from")
	}
	return h
}

// WriteHorse is the horse as a file that [ReadHorse] reads back to the same horse, in metres, to the tenth of a
// millimetre; a bound beyond what the file may say is written as far as it may.
func WriteHorse(h Horse) []byte {
	var b strings.Builder
	b.WriteString("horse: " + horseFormat + "\n")
	if h.Name != "" {
		b.WriteString("name: " + strconv.Quote(h.Name) + "\n")
	}
	if h.Size != "" {
		b.WriteString("size: " + h.Size + "\n")
	}
	write := func(key string, e *trace.Estimate, low, high, factor float64, what string) {
		if e == nil {
			return
		}
		in := func(v float64) string { return short(max(low, min(high, v*factor))) }
		fmt.Fprintf(&b, "%s: {value: %s, low: %s, high: %s} # %s\n", key, in(e.Value), in(e.Low), in(e.High), what)
	}
	write("stride", &h.StrideM, minStrideM, maxStrideM, 1, "m, hind contact to hind contact")
	if h.HoofLandingM != nil {
		write("landing", h.HoofLandingM, 0, maxEdgeM, 1, "m, back of the obstacle to the fore hooves")
		write("takeoff", &h.TakeoffM, 0, maxEdgeM, 1, "m, hind hooves to the front of the obstacle")
	}
	write("pace", h.SpeedMS, minSpeedMMin, maxSpeedMMin, 60, "m/min between fences")
	write("turn_pace", h.TurnMS, minSpeedMMin, maxSpeedMMin, 60, "m/min in the turn of a rollback")
	write("stride_time", h.StrideS, minStrideS, maxStrideS, 1, "s")
	write("stride_per_pace", h.StridePerMS, 0, maxStridePerMS, 1, "m by which the stride grows for each m/s of pace")
	write("homeward", h.HomewardRel, -maxHomewardRel, maxHomewardRel, 1, "part by which the stride grows straight towards home")
	write("grade", h.GradeRel, -maxGradeRel, maxGradeRel, 1, "part by which it grows for each metre a metre of rise")
	if h.Source != "" {
		b.WriteString("source: " + strconv.Quote(h.Source) + "\n")
	}
	return []byte(b.String())
}

// short is a number to the tenth of a millimetre, or of a thousandth.
func short(v float64) string { return plain(math.Round(v*1e4)/1e4 + 0) }

// units takes the unit of the file's lengths.
func (r *planReader) units(n node) {
	const expected = "metres, feet or paces"
	if s, ok := r.text(n, maxNameRunes, expected); ok {
		switch s {
		case "metres":
		case "feet":
			r.unitM = feetM
		case "paces":
			r.unitM = paceM
		default:
			r.fault(n.line(), n.path, n.describe(), expected)
		}
	}
}

// figure is a number, or {value, low, high}, in [low, high]; rel is the half width of its interval where it gives
// none, as a part of it.
func (r *planReader) figure(top map[string]field, key string, low, high, rel float64, isLength bool) (trace.Estimate, bool) {
	f, ok := top[key]
	if !ok || f.node.isNull() {
		return trace.Estimate{}, false
	}
	number := func(n node) (float64, bool) {
		if isLength {
			return r.length(n, low, high)
		}
		return r.number(n, low, high, "a number")
	}
	if !f.node.isGroup() {
		v, ok := number(f.node)
		half := rel * max(v, -v)
		return trace.Estimate{Value: v, Low: v - half, High: v + half}, ok
	}
	parts := r.fields(f.node, "value", "low", "high")
	var e trace.Estimate
	good := true
	for _, p := range []struct {
		key string
		to  *float64
	}{{"value", &e.Value}, {"low", &e.Low}, {"high", &e.High}} {
		g, ok := parts[p.key]
		if !ok {
			r.fault(f.node.line(), f.node.path+"."+p.key, "the field is missing", "a number")
			good = false
			continue
		}
		*p.to, ok = number(g.node)
		good = good && ok
	}
	if good && !(e.Low <= e.Value && e.Value <= e.High) {
		r.fault(f.node.line(), f.node.path, "the value lies outside its interval", "low <= value <= high")
		good = false
	}
	return e, good
}

// AtPace is the horse at another pace between fences, in m/s: its stride goes with the pace where both are known.
func (h Horse) AtPace(speedMS float64) Horse {
	if h.SpeedMS != nil && h.StridePerMS != nil {
		faster := speedMS - h.SpeedMS.Value
		by := h.StridePerMS.Value * faster
		sd := math.Hypot(h.StrideM.SD(), h.StridePerMS.SD()*faster)
		stride := trace.FromSD(max(minStrideM, h.StrideM.Value+by), sd)
		if h.HoofLandingM != nil {
			moved := HorseFromHooves(h.Name, stride, *h.HoofLandingM, h.TakeoffM)
			h.LandingM = moved.LandingM
		}
		h.StrideM = stride
	}
	pace := trace.Exactly(speedMS)
	h.SpeedMS = &pace
	return h
}
