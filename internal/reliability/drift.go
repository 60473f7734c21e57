package reliability

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"jointledger/internal/stats"
)

// DriftPoint is the deviation found at one calibration.
type DriftPoint struct {
	Time      float64 // in the caller's unit, from any origin
	Deviation float64 // in the caller's unit, such as percent of the reference
}

// Drift is the straight line through the deviations of successive calibrations
// by least squares: what a figure shows, with its points. Limits and errors are
// nil where two points leave nothing to judge them by.
type Drift struct {
	Points []DriftPoint
	// Intercept is the deviation at time 0, Slope its change per unit of time.
	Intercept, Slope float64
	// InterceptSE and SlopeSE are standard errors, ResidualSD the standard
	// deviation about the line with n − 2 degrees of freedom.
	InterceptSE, SlopeSE, ResidualSD *float64
	// SlopeInterval is Student's interval; it holds when the deviations lie about
	// the line independently and normally.
	SlopeInterval *stats.Interval
}

// FitDrift fits the line (N. R. Draper, H. Smith, Applied Regression Analysis,
// ch. 1). It fails with a *stats.ArgumentError for fewer than two points, times
// that are all the same, a value that is not finite, or a confidence not
// strictly between 0 and 1.
func FitDrift(points []DriftPoint, confidence float64) (Drift, error) {
	if err := checkFraction("confidence", confidence); err != nil {
		return Drift{}, err
	}
	n := float64(len(points))
	if n < 2 {
		return Drift{}, argument("number of calibrations", n, "must be at least 2")
	}
	meanTime, meanDeviation := 0.0, 0.0
	for _, p := range points {
		if math.IsNaN(p.Time+p.Deviation) || math.IsInf(p.Time, 0) || math.IsInf(p.Deviation, 0) {
			return Drift{}, argument("time or deviation", p.Time+p.Deviation, "must be finite")
		}
		meanTime += p.Time / n
		meanDeviation += p.Deviation / n
	}
	var sxx, sxy float64
	for _, p := range points {
		sxx += (p.Time - meanTime) * (p.Time - meanTime)
		sxy += (p.Time - meanTime) * (p.Deviation - meanDeviation)
	}
	if !(sxx > 0) {
		return Drift{}, argument("time", meanTime, "must differ between calibrations")
	}
	d := Drift{Points: append([]DriftPoint(nil), points...), Slope: sxy / sxx}
	d.Intercept = meanDeviation - d.Slope*meanTime
	if n > 2 {
		d.addErrors(meanTime, meanDeviation, sxx, confidence)
	}
	return d, nil
}

func (d *Drift) addErrors(meanTime, meanDeviation, sxx, confidence float64) {
	n := float64(len(d.Points))
	sum := 0.0
	for _, p := range d.Points {
		r := p.Deviation - meanDeviation - d.Slope*(p.Time-meanTime)
		sum += r * r
	}
	residual := math.Sqrt(sum / (n - 2))
	slope := residual / math.Sqrt(sxx)
	intercept := residual * math.Sqrt(1/n+meanTime*meanTime/sxx)
	d.ResidualSD, d.SlopeSE, d.InterceptSE = &residual, &slope, &intercept
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}.Quantile((1 + confidence) / 2)
	d.SlopeInterval = &stats.Interval{Lower: d.Slope - t*slope, Upper: d.Slope + t*slope}
}
