package stats

import "math"

// betaQuantile gives the x that a Beta(a,b) variable falls below with
// probability p, and y = 1−x to its own full precision; a, b > 0, 0 < p ≤ 1.
//
// It is Newton's iteration on ln I_x(a,b) = ln p in the logit of x. The density
// in the logit is log-concave, hence so is its integral: the tangent lies above
// the curve, so from any start one step lands on the root or to its left, and
// the rest climb to it. There is no bracket to lose and no flat part to be
// caught in. A root beyond the range of float64 comes back as 0 or 1.
func betaQuantile(a, b, p float64) (x, y float64) {
	if p > 0.5 {
		if p == 1 {
			return 1, 0
		}
		y, x = betaQuantile(b, a, 1-p)
		return x, y
	}
	const farthest = 700 // exp(−700) is still a normal float64
	target := math.Log(p)
	// The logit of a beta variable has about the variance 1/a + 1/b.
	logit := math.Log(a/b) - normalUpperQuantile(p)*math.Sqrt(1/a+1/b)
	for i := 0; ; i++ {
		logit = within(logit, -farthest, farthest)
		x, y = 1/(1+math.Exp(-logit)), 1/(1+math.Exp(logit))
		at := logIncompleteBeta(a, b, x, y)
		step := (target - at.log) / at.slope
		switch {
		case logit == -farthest && step < 0:
			return 0, 1
		case logit == farthest && step > 0:
			return 1, 0
		case i > 0 && step <= 0, math.Abs(step) <= 2.3e-16*math.Max(1, math.Abs(logit)):
			// The climb ends where rounding makes it turn, or where a step no
			// longer moves x, whose relative change is at most the logit's
			// absolute one.
			return x, y
		}
		logit += step
	}
}
