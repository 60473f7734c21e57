package quantity

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// The factors are those of NIST SP 811 (2008) Appendix B.8 and B.9, exact by
// definition; the products with them are whole decimals, computed by hand, so
// the nearest float64 to each is known and the tolerance is none.
func TestParseTorque(t *testing.T) {
	for text, want := range map[string]Torque{
		"203 N.m":                    203,
		"203 N·m":                    203, // U+00B7, middle dot
		"203 N⋅m":                    203, // U+22C5, dot operator
		"203 N*m":                    203,
		"203 N-m":                    203,
		"203 N - m":                  203,
		"203 N m":                    203,
		"203Nm":                      203,
		"203nm":                      203,
		"203 NM":                     203,
		"203\u00a0N\u202fm":          203, // no-break spaces
		"  203\tN.m ":                203,
		"203.0 newton metres":        203,
		"2.03e2 N.m":                 203,
		"+203 N.m":                   203,
		"0 N.m":                      0,
		".5 N.m":                     0.5,
		"1 lbf.ft":                   1.3558179483314004,
		"150 lbf.ft":                 203.37269224971006,
		"150 lbf·ft":                 203.37269224971006,
		"150 ft-lb":                  203.37269224971006,
		"150 ft.lbf":                 203.37269224971006,
		"150 ft lbs.":                203.37269224971006,
		"150 foot-pounds":            203.37269224971006,
		"150ftlb":                    203.37269224971006,
		"150 LB-FT":                  203.37269224971006,
		"1800 lbf.in":                203.37269224971006,
		"1800 in-lb":                 203.37269224971006,
		"1800 inch pounds":           203.37269224971006,
		"1 lbf.in":                   0.1129848290276167,
		"20.7 kgf.m":                 202.997655,
		"1 kgf·m":                    9.80665,
		"20.70000000000000000 kgf.m": 202.997655,
	} {
		got, err := ParseTorque(text)
		if err != nil || got != want {
			t.Errorf("ParseTorque(%q) = %.17g, %v, want %.17g", text, got, err, want)
		}
	}
}

// Factors as in TestParseTorque: 1 in = 25.4 mm, 1 ft = 304.8 mm.
func TestParseLength(t *testing.T) {
	for text, want := range map[string]Length{
		"25.4 mm":   25.4,
		"25.4mm":    25.4,
		"2.54 cm":   25.4,
		"0.0254 m":  25.4,
		"1 in":      25.4,
		"1 inch":    25.4,
		"1 in.":     25.4,
		`1"`:        25.4,
		"1″":        25.4,
		"0.5 in":    12.7,
		"1/2 in":    12.7,
		"3/2 in":    38.1,
		"1 1/2 in":  38.1,
		"1-1/2 in":  38.1,
		"1-1/2in":   38.1,
		"1.5 in":    38.1,
		"1-1/8 in":  28.575,
		"+1/4 in":   6.35,
		"0/4 in":    0,
		"1 ft":      304.8,
		"3 feet":    914.4,
		"1/2 ft":    152.4,
		"0 mm":      0,
		"38.1 MM":   38.1,
		"1e3 mm":    1000,
		"1000.0 mm": 1000,
	} {
		got, err := ParseLength(text)
		if err != nil || got != want {
			t.Errorf("ParseLength(%q) = %.17g, %v, want %.17g", text, got, err, want)
		}
	}
}

// NIST SP 811 (2008) Appendix B.9: t/°C = (t/°F − 32)/1.8 and t/°C = T/K −
// 273.15. That −40 is the same on both scales, and water freezes at 32 °F, are
// its fixed points; 40 °F = 4.4 °C (rounded) is the lower limit for sealing in
// common practice.
func TestParseTemperature(t *testing.T) {
	for text, want := range map[string]Temperature{
		"38 F":           10.0 / 3,
		"38 °F":          10.0 / 3,
		"38°F":           10.0 / 3,
		"38 ° F":         10.0 / 3,
		"38 º F":         10.0 / 3, // the ordinal sign, often typed for the degree
		"38 ℉":           10.0 / 3,
		"38 deg F":       10.0 / 3,
		"38f":            10.0 / 3,
		"40 F":           40.0 / 9,
		"32 F":           0,
		"212 Fahrenheit": 100,
		"-40 F":          -40,
		"−40 °F":         -40, // U+2212, the typeset minus
		"-40 C":          -40,
		"3.3C":           3.3,
		"3.3 ℃":          3.3,
		"+3.3 Celsius":   3.3,
		"-0 C":           0,
		"276 K":          2.85,
		"273.15K":        0,
		"0 K":            -273.15,
		"-273.15 C":      -273.15,
		"-459.67 F":      -273.15,
		"1e2 C":          100,
	} {
		got, err := ParseTemperature(text)
		if err != nil || got != want || got == 0 && math.Signbit(float64(got)) {
			t.Errorf("ParseTemperature(%q) = %.17g, %v, want %.17g", text, got, err, want)
		}
	}
}

// NIST SP 811 (2008) Appendix B.8 with footnote 23: 1 lbf = 4.448 221 615 260 5
// N exactly; 1 kgf = 9.806 65 N exactly.
func TestParseForce(t *testing.T) {
	for text, want := range map[string]Force{
		"10000 N":   10000,
		"10 kN":     10000,
		"10KN":      10000,
		"1 lbf":     4.4482216152605,
		"2200 lbf":  9786.0875535731,
		"2200 lb":   9786.0875535731,
		"2200 lbs":  9786.0875535731,
		"1 kgf":     9.80665,
		"5 kgf":     49.03325,
		"0 N":       0,
		"-0 N":      0,
		"0.5 kN":    500,
		"1 newton":  1,
		"2 newtons": 2,
	} {
		got, err := ParseForce(text)
		if err != nil || got != want || math.Signbit(float64(got)) {
			t.Errorf("ParseForce(%q) = %.17g, %v, want %.17g", text, got, err, want)
		}
	}
}

// NIST SP 811 (2008) Appendix B.8 with footnote 22: 1 lb = 0.453 592 37 kg exactly.
func TestParseMass(t *testing.T) {
	for text, want := range map[string]Mass{
		"1500 kg":  1500,
		"1.5 t":    1500,
		"2 tonnes": 2000,
		"1 lb":     0.45359237,
		"2200 lbs": 997.903214,
		"0 kg":     0,
	} {
		got, err := ParseMass(text)
		if err != nil || got != want {
			t.Errorf("ParseMass(%q) = %.17g, %v, want %.17g", text, got, err, want)
		}
	}
	for text, says := range map[string]string{
		"1 ton": `ton is not a known unit`, "10 kN": `kN is a force`, "1500": "has no unit", "-1 kg": "below zero", "1-1/2 t": "is a fraction",
	} {
		if _, err := ParseMass(text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("ParseMass(%q): %v; want %s", text, err, says)
		}
	}
	if got := Mass(997.903214).Format(Pound); got != "2200 lb" {
		t.Errorf("%s", got)
	}
	if got := Mass(1500).In(Tonne); got != 1.5 {
		t.Errorf("%v", got)
	}
}

// The factors as NIST SP 811 (2008) Appendix B.8 prints them, to seven digits.
func TestFactorsPrinted(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"lbf·ft", newtonMetres(t, "1 lbf.ft"), 1.355818},
		{"lbf·in", newtonMetres(t, "1 lbf.in"), 1.129848e-1},
		{"kgf·m", newtonMetres(t, "1 kgf.m"), 9.80665},
		{"the other way, lbf·ft", Torque(1).In(PoundForceFoot), 0.7375621},
		{"the other way, lbf·in", Torque(1).In(PoundForceInch), 8.850746},
		{"lbf", Force(1).In(PoundForce), 1 / 4.448222},
		{"in", Length(1).In(Inch), 1 / 25.4},
		{"ft", Length(1).In(Foot), 1 / 304.8},
	} {
		if math.Abs(c.got-c.want) > 5e-7*c.want {
			t.Errorf("%s: %.9g, want %.7g", c.name, c.got, c.want)
		}
	}
}

func newtonMetres(t *testing.T, text string) float64 {
	t.Helper()
	torque, err := ParseTorque(text)
	if err != nil {
		t.Fatal(err)
	}
	return float64(torque)
}

func TestParseInFallback(t *testing.T) {
	if got, err := ParseTorqueIn("203", NewtonMetre); err != nil || got != 203 {
		t.Errorf("203 with N.m as fallback = %v, %v", got, err)
	}
	if got, err := ParseTorqueIn("20.7", KilogramForceMetre); err != nil || got != 202.997655 {
		t.Errorf("20.7 with kgf.m as fallback = %v, %v", got, err)
	}
	// The unit typed wins.
	if got, err := ParseTorqueIn("203 N.m", PoundForceFoot); err != nil || got != 203 {
		t.Errorf("203 N.m with lbf.ft as fallback = %v, %v", got, err)
	}
	if got, err := ParseLengthIn("1-1/2", Inch); err != nil || got != 38.1 {
		t.Errorf("1-1/2 with in as fallback = %v, %v", got, err)
	}
	if got, err := ParseTemperatureIn("-40", DegreeFahrenheit); err != nil || got != -40 {
		t.Errorf("-40 with F as fallback = %v, %v", got, err)
	}
	if got, err := ParseForceIn("10", Kilonewton); err != nil || got != 10000 {
		t.Errorf("10 with kN as fallback = %v, %v", got, err)
	}
	if _, err := ParseLengthIn("1/2", Millimetre); err == nil {
		t.Error("1/2 with mm as fallback was taken")
	}
	for name, parse := range map[string]func(){
		"torque":      func() { _, _ = ParseTorqueIn("1 N.m", 99) },
		"length":      func() { _, _ = ParseLengthIn("1 mm", 99) },
		"temperature": func() { _, _ = ParseTemperatureIn("1 C", 99) },
		"force":       func() { _, _ = ParseForceIn("1 N", 99) },
		"In":          func() { _ = Torque(1).In(0) },
		"Format":      func() { _ = Torque(1).Format(77) },
	} {
		panicked := func() (panicked bool) {
			defer func() { panicked = recover() != nil }()
			parse()
			return false
		}()
		if !panicked {
			t.Errorf("%s: an unknown unit did not panic", name)
		}
	}
}

func TestReadKeepsWhatWasTyped(t *testing.T) {
	torque, err := ReadTorque(" 150 ft-lb ", 0)
	want := Entry[Torque, TorqueUnit]{Quantity: 203.37269224971006, Number: 150, Unit: PoundForceFoot, Text: " 150 ft-lb "}
	if err != nil || torque != want {
		t.Errorf("got %+v, %v, want %+v", torque, err, want)
	}
	length, err := ReadLength("1-1/2", Inch)
	if wantLength := (Entry[Length, LengthUnit]{38.1, 1.5, Inch, "1-1/2"}); err != nil || length != wantLength {
		t.Errorf("got %+v, %v, want %+v", length, err, wantLength)
	}
	temperature, err := ReadTemperature("38 °F", 0)
	if wantTemperature := (Entry[Temperature, TemperatureUnit]{10.0 / 3, 38, DegreeFahrenheit, "38 °F"}); err != nil || temperature != wantTemperature {
		t.Errorf("got %+v, %v, want %+v", temperature, err, wantTemperature)
	}
	force, err := ReadForce("10 kN", Newton)
	if wantForce := (Entry[Force, ForceUnit]{10000, 10, Kilonewton, "10 kN"}); err != nil || force != wantForce {
		t.Errorf("got %+v, %v, want %+v", force, err, wantForce)
	}
}

const torqueUnits = "torque is given in N.m, lbf.ft, lbf.in or kgf.m"

// torqueRefusals are the texts refused for a torque, with the part at fault,
// the problem and what was expected.
var torqueRefusals = []struct{ text, part, problem, expected string }{
	// No unit, no number, a unit of another quantity.
	{"150", "", "150 has no unit", torqueUnits},
	{" 150 ", "", "150 has no unit", torqueUnits},
	{"", "", "there is no number", torqueUnits},
	{"  ", "", "there is no number", torqueUnits},
	{"-", "", "there is no number", torqueUnits},
	{"lbf.ft", "lbf.ft", "lbf.ft does not begin with a number", torqueUnits},
	{"- 5 N.m", " 5 N.m", " 5 N.m does not begin with a number", torqueUnits},
	{"--5 N.m", "-5 N.m", "-5 N.m does not begin with a number", torqueUnits},
	{"１５０ N.m", "１５０ N.m", "１５０ N.m does not begin with a number", torqueUnits},
	{"½ N.m", "½ N.m", "½ N.m does not begin with a number", torqueUnits},
	{"150 mm", "mm", "mm is a length", torqueUnits},
	{"150 in.", "in.", "in. is a length", torqueUnits},
	{"150 °F", "°F", "°F is a temperature", torqueUnits},
	{"150 N", "N", "N is a force", torqueUnits},
	{"150 lb", "lb", "lb is a force", torqueUnits},
	{"150 J", "J", "J is not a known unit", torqueUnits},
	{"150 mN", "mN", "mN is not a known unit", torqueUnits},
	{"150 MN.m", "MN.m", "MN.m is not a known unit", torqueUnits},
	{"150 ft/lb", "ft/lb", "ft/lb is not a known unit", torqueUnits},
	{"150-ft-lb", "-ft-lb", "-ft-lb is not a known unit", torqueUnits},
	{"150 lbf.ft 3", "lbf.ft 3", "lbf.ft 3 is not a known unit", torqueUnits},
	{"150e N.m", "e N.m", "e N.m is not a known unit", torqueUnits},
	{"150 N.m\n", "N.m\n", `"N.m\n" is not a known unit`, torqueUnits},
	{"150 \x1b[2JN.m", "\x1b[2JN.m", `"\x1b[2JN.m" is not a known unit`, torqueUnits},
	{"150 \xffN.m", "\xffN.m", `"\xffN.m" is not a known unit`, torqueUnits},
	// The comma.
	{"3,3 N.m", "3,3", "3,3 has a comma", "the decimal sign is a point, as in 3.3"},
	{"-3,3 N.m", "-3,3", "-3,3 has a comma", "the decimal sign is a point, as in -3.3"},
	{",5 N.m", ",5", ",5 has a comma", "the decimal sign is a point, as in .5"},
	{"1,800 lbf.in", "1,800", "1,800 has a comma", "the decimal sign is a point, as in 1.800; thousands are not separated, as in 1800"},
	{"1,800,000 lbf.in", "1,800,000", "1,800,000 has a comma", "a point marks decimals, and thousands are not separated"},
	{"1,800.5 lbf.in", "1,800.5", "1,800.5 has a comma", "a point marks decimals, and thousands are not separated"},
	{"1.800,5 lbf.in", "1.800,5", "1.800,5 has a comma", "a point marks decimals, and thousands are not separated"},
	// Other separators and other numbers.
	{"1 800 lbf.in", "1 800", "1 800 has a space within the number", "one number is expected, with thousands not separated"},
	{"1\u00a0800 lbf.in", "1\u00a0800", `"1\u00a0800" has a space within the number`, "one number is expected, with thousands not separated"},
	{"1'800 lbf.in", "1'800", "1'800 has a separator within the number", "thousands are not separated"},
	{"1’800 lbf.in", "1’800", "1’800 has a separator within the number", "thousands are not separated"},
	{"1_800 lbf.in", "1_800", "1_800 has a separator within the number", "thousands are not separated"},
	{"1.800.000 lbf.in", "1.800.000", "1.800.000 has two points", "a point marks decimals, and thousands are not separated"},
	{"150. lbf.ft", "150.", "150. ends in a point", "digits follow the point"},
	{"150.lbf.ft", "150.", "150. ends in a point", "digits follow the point"},
	{"10-20 N.m", "10-20", "10-20 is more than one number", "one number is expected"},
	{"10–20 N.m", "10–20", "10–20 is more than one number", "one number is expected"},
	{"NaN N.m", "NaN", "NaN is not a finite number", "a decimal number is expected"},
	{"-inf", "inf", "inf is not a finite number", "a decimal number is expected"},
	{"Infinity N.m", "Infinity", "Infinity is not a finite number", "a decimal number is expected"},
	{"0x10 N.m", "0x10", "0x10 is not in base ten", "a decimal number is expected"},
	{"0X1P3 N.m", "0X1P3", "0X1P3 is not in base ten", "a decimal number is expected"},
	{"0b11 N.m", "0b11", "0b11 is not in base ten", "a decimal number is expected"},
	{"1e999 N.m", "1e999", "1e999 is too large", "a number that can be stored is expected"},
	{"1e999999999999999999999 N.m", "1e999999999999999999999", "1e999999999999999999999 is too large", "a number that can be stored is expected"},
	{"1e308 kgf.m", "1e308", "1e308 is too large", "a number that can be stored is expected"},
	{"1e-999 N.m", "1e-999", "1e-999 is too small to tell from zero", "zero is written as 0"},
	{"5e-324 lbf.in", "5e-324", "5e-324 is too small to tell from zero", "zero is written as 0"},
	// Fractions.
	{"1/2 lbf.ft", "1/2", "1/2 is a fraction", "torque in lbf.ft is a decimal number"},
	{"1\t1/2 lbf.ft", "1\t1/2", `"1\t1/2" is a fraction`, "torque in lbf.ft is a decimal number"},
	{"1/0 lbf.ft", "1/0", "1/0 divides by zero", "the lower number of a fraction is at least 1"},
	{"1-1/0 lbf.ft", "1-1/0", "1-1/0 divides by zero", "the lower number of a fraction is at least 1"},
	{"1/ lbf.ft", "1/", "1/ is not a fraction", "a fraction is written as in 1/2 or 1-1/2"},
	{"1/2/3 lbf.ft", "1/2/3", "1/2/3 is not a fraction", "a fraction is written as in 1/2 or 1-1/2"},
	{"1.5/2 lbf.ft", "1.5/2", "1.5/2 is not a fraction", "a fraction is written as in 1/2 or 1-1/2"},
	{"1 3/2 lbf.ft", "1 3/2", "1 3/2 has a space within the number", "one number is expected, with thousands not separated"},
	{"1-3/2 lbf.ft", "1-3/2", "1-3/2 is more than one number", "one number is expected"},
	// The range.
	{"-5 N.m", "-5", "-5 N.m is below zero", "torque is zero or more"},
	{"-1e-300 N.m", "-1e-300", "-1e-300 N.m is below zero", "torque is zero or more"},
}

func TestParseRefuses(t *testing.T) {
	for _, c := range torqueRefusals {
		got, err := ParseTorque(c.text)
		checkRefusal(t, err, ParseError{KindTorque, c.text, c.part, c.problem, c.expected})
		if got != 0 {
			t.Errorf("ParseTorque(%q) = %g beside the error", c.text, got)
		}
	}
}

// Each quantity names its own units and its own lowest value.
func TestParseRefusesEachQuantity(t *testing.T) {
	_, err := ParseLength("-1-1/2 in")
	checkRefusal(t, err, ParseError{KindLength, "-1-1/2 in", "-1-1/2", "-1-1/2 in is below zero", "length is zero or more"})
	_, err = ParseLength("1/2 mm")
	checkRefusal(t, err, ParseError{KindLength, "1/2 mm", "1/2", "1/2 is a fraction", "length in mm is a decimal number"})
	_, err = ParseLength("3 N.m")
	checkRefusal(t, err, ParseError{KindLength, "3 N.m", "N.m", "N.m is a torque", "length is given in mm, cm, m, in or ft"})
	_, err = ParseTemperature("38")
	checkRefusal(t, err, ParseError{KindTemperature, "38", "", "38 has no unit", "temperature is given in C, F or K"})
	const lowest = "temperature is at least -273.15 C, -459.67 F or 0 K"
	for text, part := range map[string]string{"-273.16 C": "-273.16", "-459.68F": "-459.68", "-0.01 K": "-0.01", "-273.15000000000000001 C": "-273.15000000000000001"} {
		_, err = ParseTemperature(text)
		checkRefusal(t, err, ParseError{KindTemperature, text, part, text + " is below absolute zero", lowest})
	}
	_, err = ParseForce("10 kgf.m")
	checkRefusal(t, err, ParseError{KindForce, "10 kgf.m", "kgf.m", "kgf.m is a torque", "force is given in N, kN, lbf or kgf"})
	_, err = ParseForce("-1 kN")
	checkRefusal(t, err, ParseError{KindForce, "-1 kN", "-1", "-1 kN is below zero", "force is zero or more"})
}

func checkRefusal(t *testing.T, err error, want ParseError) {
	t.Helper()
	var got *ParseError
	if !errors.As(err, &got) {
		t.Errorf("%q: error %v, want a *ParseError", want.Text, err)
		return
	}
	if *got != want {
		t.Errorf("%q:\n got %#v\nwant %#v", want.Text, *got, want)
	}
	if !strings.Contains(want.Text, want.Part) {
		t.Errorf("%q does not contain the part %q", want.Text, want.Part)
	}
}

func TestParseErrorText(t *testing.T) {
	_, err := ParseTorque("150 mm")
	if want := `"150 mm": mm is a length; torque is given in N.m, lbf.ft, lbf.in or kgf.m`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

// A line of any length, as from a file given by mistake, is refused quickly and
// with a short message; a long number and a long unit are no exception.
func TestParseRefusesLongText(t *testing.T) {
	for _, text := range []string{
		strings.Repeat("9", 1<<20),
		strings.Repeat("é", 1<<20) + " N.m",
		"1 " + strings.Repeat("N.m ", 1<<18),
	} {
		_, err := ParseTorque(text)
		var got *ParseError
		if !errors.As(err, &got) || got.Text != text || got.Expected != "torque is a number and a unit in at most 64 bytes" {
			t.Errorf("%.20q…: %.200v", text, err)
			continue
		}
		if len(err.Error()) > 300 {
			t.Errorf("%.20q…: the message has %d bytes", text, len(err.Error()))
		}
		_, err = ParseTorqueUnit(text)
		if !errors.As(err, &got) || len(err.Error()) > 400 {
			t.Errorf("%.20q… as a unit: %.200v", text, err)
		}
	}
	// 64 bytes are still read.
	if got, err := ParseTorque("1" + strings.Repeat(" ", 60) + "N.m"); err != nil || got != 1 {
		t.Errorf("64 bytes: %v, %v", got, err)
	}
}
