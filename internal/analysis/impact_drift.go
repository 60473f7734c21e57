package analysis

import (
	"math"
	"sort"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// driftPoint is what one calibration says about the tool at one torque, in
// percent of the reference.
type driftPoint struct {
	target   float64 // N·m
	noTorque bool    // a reading showed none, so there is no deviation
	readings int
	mean     float64
	worst    float64
	spread   float64 // standard deviation, n − 1
	// spreadKnown is false for a single reading.
	spreadKnown bool
	uncertainty float64 // U/k
	stated      bool
}

// driftCurve is a tool's deviation over torque: linear between test points and
// flat outside them.
type driftCurve []driftPoint

// toolDrift is the tool as found, and as last left good (nil without).
type toolDrift struct {
	found, good driftCurve
}

func newToolDrift(in ImpactInput) toolDrift {
	d := toolDrift{found: curveOf(pointsOf(in.Failed, ledger.AsFound))}
	if in.LastGood != nil {
		d.good = curveOf(leftPoints(*in.LastGood))
	}
	d.lendSpread()
	return d
}

// curveOf turns points, in order of torque, into a curve; points at one torque
// are taken together.
func curveOf(points []ledger.CalibrationPoint) driftCurve {
	var c driftCurve
	for _, p := range merged(points) {
		d := driftPoint{target: p.TargetNewtonMetres, readings: len(p.ReadingsNewtonMetres)}
		d.uncertainty, d.stated = standardUncertaintyPercent(p)
		var deviations []float64
		for _, v := range p.ReadingsNewtonMetres {
			a, err := metrology.Reading{Target: p.TargetNewtonMetres, Reference: v}.DeviationPercent()
			if err != nil {
				d.noTorque = true
				break
			}
			deviations = append(deviations, a)
			d.mean += a / float64(d.readings)
			if math.Abs(a) > math.Abs(d.worst) {
				d.worst = a
			}
		}
		if !d.noTorque && d.readings > 1 {
			sum := 0.0
			for _, a := range deviations {
				sum += (a - d.mean) * (a - d.mean)
			}
			d.spread, d.spreadKnown = math.Sqrt(sum/float64(d.readings-1)), true
		}
		c = append(c, d)
	}
	return c
}

// merged takes points at one torque together: all readings, and the larger
// uncertainty.
func merged(points []ledger.CalibrationPoint) []ledger.CalibrationPoint {
	var out []ledger.CalibrationPoint
	for _, p := range points {
		if n := len(out); n > 0 && out[n-1].TargetNewtonMetres == p.TargetNewtonMetres {
			last := &out[n-1]
			last.ReadingsNewtonMetres = append(append([]float64(nil), last.ReadingsNewtonMetres...), p.ReadingsNewtonMetres...)
			if p.ExpandedUncertaintyNewtonMetres > last.ExpandedUncertaintyNewtonMetres {
				last.ExpandedUncertaintyNewtonMetres, last.CoverageFactor = p.ExpandedUncertaintyNewtonMetres, p.CoverageFactor
			}
			continue
		}
		out = append(out, p)
	}
	return out
}

// lendSpread gives points with a single reading the pooled standard deviation of
// all the others, as found and as left.
func (d toolDrift) lendSpread() {
	sum, freedom := 0.0, 0
	for _, c := range []driftCurve{d.found, d.good} {
		for _, p := range c {
			if p.spreadKnown {
				sum += p.spread * p.spread * float64(p.readings-1)
				freedom += p.readings - 1
			}
		}
	}
	if freedom == 0 {
		return
	}
	pooled := math.Sqrt(sum / float64(freedom))
	for _, c := range []driftCurve{d.found, d.good} {
		for i := range c {
			if !c[i].spreadKnown {
				c[i].spread = pooled
			}
		}
	}
}

// driftAt is the tool's deviation at a torque, in percent, with the standard
// uncertainty of that mean deviation and the spread of single pulls about it.
type driftAt struct {
	mean, ofMean, spread float64
}

// at interpolates at a torque in N·m; false beside a point without any torque.
// The uncertainties are interpolated as they stand: those of neighbouring points
// come from one measuring device and do not average out.
func (c driftCurve) at(torque float64) (driftAt, bool) {
	i := sort.Search(len(c), func(i int) bool { return c[i].target >= torque })
	low, high := max(i-1, 0), min(i, len(c)-1)
	share := 0.0
	if c[high].target > c[low].target {
		share = min(max((torque-c[low].target)/(c[high].target-c[low].target), 0), 1)
	}
	if share == 1 {
		low = high
	}
	if c[low].noTorque || c[high].noTorque {
		return driftAt{}, false
	}
	l, h := c[low].here(), c[high].here()
	return l.mix(h, share), true
}

func (p driftPoint) here() driftAt {
	return driftAt{
		mean:   p.mean,
		ofMean: math.Hypot(p.spread/math.Sqrt(float64(p.readings)), p.uncertainty),
		spread: p.spread,
	}
}

func (d driftAt) mix(other driftAt, share float64) driftAt {
	between := func(x, y float64) float64 { return (1-share)*x + share*y }
	return driftAt{between(d.mean, other.mean), between(d.ofMean, other.ofMean), between(d.spread, other.spread)}
}

// unknown is the estimate with the deviation as found all of the time; nil where
// the tool gave no torque.
func (d toolDrift) unknown(set float64, w *TorqueWindow) *DriftEstimate {
	found, ok := d.found.at(set)
	if !ok {
		return nil
	}
	return estimateDrift(set, found, w)
}

// linear is the estimate with the deviation grown to the share of the way from
// as left to as found; nil without a last good calibration.
func (d toolDrift) linear(set, share float64, w *TorqueWindow) *DriftEstimate {
	if d.good == nil {
		return nil
	}
	found, ok := d.found.at(set)
	good, okGood := d.good.at(set)
	if !ok || !okGood {
		return nil
	}
	mixed := good.mix(found, share)
	// Two calibrations err independently, unlike two points of one.
	mixed.ofMean = math.Hypot((1-share)*good.ofMean, share*found.ofMean)
	return estimateDrift(set, mixed, w)
}

// estimateDrift carries the deviation to the torque of one fastener. The
// uncertainty is that of the mean deviation together with the spread of single
// pulls, since one pull made the joint.
func estimateDrift(set float64, d driftAt, w *TorqueWindow) *DriftEstimate {
	delivered, err := metrology.DeliveredTorque(set, d.mean)
	if err != nil {
		return nil
	}
	e := &DriftEstimate{DeviationPercent: d.mean, DeliveredNewtonMetres: delivered}
	// dT/da = −set/100/(1 + a/100)² = −T/(100 + a).
	u := delivered * math.Hypot(d.ofMean, d.spread) / (100 + d.mean)
	if !positive(u) {
		return e
	}
	e.StandardUncertaintyNewtonMetres = &u
	if w == nil {
		return e
	}
	p, err := metrology.Estimate{Value: delivered, StandardUncertainty: u}.NonconformityProbability(
		metrology.Tolerance{Lower: w.LowerNewtonMetres, Upper: w.UpperNewtonMetres})
	if err == nil {
		e.OutsideProbability = &p
	}
	return e
}
