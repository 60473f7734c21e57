package sequential

import (
	"math"

	"jointledger/internal/stats"
)

// Means is the two-sided tabular CUSUM of means: a sum against a rise and one
// against a fall, as section 6.3.2.3 of the NIST/SEMATECH e-Handbook has it.
type Means struct {
	// Target is the mean when all is well, Allowance (k) what each value may lie
	// beside it, Interval (h) the sum beyond which it signals; all in the values' unit.
	Target, Allowance, Interval float64
}

// MeansStep is where the two sums stand after a value.
type MeansStep struct {
	High, Low float64
	// Signal is true when either sum is beyond the interval, strictly.
	Signal bool
}

func (m Means) check() error {
	if math.IsNaN(m.Target) || math.IsInf(m.Target, 0) {
		return badNumber("target", m.Target, "must be a finite number")
	}
	if !(m.Allowance >= 0) || math.IsInf(m.Allowance, 1) {
		return badNumber("allowance", m.Allowance, "must be a finite number of at least 0")
	}
	return checkPositive("decision interval", m.Interval)
}

// Run takes the values in their order and never begins anew. The error is a
// *stats.ArgumentError for a scheme or value that is not finite.
func (m Means) Run(values []float64) ([]MeansStep, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	steps := make([]MeansStep, len(values))
	var high, low float64
	for i, x := range values {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, badNumber("value", x, "must be a finite number")
		}
		high = max(0, high+x-m.Target-m.Allowance)
		low = max(0, low+m.Target-m.Allowance-x)
		steps[i] = MeansStep{High: high, Low: low, Signal: high > m.Interval || low > m.Interval}
	}
	return steps, nil
}

// meansStates is the number of steps into which the interval is cut; the run
// length is then good to about three digits.
const meansStates = 100

// RunLength is the average number of values to a signal of either sum when the
// values are normal with the given standard deviation and their mean lies shift
// beside the target: the Markov chain of Brook and Evans (1972), Biometrika 59,
// 539-549, for each sum, put together after K. W. Kemp, "The average run length
// of the cumulative sum chart when a V-mask is used", J. Roy. Statist. Soc. B 23
// (1961) 149-153. The error is a *stats.ArgumentError.
func (m Means) RunLength(shift, deviation float64) (float64, error) {
	if err := m.check(); err != nil {
		return 0, err
	}
	if err := checkPositive("standard deviation", deviation); err != nil {
		return 0, err
	}
	if math.IsNaN(shift) || math.Abs(shift) > 10*deviation || m.Allowance+m.Interval > 10*deviation {
		return 0, &stats.ArgumentError{Argument: "shift, allowance and interval", Value: "too large", Requirement: "must be at most 10 standard deviations"}
	}
	k, h, d := m.Allowance/deviation, m.Interval/deviation, shift/deviation
	up, down := normalRunLength(k, h, d), normalRunLength(k, h, -d)
	return 1 / (1/up + 1/down), nil
}

// normalRunLength solves the chain of a one-sided sum by elimination of states
// (W. K. Grassmann, M. I. Taksar, D. P. Heyman, Oper. Res. 33 (1985) 1107-1116),
// which subtracts nothing.
func normalRunLength(k, h, shift float64) float64 {
	const n = meansStates
	width := 2 * h / (2*n - 1)
	below := func(x float64) float64 { return 0.5 * math.Erfc(-(x-shift)/math.Sqrt2) }
	above := func(x float64) float64 { return 0.5 * math.Erfc((x-shift)/math.Sqrt2) }
	var move [n][n]float64
	var signal, looks [n]float64
	for i := range n {
		for j := range n {
			edge := k + float64(j-i)*width
			if j == 0 {
				move[i][0] = below(edge + width/2)
			} else {
				move[i][j] = below(edge+width/2) - below(edge-width/2)
			}
		}
		signal[i] = above(k + (float64(n-1-i)+0.5)*width)
		looks[i] = 1
	}
	for last := n - 1; last > 0; last-- {
		leaves := signal[last]
		for j := range last {
			leaves += move[last][j]
		}
		for i := range last {
			share := move[i][last] / leaves
			for j := range last {
				move[i][j] += share * move[last][j]
			}
			signal[i] += share * signal[last]
			looks[i] += share * looks[last]
		}
	}
	return looks[0] / signal[0]
}
