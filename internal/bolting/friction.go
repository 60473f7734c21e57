package bolting

import (
	"math"

	"jointledger/internal/metrology"
)

// Friction holds the coefficients of the long form.
type Friction struct {
	Thread  float64 // μG
	Bearing float64 // μK, under the part that is turned
}

// UniformFriction is the same coefficient in thread and bearing face.
func UniformFriction(mu float64) Friction { return Friction{Thread: mu, Bearing: mu} }

func (f Friction) check() error {
	for _, c := range []struct {
		field string
		mu    float64
	}{{"thread friction", f.Thread}, {"bearing friction", f.Bearing}} {
		if !(c.mu >= 0 && c.mu < 1) {
			return &metrology.RangeError{Field: c.field, Value: c.mu, Allowed: "0 up to, not including, 1"}
		}
	}
	return nil
}

// BearingRing is the ring face under the turned part.
type BearingRing struct {
	Outer Millimetres // dw, washer face or width across flats
	Hole  Millimetres // dh, clearance hole
}

// MeanDiameter is Db = (dw + dh)/2.
func (r BearingRing) MeanDiameter() Millimetres { return (r.Outer + r.Hole) / 2 }

func (r BearingRing) check() error {
	if err := metrology.CheckPositive("clearance hole", float64(r.Hole), "mm"); err != nil {
		return err
	}
	if !(r.Outer > r.Hole) || math.IsInf(float64(r.Outer), 0) {
		return &metrology.RangeError{Field: "outer diameter of the bearing face", Value: float64(r.Outer), Allowed: "above the clearance hole (mm)"}
	}
	return nil
}

// halfFlankAngle is half the thread angle of all threads here, in radians.
const halfFlankAngle = math.Pi / 6

// TorqueParts splits a tightening torque by where it goes. Only the pitch part
// makes preload.
type TorqueParts struct {
	Pitch, Thread, Bearing NewtonMetres
}

// Total is the tightening torque.
func (p TorqueParts) Total() NewtonMetres { return p.Pitch + p.Thread + p.Bearing }

// LongForm describes a thread under friction, for the long form of the torque
// equation (VDI 2230, ISO 16047, Motosh; from memory, the symbols seen).
type LongForm struct {
	Thread   Thread
	Friction Friction
	Ring     BearingRing
}

func (l LongForm) check() error {
	if err := l.Friction.check(); err != nil {
		return err
	}
	return l.Ring.check()
}

// Torque is the long form,
//
//	T = F·[P/(2π) + d2·μG/(2·cos 30°) + Db/2·μK],
//
// split into its parts. It fails with a *metrology.RangeError for a preload not
// above zero, a friction outside 0 to 1 or an impossible bearing ring.
func (l LongForm) Torque(preload Newtons) (TorqueParts, error) {
	if err := metrology.CheckPositive("preload", float64(preload), "N"); err != nil {
		return TorqueParts{}, err
	}
	if err := l.check(); err != nil {
		return TorqueParts{}, err
	}
	f := float64(preload) / 1000
	return TorqueParts{
		Pitch:   NewtonMetres(f * float64(l.Thread.Pitch) / (2 * math.Pi)),
		Thread:  NewtonMetres(f * float64(l.Thread.PitchDiameter()) * l.Friction.Thread / (2 * math.Cos(halfFlankAngle))),
		Bearing: NewtonMetres(f * float64(l.Ring.MeanDiameter()) / 2 * l.Friction.Bearing),
	}, nil
}

// ExactTorque is the long form with the helix taken exactly,
// d2/2·tan(α + ρ′) for pitch and thread together. It is 0.2 to 0.8 % above
// Torque for friction up to 0.20. Errors as in Torque.
func (l LongForm) ExactTorque(preload Newtons) (NewtonMetres, error) {
	parts, err := l.Torque(preload)
	if err != nil {
		return 0, err
	}
	d2 := float64(l.Thread.PitchDiameter())
	helix := math.Atan(float64(l.Thread.Pitch) / (math.Pi * d2))
	flank := math.Atan(l.Friction.Thread / math.Cos(halfFlankAngle))
	return NewtonMetres(float64(preload)/1000*d2/2*math.Tan(helix+flank)) + parts.Bearing, nil
}

// Preload is the preload that a torque makes by the long form. It fails with a
// *metrology.RangeError as Torque does.
func (l LongForm) Preload(torque NewtonMetres) (Newtons, error) {
	if err := metrology.CheckPositive("torque", float64(torque), "N·m"); err != nil {
		return 0, err
	}
	unit, err := l.Torque(1)
	if err != nil {
		return 0, err
	}
	return Newtons(torque / unit.Total()), nil
}

// NutFactor is the factor of the short form that the friction amounts to,
// K = T/(F·d). Errors as in Torque.
func (l LongForm) NutFactor() (NutFactor, error) {
	unit, err := l.Torque(1)
	if err != nil {
		return 0, err
	}
	return NutFactor(float64(unit.Total()) * 1000 / float64(l.Thread.Nominal)), nil
}

// TotalFriction is the total friction coefficient of a tightening test, thread
// and bearing face taken as one (ISO 16047, from memory):
//
//	μtot = (T/F − P/2π)/(0.577·d2 + 0.5·Db).
//
// It fails with a *metrology.RangeError for a torque or preload not above zero,
// an impossible ring, or a torque too small for the preload.
func TotalFriction(t Thread, ring BearingRing, torque NewtonMetres, preload Newtons) (float64, error) {
	if err := ring.check(); err != nil {
		return 0, err
	}
	if err := metrology.CheckPositive("torque", float64(torque), "N·m"); err != nil {
		return 0, err
	}
	if err := metrology.CheckPositive("preload", float64(preload), "N"); err != nil {
		return 0, err
	}
	lever := float64(torque)*1000/float64(preload) - float64(t.Pitch)/(2*math.Pi)
	if lever < 0 {
		return 0, &metrology.RangeError{Field: "torque", Value: float64(torque), Allowed: "at least what the pitch alone takes for the preload (N·m)"}
	}
	return lever / (float64(t.PitchDiameter())/(2*math.Cos(halfFlankAngle)) + float64(ring.MeanDiameter())/2), nil
}

// Assembly asks for the largest preload at which tension and torsion together
// reach a share of the yield stress.
type Assembly struct {
	Thread         Thread
	Yield          Megapascals
	ThreadFriction float64
	Utilisation    float64 // ν: share of the yield stress, 0.9 by custom
}

// MaximumPreload is the assembly preload of VDI 2230 (from memory),
//
//	F = ν·Rp0.2·As / √(1 + 3·[1.5·(d2/ds)·(P/(π·d2) + 1.155·μG)]²).
//
// More friction needs more torque but allows less preload: torsion uses up the
// yield stress. The computed stress area is taken. It fails with a
// *metrology.RangeError for values out of range.
func (a Assembly) MaximumPreload() (Newtons, error) {
	if err := metrology.CheckPositive("yield stress", float64(a.Yield), "MPa"); err != nil {
		return 0, err
	}
	if !(a.Utilisation > 0 && a.Utilisation <= 1) {
		return 0, &metrology.RangeError{Field: "utilisation of yield", Value: a.Utilisation, Allowed: "above 0 and up to 1"}
	}
	if err := UniformFriction(a.ThreadFriction).check(); err != nil {
		return 0, err
	}
	d2, ds := float64(a.Thread.PitchDiameter()), float64(a.Thread.StressDiameter())
	torsion := 1.5 * d2 / ds * (float64(a.Thread.Pitch)/(math.Pi*d2) + a.ThreadFriction/math.Cos(halfFlankAngle))
	return Newtons(a.Utilisation) * a.Yield.Over(a.Thread.StressArea()) / Newtons(math.Sqrt(1+3*torsion*torsion)), nil
}
