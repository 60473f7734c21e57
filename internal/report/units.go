package report

import (
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/quantity"
)

// units writes quantities for the people of a site: in the units that they
// prefer, with the others beside them in brackets.
type units struct{ customary bool }

func unitsOf(preference string) units {
	return units{customary: preference == ledger.UnitPreferences.Name(ledger.UnitsUSCustomary)}
}

// beside puts the preferred unit first.
func (u units) beside(si, customary string) string {
	if u.customary {
		si, customary = customary, si
	}
	return unbroken(si) + " (" + unbroken(customary) + ")"
}

// unbroken keeps a number and its unit on one line.
func unbroken(s string) string { return strings.ReplaceAll(s, " ", "\u00a0") }

func (u units) torque(newtonMetres float64) string { return u.torques(" ", newtonMetres) }

// window writes the least and the greatest torque allowed.
func (u units) window(low, high float64) string { return u.torques(" to ", low, high) }

// torques writes several torques with one unit: `16.2; 14.9 N·m (11.95; 10.99
// lbf·ft)`.
func (u units) torques(between string, newtonMetres ...float64) string {
	in := func(unit quantity.TorqueUnit) string {
		var b strings.Builder
		for i, v := range newtonMetres {
			number, symbol, _ := strings.Cut(quantity.Torque(v).Format(unit), " ")
			if i > 0 {
				b.WriteString(between)
			}
			b.WriteString(number)
			if i == len(newtonMetres)-1 {
				b.WriteString("\u00a0" + symbol)
			}
		}
		return b.String()
	}
	si, customary := in(quantity.NewtonMetre), in(quantity.PoundForceFoot)
	if u.customary {
		si, customary = customary, si
	}
	return si + " (" + customary + ")"
}

func (u units) length(millimetres float64) string {
	l := quantity.Length(millimetres)
	return u.beside(l.Format(quantity.Millimetre), l.Format(quantity.Inch))
}

func (u units) temperature(celsius float64) string {
	t := quantity.Temperature(celsius)
	return u.beside(t.Format(quantity.DegreeCelsius), t.Format(quantity.DegreeFahrenheit))
}
