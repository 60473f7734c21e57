package quantity

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode"
)

// fuzzSeeds are texts of every quantity and of every kind of fault.
var fuzzSeeds = []string{
	"150 lbf.ft", "150 lbf·ft", "150 ft-lb", "1800 in-lb", "203 N.m", "203Nm", "20.7 kgf.m",
	"38 F", "38 °F", "3.3C", "276 K", "-459.67 F", "−40 ℃", "1 in", "1/2 in", "1-1/8 in.", "1 1/2\"", "25.4 mm", "3 ft",
	"10 kN", "2200 lbf", "5 kgf", "150", "", "3,3 N.m", "1,800 lbf.in", "1 800 lbf.in", "1'800 N", "1_800 mm",
	"1.800.000 N", "5. mm", "10-20 N.m", "NaN N.m", "-inf C", "0x1p3 mm", "1e999 N", "1e-999 m", "5e-324 lbf.in", "1/0 in",
	"1/2/3 in", "-5 N.m", "-0 C", "0e999999999 mm", "1e99999999999999999999 m", "１５０ N", "150 \x1b[2Jmm", "\xff\xfe", "1\u00a01/2 ft",
}

// readers are the parsers of all quantities, each with its scale and the lowest value
// that it may give.
func readers() []quantityReader {
	return []quantityReader{
		{torques(), 0, func(text string, unit int) (float64, error) {
			v, err := ParseTorqueIn(text, TorqueUnit(unit))
			return float64(v), err
		}},
		{lengths(), 0, func(text string, unit int) (float64, error) {
			v, err := ParseLengthIn(text, LengthUnit(unit))
			return float64(v), err
		}},
		{temperatures(), -273.15, func(text string, unit int) (float64, error) {
			v, err := ParseTemperatureIn(text, TemperatureUnit(unit))
			return float64(v), err
		}},
		{forces(), 0, func(text string, unit int) (float64, error) {
			v, err := ParseForceIn(text, ForceUnit(unit))
			return float64(v), err
		}},
		{masses(), 0, func(text string, unit int) (float64, error) {
			v, err := ParseMassIn(text, MassUnit(unit))
			return float64(v), err
		}},
	}
}

type quantityReader struct {
	scale  *scale
	lowest float64
	parse  func(text string, fallback int) (float64, error)
}

// FuzzParse holds what any text must meet as any quantity: a refusal that names the
// text, or a value that is finite, not below the lowest, zero only if zero was typed,
// the same when the text is read as the unit's number, and the same when it is written
// in SI and read again.
func FuzzParse(f *testing.F) {
	for i, seed := range fuzzSeeds {
		f.Add(uint8(i), seed, uint8(0))
		f.Add(uint8(i), seed, uint8(1))
	}
	all := readers()
	f.Fuzz(func(t *testing.T, which uint8, text string, choice uint8) {
		q := all[int(which)%len(all)]
		s, fallback := q.scale, int(choice)%(len(q.scale.units)+1)
		value, err := q.parse(text, fallback)
		if err != nil {
			refusalPromises(t, s, text, value, err)
			return
		}
		if math.IsNaN(value) || math.IsInf(value, 0) || value < q.lowest || value == 0 && math.Signbit(value) {
			t.Fatalf("%q is %g", text, value)
		}
		r, err := s.read(text, fallback)
		if err != nil || r.si != value {
			t.Fatalf("%q is %g, then %+v, %v", text, value, r, err)
		}
		if s.kind != KindTemperature && (value == 0) != (r.number == 0) {
			t.Fatalf("%q is %g, typed as %g", text, value, r.number)
		}
		back := s.unit(r.unit).fromSI(r.si)
		if math.Abs(back-r.number) > 1e-15*math.Max(math.Abs(r.number), originSize(s.unit(r.unit))) && math.Abs(value) > 1e-300 {
			t.Fatalf("%q is %g, and back %g", text, value, back)
		}
		if again, err := q.parse(strconv.FormatFloat(value, 'g', -1, 64), siUnit(s)); err != nil || again != value {
			t.Fatalf("%q is %g, which reads back as %g, %v", text, value, again, err)
		}
	})
}

// siUnit is the unit in which a quantity is kept.
func siUnit(s *scale) int {
	for i := range s.units {
		if u := s.unit(i + 1); u.fromSI(1) == 1 && u.fromSI(2) == 2 {
			return i + 1
		}
	}
	panic("no SI unit of " + s.kind.String())
}

func refusalPromises(t *testing.T, s *scale, text string, value float64, err error) {
	var fault *ParseError
	if !errors.As(err, &fault) {
		t.Fatalf("%q: %T", text, err)
	}
	if value != 0 || fault.Kind != s.kind || fault.Text != text || fault.Problem == "" || fault.Expected == "" {
		t.Fatalf("%q: %g, %#v", text, value, fault)
	}
	if !strings.Contains(text, fault.Part) {
		t.Fatalf("%q has no part %q", text, fault.Part)
	}
	message := err.Error()
	if len(message) > 1000 || strings.ContainsFunc(message, func(r rune) bool { return !unicode.IsPrint(r) }) {
		t.Fatalf("%q gives the message %q", text, message)
	}
}
