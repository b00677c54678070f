package report

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"strings"
	"time"

	"groundline/report/layout"
	"groundline/trace"
)

// JSON writes the debrief as one JSON object, indented, with a newline at its end. The
// order of the fields is the order of [Debrief], so that the same debrief is the same
// bytes. An absent figure is null, an empty list is [], and no number is NaN or infinite: a
// debrief that holds one is refused with an error that names the field.
//
// Numbers are rounded to what they can mean: an estimate to three digits of half its
// interval's width, so that rounding moves no bound by more than 0.5 % of that; other numbers to the
// decimals of their unit (see decimalsOf).
func JSON(w io.Writer, d *Debrief) error {
	return WriteJSON(w, *d, "debrief")
}

// WriteJSON writes a plain struct as [JSON] writes a debrief, with the same promises; name is what errors call it.
func WriteJSON(w io.Writer, v any, name string) error {
	out, err := rounded(reflect.ValueOf(v), name, "")
	if err != nil {
		return err
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(out.Interface()); err != nil {
		return fmt.Errorf("%s as JSON: %w", name, err)
	}
	return nil
}

// Rounded is a deep copy of a plain struct with its numbers rounded as [JSON] rounds them, its empty lists made [] and not
// null, and the promise that none is NaN or infinite; name is what errors call it.
func Rounded[T any](v T, name string) (T, error) {
	out, err := rounded(reflect.ValueOf(v), name, "")
	if err != nil {
		return v, err
	}
	return out.Interface().(T), nil
}

// intervalDigits is how many digits of half an interval's width the JSON keeps: rounding
// then moves a bound by at most half a unit in a hundred, too little to change how often the
// interval holds the truth.
const intervalDigits = 3

var (
	estimateType = reflect.TypeFor[trace.Estimate]()
	floatType    = reflect.TypeFor[float64]()
	timeType     = reflect.TypeFor[time.Time]()
)

// rounded is a deep copy of v with every number rounded and every nil slice made empty.
// path is where v stands, for errors; name is the JSON name of the field it is in.
func rounded(v reflect.Value, path, name string) (reflect.Value, error) {
	out := reflect.New(v.Type()).Elem()
	switch {
	case v.Type() == estimateType:
		e := v.Interface().(trace.Estimate)
		for _, x := range []float64{e.Value, e.Low, e.High} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return out, fmt.Errorf("%s: %v is not a number that can be told", path, e)
			}
		}
		out.Set(reflect.ValueOf(roundEstimate(e)))
	case v.Type() == floatType:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			return out, fmt.Errorf("%s: %v is not a number that can be told", path, x)
		}
		out.SetFloat(layout.Round(v.Float(), decimalsOf(name)))
	case v.Type() == timeType: // has no figures, and writes itself
		out.Set(v)
	case v.Kind() == reflect.Pointer:
		if v.IsNil() {
			return out, nil
		}
		elem, err := rounded(v.Elem(), path, name)
		if err != nil {
			return out, err
		}
		out.Set(reflect.New(v.Type().Elem()))
		out.Elem().Set(elem)
	case v.Kind() == reflect.Slice:
		out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
		for i := range v.Len() {
			elem, err := rounded(v.Index(i), fmt.Sprintf("%s[%d]", path, i), name)
			if err != nil {
				return out, err
			}
			out.Index(i).Set(elem)
		}
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			if !v.Type().Field(i).IsExported() {
				continue // not part of the JSON
			}
			field := jsonName(v.Type().Field(i))
			elem, err := rounded(v.Field(i), path+"."+field, field)
			if err != nil {
				return out, err
			}
			out.Field(i).Set(elem)
		}
	default:
		out.Set(v)
	}
	return out, nil
}

// jsonName is the name of a field in the JSON.
func jsonName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

// decimalsOf is how many decimals a plain number keeps, by the unit that ends its JSON
// name: times to the millisecond and places to the millimetre, finer than any recording
// tells them; ratios (grade, cosines, probabilities) to a ten-thousandth.
func decimalsOf(name string) int {
	switch {
	case name == "jitter_s": // of a clock's steps, down to microseconds
		return 6
	case strings.HasSuffix(name, "_s"), strings.HasSuffix(name, "_m"), strings.HasSuffix(name, "_hz"),
		strings.HasSuffix(name, "_deg"):
		return 3
	default:
		return 4
	}
}

// roundEstimate rounds value and bounds to the same decimals, so that their order stays. What is rounded stays as it is
// when it is rounded again: half a width just below a power of ten may be rounded up to it, and then keeps a decimal less.
func roundEstimate(e trace.Estimate) trace.Estimate {
	decimals := decimalsFor((e.High - e.Low) / 2)
	once := roundTo(e, decimals)
	half := layout.Round((once.High-once.Low)/2, decimals+1) // without the dust of binary fractions
	return roundTo(e, min(decimals, decimalsFor(half)))
}

// decimalsFor is how many decimals show the digits of half a width that the JSON keeps.
func decimalsFor(half float64) int {
	const most = 6 // without doubt: only the dust of binary fractions is wiped off
	if half <= 0 {
		return most
	}
	return min(most, intervalDigits-1-int(math.Floor(math.Log10(half))))
}

func roundTo(e trace.Estimate, decimals int) trace.Estimate {
	return trace.Estimate{
		Value: layout.Round(e.Value, decimals), Low: layout.Round(e.Low, decimals), High: layout.Round(e.High, decimals),
	}
}
