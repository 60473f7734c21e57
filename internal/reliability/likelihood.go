package reliability

import "math"

// The log-likelihood is written in a and b of z = b·log t − a, with survival
// exp(−e^z): b is the Weibull shape and a/b the logarithm of its scale. In these
// two it is concave for every kind of censoring, since the density of log t is
// log-concave (J. Burridge, "A note on maximum likelihood estimation for
// regression models using grouped data", J. Roy. Statist. Soc. B 43 (1981)
// 41-45), so that Newton's method with step halving finds its only maximum.
type parameters struct{ a, b float64 }

// slopes are the first and second derivatives of the log-likelihood in a and b.
type slopes struct{ a, b, aa, ab, bb float64 }

// hazard is the cumulative hazard H = e^z at one time with its derivatives.
type hazard struct{ h, a, b, aa, ab, bb float64 }

// hazardAt gives H at log time x; at time 0 (x = −Inf) it and all derivatives
// are 0.
func hazardAt(p parameters, x float64) hazard {
	if math.IsInf(x, -1) {
		return hazard{}
	}
	h := math.Exp(p.b*x - p.a)
	return hazard{h: h, a: -h, b: h * x, aa: h, ab: -h * x, bb: h * x * x}
}

func (s *slopes) add(n, first, second float64, h hazard) {
	s.a += n * first * h.a
	s.b += n * first * h.b
	s.aa += n * (first*h.aa + second*h.a*h.a)
	s.ab += n * (first*h.ab + second*h.a*h.b)
	s.bb += n * (first*h.bb + second*h.b*h.b)
}

// logLikelihood gives the log-likelihood of the sample with times divided by
// unit, and its derivatives.
func (s sample) logLikelihood(p parameters, unit float64) (float64, slopes) {
	var sum float64
	var d slopes
	for _, o := range s.observations {
		n := float64(o.Count)
		lower := hazardAt(p, math.Log(o.After/unit))
		switch {
		case math.IsInf(o.By, 1):
			sum -= n * lower.h
			d.add(n, -1, 0, lower)
		case o.By == o.After:
			x := math.Log(o.By / unit)
			// log density of t in its own unit: log b − log t + z − e^z.
			sum += n * (math.Log(p.b) - math.Log(o.By) + p.b*x - p.a - lower.h)
			d.a -= n
			d.b += n * (1/p.b + x)
			d.bb -= n / (p.b * p.b)
			d.add(n, -1, 0, lower)
		default:
			upper := hazardAt(p, math.Log(o.By/unit))
			gap := hazard{h: upper.h - lower.h, a: upper.a - lower.a, b: upper.b - lower.b,
				aa: upper.aa - lower.aa, ab: upper.ab - lower.ab, bb: upper.bb - lower.bb}
			sum += n * (logOneMinusExp(gap.h) - lower.h)
			d.add(n, -1, 0, lower)
			grow := math.Expm1(gap.h)
			d.add(n, 1/grow, -1/grow/-math.Expm1(-gap.h), gap)
		}
	}
	return sum, d
}

// logOneMinusExp is log(1 − e^−x) for x ≥ 0, exact at both ends.
func logOneMinusExp(x float64) float64 {
	if x < math.Ln2 {
		return math.Log(-math.Expm1(-x))
	}
	return math.Log1p(-math.Exp(-x))
}

// Bounds of the search. A shape outside them fits no equipment: it means that
// the likelihood has no maximum and goes on rising.
const (
	leastShape     = 1e-3
	greatestShape  = 1e3
	mostIterations = 200
)

// maximise climbs from p to the maximum; with shapeFixed only a moves. It is
// false when there is none within the bounds.
func (s sample) maximise(p parameters, unit float64, shapeFixed bool) (parameters, float64, slopes, bool) {
	value, d := s.logLikelihood(p, unit)
	for range mostIterations {
		stepA, stepB := newtonStep(d, shapeFixed)
		// The rise that the quadratic promises; near the maximum it drowns in the
		// rounding of the likelihood itself.
		if promised := d.a*stepA + d.b*stepB; promised <= 1e-9*(1+math.Abs(value)) {
			p, value, d = s.polish(p, unit, shapeFixed)
			return p, value, d, true
		}
		moved := false
		for scale := 1.0; scale > 1e-12 && !moved; scale /= 2 {
			next := parameters{a: p.a + scale*stepA, b: p.b + scale*stepB}
			if next.b <= 0 {
				continue
			}
			if v, nd := s.logLikelihood(next, unit); finite(v, nd) && v > value {
				p, value, d, moved = next, v, nd, true
			}
		}
		if !moved || p.b < leastShape || p.b > greatestShape {
			return p, value, d, false
		}
	}
	return p, value, d, false
}

// polish takes the last steps of Newton's method, which there doubles the right
// digits each time, by the slopes alone.
func (s sample) polish(p parameters, unit float64, shapeFixed bool) (parameters, float64, slopes) {
	value, d := s.logLikelihood(p, unit)
	for range 3 {
		stepA, stepB := newtonStep(d, shapeFixed)
		next := parameters{a: p.a + stepA, b: p.b + stepB}
		v, nd := s.logLikelihood(next, unit)
		if next.b <= 0 || !finite(v, nd) {
			break
		}
		p, value, d = next, v, nd
	}
	return p, value, d
}

// newtonStep solves the two equations; where the curvature is not usable it
// follows the slope.
func newtonStep(d slopes, shapeFixed bool) (stepA, stepB float64) {
	if shapeFixed {
		return d.a / -d.aa, 0
	}
	determinant := d.aa*d.bb - d.ab*d.ab
	if !(determinant > 0 && d.aa < 0) {
		return d.a, d.b
	}
	return (d.ab*d.b - d.bb*d.a) / determinant, (d.ab*d.a - d.aa*d.b) / determinant
}

func finite(value float64, d slopes) bool {
	sum := value + d.a + d.b + d.aa + d.ab + d.bb
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}
