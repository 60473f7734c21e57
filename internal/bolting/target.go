package bolting

import (
	"fmt"

	"jointledger/internal/metrology"
)

// Basis is the stress a target preload is a fraction of.
type Basis string

// The bases.
const (
	OfProof Basis = "proof load"
	OfYield Basis = "yield"
)

// TargetPractice is a customary target preload.
type TargetPractice struct {
	Use       string
	Basis     Basis
	Fraction  float64
	Low, High float64 // range in use
	Source    metrology.Source
}

// TargetPractices returns the customary target preloads. Structural pretension
// is not among them: it is tabulated, see MinimumPretension.
func TargetPractices() []TargetPractice {
	practice := metrology.Source{Mark: metrology.Practice}
	return []TargetPractice{
		{Use: "reusable joint", Basis: OfProof, Fraction: 0.75, Low: 0.75, High: 0.75, Source: practice},
		{Use: "permanent joint", Basis: OfProof, Fraction: 0.90, Low: 0.90, High: 0.90, Source: practice},
		{Use: "stainless", Basis: OfYield, Fraction: 0.65, Low: 0.60, High: 0.70, Source: practice},
	}
}

// Target asks for the torque that makes a fraction of what the fastener bears.
type Target struct {
	Thread    Thread
	Strength  Strength
	Basis     Basis
	Fraction  float64 // above 0, up to 1
	NutFactor NutFactor
}

// Tightening is a preload, the torque that makes it and what share of the
// fastener's strength it uses.
type Tightening struct {
	Preload     Newtons
	Torque      NewtonMetres
	Utilisation Utilisation
}

// Tightening computes the target preload and its torque by the short form. It
// fails with a *NoProofLoadError or *NoYieldError when the standard gives no
// such stress for the class, with a *metrology.RangeError for a fraction or nut
// factor out of range, and with an *UnknownBasisError.
func (t Target) Tightening() (Tightening, error) {
	if !(t.Fraction > 0 && t.Fraction <= 1) {
		return Tightening{}, &metrology.RangeError{Field: "fraction of " + string(t.Basis), Value: t.Fraction, Allowed: "above 0 and up to 1"}
	}
	var full Newtons
	var err error
	switch t.Basis {
	case OfProof:
		full, err = t.Strength.ProofLoad(t.Thread)
	case OfYield:
		full, err = t.Strength.YieldLoad(t.Thread)
	default:
		err = &UnknownBasisError{Basis: t.Basis}
	}
	if err != nil {
		return Tightening{}, err
	}
	preload := Newtons(t.Fraction) * full
	torque, err := t.NutFactor.Torque(preload, t.Thread.Nominal)
	if err != nil {
		return Tightening{}, err
	}
	return Tightening{Preload: preload, Torque: torque, Utilisation: t.Strength.Utilisation(t.Thread, preload)}, nil
}

// UnknownBasisError reports a basis that is neither proof load nor yield.
type UnknownBasisError struct{ Basis Basis }

// Error names the bases there are.
func (e *UnknownBasisError) Error() string {
	return fmt.Sprintf("no basis %q for a target preload; there are %q and %q", string(e.Basis), string(OfProof), string(OfYield))
}
