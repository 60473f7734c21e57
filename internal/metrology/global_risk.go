package metrology

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"
)

// Population is what is known of a quantity before it is measured: the normal
// spread of the things that are offered for inspection.
type Population struct {
	Mean              float64
	StandardDeviation float64
}

// GlobalRisk holds the two joint probabilities of JCGM 106:2012, 9.5. They are
// shares of everything offered, not of what was accepted or rejected.
type GlobalRisk struct {
	Consumer float64 // accepted and not conforming
	Producer float64 // rejected and conforming
}

// Normal densities and distribution functions are taken as flat beyond this
// many standard deviations; what is left out is below 1e-32.
const farAway = 12.0

// GlobalRisk integrates the risks of accepting within the acceptance interval
// what should lie within the tolerance, when each thing is measured with the
// given standard uncertainty. The absolute error is below 1e-10. It fails with a
// *RangeError for an empty interval or a spread or uncertainty not above zero.
func (p Population) GlobalRisk(tolerance, acceptance Tolerance, standardUncertainty float64) (GlobalRisk, error) {
	if err := p.checkWith(tolerance, acceptance, standardUncertainty); err != nil {
		return GlobalRisk{}, err
	}
	density := func(x float64) float64 {
		z := (x - p.Mean) / p.StandardDeviation
		return math.Exp(-z*z/2) / (p.StandardDeviation * math.Sqrt(2*math.Pi))
	}
	accepted := func(x float64) float64 {
		return normalBetween((acceptance.Lower-x)/standardUncertainty, (acceptance.Upper-x)/standardUncertainty)
	}
	rejected := func(x float64) float64 {
		return normalBelow((acceptance.Lower-x)/standardUncertainty) + normalBelow((x-acceptance.Upper)/standardUncertainty)
	}

	low := p.Mean - farAway*p.StandardDeviation
	high := p.Mean + farAway*p.StandardDeviation
	grid := riskGrid{acceptance: acceptance, uncertainty: standardUncertainty, spread: p.StandardDeviation}
	tl := math.Min(math.Max(tolerance.Lower, low), high)
	tu := math.Max(math.Min(tolerance.Upper, high), low)
	return GlobalRisk{
		Consumer: grid.integrate(low, tl, func(x float64) float64 { return density(x) * accepted(x) }) +
			grid.integrate(tu, high, func(x float64) float64 { return density(x) * accepted(x) }),
		Producer: grid.integrate(tl, tu, func(x float64) float64 { return density(x) * rejected(x) }),
	}, nil
}

func (p Population) checkWith(tolerance, acceptance Tolerance, standardUncertainty float64) error {
	if err := tolerance.check("tolerance"); err != nil {
		return err
	}
	if err := acceptance.check("acceptance interval"); err != nil {
		return err
	}
	if err := CheckFinite("mean of the population", p.Mean, ""); err != nil {
		return err
	}
	if err := CheckPositive("standard deviation of the population", p.StandardDeviation, ""); err != nil {
		return err
	}
	return CheckPositive("standard uncertainty", standardUncertainty, "")
}

// riskGrid cuts the line so that every panel is narrow beside whatever bends
// there: the edge of the acceptance interval bends over the measurement
// uncertainty, the rest over the spread of the population.
type riskGrid struct {
	acceptance  Tolerance
	uncertainty float64
	spread      float64
}

func (g riskGrid) integrate(from, to float64, f func(float64) float64) float64 {
	if !(from < to) {
		return 0
	}
	cuts := []float64{from, to}
	for _, edge := range []float64{g.acceptance.Lower, g.acceptance.Upper} {
		for _, cut := range []float64{edge - farAway*g.uncertainty, edge + farAway*g.uncertainty} {
			if cut > from && cut < to {
				cuts = append(cuts, cut)
			}
		}
	}
	sort.Float64s(cuts)
	sum := 0.0
	for i := 1; i < len(cuts); i++ {
		sum += g.panels(cuts[i-1], cuts[i], f)
	}
	return sum
}

func (g riskGrid) panels(from, to float64, f func(float64) float64) float64 {
	scale := g.spread
	middle := (from + to) / 2
	for _, edge := range []float64{g.acceptance.Lower, g.acceptance.Upper} {
		if math.Abs(middle-edge) < farAway*g.uncertainty {
			scale = math.Min(scale, g.uncertainty)
		}
	}
	n := int(math.Ceil((to - from) / scale))
	step := (to - from) / float64(n)
	sum := 0.0
	for i := range n {
		a := from + float64(i)*step
		sum += quad.Fixed(f, a, a+step, 16, quad.Legendre{}, 0)
	}
	return sum
}
