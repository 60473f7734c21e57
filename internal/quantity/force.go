package quantity

import "sync"

// Force is a force in newtons (N): not kilonewtons, which bolt tables print.
type Force float64

// ForceUnit is a unit that forces are typed and shown in. Its zero value is no
// unit.
type ForceUnit uint8

// The units of force.
const (
	Newton        ForceUnit = iota + 1 // N
	Kilonewton                         // kN
	PoundForce                         // lbf
	KilogramForce                      // kgf
)

// Exact by definition: the kilogram-force is a kilogram under the standard
// acceleration of free fall, 9.806 65 m/s² (3rd General Conference on Weights
// and Measures, 1901), the pound-force a pound of 0.453 592 37 kg under the
// same. NIST SP 811 (2008) Appendix B.8 prints 9.806 65 E+00 in the bold type
// of exact factors and 4.448 222 E+00, with 4.448 221 615 260 5 E+00 in its
// footnote 23 as exact.
const (
	newtonsPerNewton        = "1"
	newtonsPerKilonewton    = "1000"
	newtonsPerPoundForce    = "4.4482216152605"
	newtonsPerKilogramForce = "9.80665"
)

// poundForceNames are the ways to spell the pound-force. The plain pound is
// among them: where a force or a torque is asked for, it can only be that.
var poundForceNames = []string{"lbf", "lb", "lbs", "pound", "pounds"}

var forces = sync.OnceValue(func() *scale {
	return &scale{
		kind: KindForce,
		units: []unit{
			Newton - 1:        multiple("N", "N", exact(newtonsPerNewton), "n", "newton", "newtons"),
			Kilonewton - 1:    multiple("kN", "kN", exact(newtonsPerKilonewton), "kn", "kilonewton", "kilonewtons"),
			PoundForce - 1:    multiple("lbf", "lbf", exact(newtonsPerPoundForce), poundForceNames...),
			KilogramForce - 1: multiple("kgf", "kgf", exact(newtonsPerKilogramForce), "kgf"),
		},
		below: "below zero",
		floor: "force is zero or more",
	}
})

// ParseForce reads a force with its unit, such as "10 kN" or "2200 lbf". A
// number without a unit, a force below zero and anything else are refused with
// a [*ParseError].
func ParseForce(text string) (Force, error) { return ParseForceIn(text, 0) }

// ParseForceIn reads a force as [ParseForce] does, and takes a number without
// a unit to be in the fallback unit; zero stands for none. It panics if the
// fallback is neither zero nor one of the units.
func ParseForceIn(text string, fallback ForceUnit) (Force, error) {
	entry, err := ReadForce(text, fallback)
	return entry.Quantity, err
}

// ReadForce reads a force as [ParseForceIn] does, and keeps what was typed.
func ReadForce(text string, fallback ForceUnit) (Entry[Force, ForceUnit], error) {
	return read[Force](forces(), text, fallback)
}

// ParseForceUnit reads a unit of force alone, in any spelling that
// [ParseForce] takes. Anything else is refused with a [*ParseError].
func ParseForceUnit(text string) (ForceUnit, error) {
	ordinal, err := forces().parseUnit(text)
	return ForceUnit(ordinal), err
}

// String gives the unit as it is typed, such as "kN".
func (u ForceUnit) String() string { return forces().name(int(u)) }

// In gives the force as a number of the unit. It panics if there is no such
// unit.
func (f Force) In(u ForceUnit) float64 { return forces().unit(int(u)).fromSI(float64(f)) }

// Format gives the force in the unit to four significant digits, such as
// "9.786 kN". It panics if there is no such unit.
func (f Force) Format(u ForceUnit) string {
	return forces().format(float64(f), int(u), fourDigits)
}
