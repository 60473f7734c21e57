package quantity

import "sync"

// Length is a length in millimetres (mm).
type Length float64

// LengthUnit is a unit that lengths are typed and shown in. Its zero value is
// no unit.
type LengthUnit uint8

// The units of length.
const (
	Millimetre LengthUnit = iota + 1 // mm
	Centimetre                       // cm
	Metre                            // m
	Inch                             // in
	Foot                             // ft
)

// Exact by definition: the international yard of 1959 is 0.9144 m, and an inch
// is a 36th of it, a foot a third. NIST SP 811 (2008) Appendix B.8 prints 2.54
// E−02 and 3.048 E−01 metres in the bold type of exact factors.
const (
	millimetresPerMillimetre = "1"
	millimetresPerCentimetre = "10"
	millimetresPerMetre      = "1000"
	millimetresPerInch       = "25.4"
	millimetresPerFoot       = "304.8"
)

var lengths = sync.OnceValue(func() *scale {
	return &scale{
		kind: KindLength,
		units: []unit{
			Millimetre - 1: multiple("mm", "mm", exact(millimetresPerMillimetre), "mm", "millimetre", "millimetres", "millimeter", "millimeters"),
			Centimetre - 1: multiple("cm", "cm", exact(millimetresPerCentimetre), "cm", "centimetre", "centimetres", "centimeter", "centimeters"),
			Metre - 1:      multiple("m", "m", exact(millimetresPerMetre), "m", "metre", "metres", "meter", "meters"),
			Inch - 1:       withFractions(multiple("in", "in", exact(millimetresPerInch), "in", "inch", "inches", `"`)),
			Foot - 1:       withFractions(multiple("ft", "ft", exact(millimetresPerFoot), "ft", "foot", "feet")),
		},
		below: "below zero",
		floor: "length is zero or more",
	}
})

func withFractions(u unit) unit {
	u.fractions = true
	return u
}

// ParseLength reads a length with its unit, such as "25.4 mm", "1/2 in",
// "1-1/8 in" or "3 ft". A number without a unit, a length below zero and
// anything else are refused with a [*ParseError]; so are fractions of metric
// units.
func ParseLength(text string) (Length, error) { return ParseLengthIn(text, 0) }

// ParseLengthIn reads a length as [ParseLength] does, and takes a number
// without a unit to be in the fallback unit; zero stands for none. It panics
// if the fallback is neither zero nor one of the units.
func ParseLengthIn(text string, fallback LengthUnit) (Length, error) {
	entry, err := ReadLength(text, fallback)
	return entry.Quantity, err
}

// ReadLength reads a length as [ParseLengthIn] does, and keeps what was typed.
func ReadLength(text string, fallback LengthUnit) (Entry[Length, LengthUnit], error) {
	return read[Length](lengths(), text, fallback)
}

// ParseLengthUnit reads a unit of length alone, in any spelling that
// [ParseLength] takes. Anything else is refused with a [*ParseError].
func ParseLengthUnit(text string) (LengthUnit, error) {
	ordinal, err := lengths().parseUnit(text)
	return LengthUnit(ordinal), err
}

// String gives the unit as it is typed, such as "mm".
func (u LengthUnit) String() string { return lengths().name(int(u)) }

// In gives the length as a number of the unit. It panics if there is no such
// unit.
func (l Length) In(u LengthUnit) float64 { return lengths().unit(int(u)).fromSI(float64(l)) }

// Format gives the length in the unit to four significant digits, such as
// "25.4 mm". It panics if there is no such unit.
func (l Length) Format(u LengthUnit) string {
	return lengths().format(float64(l), int(u), fourDigits)
}
