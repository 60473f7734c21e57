package quantity

import (
	"math/big"
	"sync"
)

// Torque is a torque in newton metres (N·m).
type Torque float64

// TorqueUnit is a unit that torques are typed and shown in. Its zero value is
// no unit.
type TorqueUnit uint8

// The units of torque.
const (
	NewtonMetre        TorqueUnit = iota + 1 // N·m
	PoundForceFoot                           // lbf·ft, "foot-pounds"
	PoundForceInch                           // lbf·in, "inch-pounds"
	KilogramForceMetre                       // kgf·m
)

// torqueFactor gives newtons times millimetres in newton metres. The factors are exact
// products of the exact factors in force.go and length.go: 1 lbf·ft =
// 1.355 817 948 331 400 4 N·m, 1 lbf·in = 0.112 984 829 027 616 7 N·m, 1 kgf·m =
// 9.806 65 N·m. NIST SP 811 (2008) Appendix B.8 prints 1.355 818 E+00, 1.129 848 E−01
// and, in bold as exact, 9.806 65 E+00.
func torqueFactor(newtons, millimetres string) *big.Rat {
	product := new(big.Rat).Mul(exact(newtons), exact(millimetres))
	return product.Quo(product, exact(millimetresPerMetre))
}

var torques = sync.OnceValue(func() *scale {
	return &scale{
		kind: KindTorque,
		units: []unit{
			// "mN" in either order would be a millinewton, so metres come last.
			NewtonMetre - 1: multiple("N.m", "N·m", torqueFactor(newtonsPerNewton, millimetresPerMetre), "n.m", "nm",
				"newton.metre", "newton.metres", "newton.meter", "newton.meters"),
			PoundForceFoot - 1: multiple("lbf.ft", "lbf·ft", torqueFactor(newtonsPerPoundForce, millimetresPerFoot),
				products(poundForceNames, []string{"ft", "foot", "feet"})...),
			PoundForceInch - 1: multiple("lbf.in", "lbf·in", torqueFactor(newtonsPerPoundForce, millimetresPerInch),
				products(poundForceNames, []string{"in", "inch", "inches"})...),
			KilogramForceMetre - 1: multiple("kgf.m", "kgf·m", torqueFactor(newtonsPerKilogramForce, millimetresPerMetre),
				products([]string{"kgf"}, []string{"m"})...),
		},
		below: "below zero",
		floor: "torque is zero or more",
	}
})

// ParseTorque reads a torque with its unit, such as "150 lbf.ft", "1800 in-lb",
// "203 N·m" or "20.7 kgf.m". A number without a unit, a torque below zero and
// anything else are refused with a [*ParseError].
func ParseTorque(text string) (Torque, error) { return ParseTorqueIn(text, 0) }

// ParseTorqueIn reads a torque as [ParseTorque] does, and takes a number
// without a unit to be in the fallback unit; zero stands for none. It panics
// if the fallback is neither zero nor one of the units.
func ParseTorqueIn(text string, fallback TorqueUnit) (Torque, error) {
	entry, err := ReadTorque(text, fallback)
	return entry.Quantity, err
}

// ReadTorque reads a torque as [ParseTorqueIn] does, and keeps what was typed.
func ReadTorque(text string, fallback TorqueUnit) (Entry[Torque, TorqueUnit], error) {
	return read[Torque](torques(), text, fallback)
}

// ParseTorqueUnit reads a unit of torque alone, in any spelling that
// [ParseTorque] takes. Anything else is refused with a [*ParseError].
func ParseTorqueUnit(text string) (TorqueUnit, error) {
	ordinal, err := torques().parseUnit(text)
	return TorqueUnit(ordinal), err
}

// String gives the unit as it is typed, such as "lbf.ft".
func (u TorqueUnit) String() string { return torques().name(int(u)) }

// In gives the torque as a number of the unit. It panics if there is no such
// unit.
func (t Torque) In(u TorqueUnit) float64 { return torques().unit(int(u)).fromSI(float64(t)) }

// Format gives the torque in the unit to four significant digits, such as
// "203.4 N·m". It panics if there is no such unit.
func (t Torque) Format(u TorqueUnit) string {
	return torques().format(float64(t), int(u), fourDigits)
}
