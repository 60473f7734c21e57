package quantity

import "sync"

// Mass is a mass in kilograms (kg), such as the load that a hoist may lift.
type Mass float64

// MassUnit is a unit that masses are typed and shown in. Its zero value is no
// unit.
type MassUnit uint8

// The units of mass.
const (
	Kilogram MassUnit = iota + 1 // kg
	Tonne                        // t
	Pound                        // lb
)

// Exact by definition: the international avoirdupois pound is 0.453 592 37 kg
// (NIST SP 811 (2008) Appendix B.8, with its footnote 22), the tonne 1000 kg (SI
// brochure, table 8). The ton of 2000 lb and the one of 2240 lb are not read: who
// types "ton" may mean either, or the tonne.
const (
	kilogramsPerKilogram = "1"
	kilogramsPerTonne    = "1000"
	kilogramsPerPound    = "0.45359237"
)

var masses = sync.OnceValue(func() *scale {
	return &scale{
		kind: KindMass,
		units: []unit{
			Kilogram - 1: multiple("kg", "kg", exact(kilogramsPerKilogram), "kg", "kgs", "kilogram", "kilograms"),
			Tonne - 1:    multiple("t", "t", exact(kilogramsPerTonne), "t", "tonne", "tonnes"),
			Pound - 1:    multiple("lb", "lb", exact(kilogramsPerPound), "lb", "lbs", "pound", "pounds"),
		},
		below: "below zero",
		floor: "mass is zero or more",
	}
})

// ParseMass reads a mass with its unit, such as "1.5 t" or "2200 lb". A number
// without a unit, a mass below zero and anything else are refused with a
// [*ParseError].
func ParseMass(text string) (Mass, error) { return ParseMassIn(text, 0) }

// ParseMassIn reads a mass as [ParseMass] does, and takes a number without a unit
// to be in the fallback unit; zero stands for none. It panics if the fallback is
// neither zero nor one of the units.
func ParseMassIn(text string, fallback MassUnit) (Mass, error) {
	entry, err := ReadMass(text, fallback)
	return entry.Quantity, err
}

// ReadMass reads a mass as [ParseMassIn] does, and keeps what was typed.
func ReadMass(text string, fallback MassUnit) (Entry[Mass, MassUnit], error) {
	return read[Mass](masses(), text, fallback)
}

// ParseMassUnit reads a unit of mass alone, in any spelling that [ParseMass]
// takes. Anything else is refused with a [*ParseError].
func ParseMassUnit(text string) (MassUnit, error) {
	ordinal, err := masses().parseUnit(text)
	return MassUnit(ordinal), err
}

// String gives the unit as it is typed, such as "kg".
func (u MassUnit) String() string { return masses().name(int(u)) }

// In gives the mass as a number of the unit. It panics if there is no such unit.
func (m Mass) In(u MassUnit) float64 { return masses().unit(int(u)).fromSI(float64(m)) }

// Format gives the mass in the unit to four significant digits, such as "1.5 t".
// It panics if there is no such unit.
func (m Mass) Format(u MassUnit) string {
	return masses().format(float64(m), int(u), fourDigits)
}
