package bolting

// Quantities in the units the package computes in. They are types of their own
// because a preload and a torque, or a diameter and a pitch times ten, are too
// easily swapped.
type (
	// Millimetres is a length.
	Millimetres float64
	// SquareMillimetres is an area.
	SquareMillimetres float64
	// Newtons is a force.
	Newtons float64
	// NewtonMetres is a torque.
	NewtonMetres float64
	// Megapascals is a stress, N/mm².
	Megapascals float64
	// NutFactor is K in T = K·F·d, a pure number, the same in SI and inch units.
	NutFactor float64
)

// Conversion factors, exact by definition (NIST SP 811, seen).
const (
	millimetresPerInch           = 25.4
	newtonsPerPoundForce         = 4.4482216152605
	newtonMetresPerPoundFoot     = 1.3558179483314004
	newtonMetresPerPoundInch     = 0.1129848290276167
	newtonMetresPerKilogramMetre = 9.80665
	megapascalsPerKsi            = 6.894757293168
)

// Inches gives a length in inches as millimetres.
func Inches(in float64) Millimetres { return Millimetres(in * millimetresPerInch) }

// Inches gives the length in inches.
func (l Millimetres) Inches() float64 { return float64(l) / millimetresPerInch }

// SquareInches gives an area in square inches as square millimetres.
func SquareInches(in2 float64) SquareMillimetres {
	return SquareMillimetres(in2 * millimetresPerInch * millimetresPerInch)
}

// SquareInches gives the area in square inches.
func (a SquareMillimetres) SquareInches() float64 {
	return float64(a) / (millimetresPerInch * millimetresPerInch)
}

// PoundsForce gives a force in lbf as newtons.
func PoundsForce(lbf float64) Newtons { return Newtons(lbf * newtonsPerPoundForce) }

// PoundsForce gives the force in lbf.
func (f Newtons) PoundsForce() float64 { return float64(f) / newtonsPerPoundForce }

// PoundForceFeet gives a torque in lbf·ft as newton metres.
func PoundForceFeet(lbfft float64) NewtonMetres {
	return NewtonMetres(lbfft * newtonMetresPerPoundFoot)
}

// PoundForceFeet gives the torque in lbf·ft.
func (t NewtonMetres) PoundForceFeet() float64 { return float64(t) / newtonMetresPerPoundFoot }

// PoundForceInches gives a torque in lbf·in as newton metres.
func PoundForceInches(lbfin float64) NewtonMetres {
	return NewtonMetres(lbfin * newtonMetresPerPoundInch)
}

// PoundForceInches gives the torque in lbf·in.
func (t NewtonMetres) PoundForceInches() float64 { return float64(t) / newtonMetresPerPoundInch }

// KilogramForceMetres gives a torque in kgf·m as newton metres.
func KilogramForceMetres(kgfm float64) NewtonMetres {
	return NewtonMetres(kgfm * newtonMetresPerKilogramMetre)
}

// Ksi gives a stress in ksi (1000 lbf/in²) as megapascals.
func Ksi(ksi float64) Megapascals { return Megapascals(ksi * megapascalsPerKsi) }

// Ksi gives the stress in ksi.
func (s Megapascals) Ksi() float64 { return float64(s) / megapascalsPerKsi }

// Over gives the force of the stress over an area.
func (s Megapascals) Over(a SquareMillimetres) Newtons { return Newtons(float64(s) * float64(a)) }
