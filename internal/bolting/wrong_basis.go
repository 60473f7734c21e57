package bolting

// PreloadShift is what happens to the preload when a torque worked out for one
// nut factor is applied to threads that have another: a dry value on lubricated
// threads overloads the bolt, a lubricated value on dry threads leaves the joint
// loose.
type PreloadShift struct {
	Ratio   float64 // actual over intended preload, K assumed over K actual
	Percent float64 // the same as a signed error
}

// WrongBasis holds the nut factor a torque was worked out with and the one the
// threads really have.
type WrongBasis struct {
	Assumed, Actual NutFactor
}

// PreloadShift follows from the nut factors alone: F2/F1 = K1/K2. It fails with
// a *metrology.RangeError for a factor outside 0 to 1.
func (w WrongBasis) PreloadShift() (PreloadShift, error) {
	if err := w.Assumed.check("nut factor assumed by the torque"); err != nil {
		return PreloadShift{}, err
	}
	if err := w.Actual.check("nut factor of the threads"); err != nil {
		return PreloadShift{}, err
	}
	ratio := float64(w.Assumed / w.Actual)
	return PreloadShift{Ratio: ratio, Percent: (ratio - 1) * 100}, nil
}
