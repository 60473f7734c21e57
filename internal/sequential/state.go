package sequential

import "fmt"

// State is where a CUSUM stands: plain numbers that may be stored and read back.
// The zero State is that of a plan without head start; Begin gives any plan's.
type State struct {
	// Points is the sum. It is a whole number for Bernoulli.
	Points float64
	// Records is how many records were taken in, Signals how many times it has
	// signalled.
	Records, Signals int64
	// SinceRecords, SinceFailures and SinceExposure count from the record after
	// which the sum last stood at 0, or began: from there on, should there be a
	// signal, the rate is thought to have been raised (Page 1954).
	SinceRecords, SinceFailures int64
	SinceExposure               float64
}

// Signal says that the sum has reached the threshold.
type Signal struct {
	// Record is the number of the record that did it, from 1.
	Record int64
	// Points is the sum that was reached.
	Points float64
	// SinceRecords, SinceFailures and SinceExposure reach back to where the sum
	// last stood at 0 or began; the record of the signal is counted.
	SinceRecords, SinceFailures int64
	SinceExposure               float64
}

// Begin is the state before the first record.
func (p Plan) Begin() State { return State{Points: float64(p.Start)} }

// Update takes one record in: so many failures among so many attempts, or so many
// events in an exposure. The order of the fasteners in it does not matter. Signal
// is nil while the sum is below the threshold. An empty record changes nothing
// but the number of records. The error is a *stats.ArgumentError for a plan, state
// or record out of range; the state returned is then the one given.
//
// Page's scheme is that of E. S. Page, "Continuous inspection schemes",
// Biometrika 41 (1954) 100-115.
func (p Plan) Update(s State, failures int64, exposure float64) (State, *Signal, error) {
	if err := p.check(); err != nil {
		return s, nil, err
	}
	if err := checkObservation(p.Model, failures, exposure); err != nil {
		return s, nil, err
	}
	if !(s.Points >= 0 && s.Points <= 1e18) {
		return s, nil, badNumber("points", s.Points, fmt.Sprintf("must be from 0 to %g", 1e18))
	}
	next := s
	next.Records++
	if exposure == 0 {
		return next, nil, nil
	}
	next.Points = s.Points + float64(p.Gain)*float64(failures) - float64(p.Drift)*(exposure/p.Look)
	next.SinceRecords++
	next.SinceFailures += failures
	next.SinceExposure += exposure
	if next.Points <= 0 {
		next.Points, next.SinceRecords, next.SinceFailures, next.SinceExposure = 0, 0, 0, 0
		return next, nil, nil
	}
	// Whole points are exact; the millionth is for exposures that are no whole
	// number of looks, whose sums are rounded.
	if next.Points < float64(p.Threshold)-1e-6 {
		return next, nil, nil
	}
	next.Signals++
	signal := &Signal{Record: next.Records, Points: next.Points, SinceRecords: next.SinceRecords,
		SinceFailures: next.SinceFailures, SinceExposure: next.SinceExposure}
	if !p.KeepCounting {
		next.Points, next.SinceRecords, next.SinceFailures, next.SinceExposure = float64(p.Start), 0, 0, 0
	}
	return next, signal, nil
}
