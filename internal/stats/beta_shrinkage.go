package stats

import (
	"fmt"
	"math"
)

// FailureCount is how often a group failed in how many attempts.
type FailureCount struct {
	Failures, Attempts int64
}

// BetaPosterior is what is believed of a probability of failure: a Beta(Alpha,
// Beta) distribution.
type BetaPosterior struct {
	Alpha, Beta float64
}

// Mean is the expected probability of failure.
func (p BetaPosterior) Mean() float64 { return 1 / (1 + p.Beta/p.Alpha) }

// Interval is the central credible interval. An [*ArgumentError] is returned
// for a confidence not strictly between 0 and 1.
func (p BetaPosterior) Interval(confidence float64) (Interval, error) {
	if err := checkConfidence(confidence); err != nil {
		return Interval{}, err
	}
	return limits{
		lower: func(tail float64) float64 { x, _ := betaQuantile(p.Alpha, p.Beta, tail); return x },
		upper: func(tail float64) float64 { _, x := betaQuantile(p.Beta, p.Alpha, tail); return x },
		top:   1,
	}.twoSided(confidence), nil
}

// Above is the probability that the probability of failure lies above a limit.
func (p BetaPosterior) Above(limit float64) float64 {
	switch {
	case !(limit > 0):
		return 1
	case limit >= 1:
		return 0
	}
	_, above := betaTails(p.Alpha, p.Beta, limit, 1-limit)
	return above
}

// BetaShrinkage is the beta-binomial empirical Bayes estimate of the
// probabilities of failure of several groups.
type BetaShrinkage struct {
	// Prior was fitted to all groups; it is the zero value under a fallback.
	Prior BetaPosterior
	// LogLikelihood is the greatest marginal one, with binomial coefficients; 0
	// under a fallback.
	LogLikelihood float64
	Fallback      Fallback
	// Posteriors are in the order of the groups.
	Posteriors []BetaPosterior
}

// ShrinkProportions draws each group's rate of failure towards the others', the
// more so the less the group has on record. The prior is fitted to the counts of
// all groups by maximum likelihood of their beta-binomial distribution: D. A.
// Williams, Biometrics 31 (1975) 949-952; R. E. Tarone, Biometrics 38 (1982)
// 215-220. Posteriors take it as known, so their intervals are somewhat too
// narrow when groups are few. A group without attempts has the prior itself.
//
// Where no prior can be fitted the [Fallback] says so; a group without attempts
// then has the posterior of the pooled record. An [*ArgumentError] is returned
// for a count out of range, failures above attempts, or no group with attempts.
func ShrinkProportions(groups []FailureCount) (BetaShrinkage, error) {
	fit := betaFit{}
	var failures, attempts int64
	for i, g := range groups {
		if err := checkGroupCount("attempts", i+1, g.Attempts); err != nil {
			return BetaShrinkage{}, err
		}
		if name := fmt.Sprintf("failures of group %d", i+1); g.Failures < 0 || g.Failures > g.Attempts {
			return BetaShrinkage{}, badCount(name, g.Failures, fmt.Sprintf("must be at least 0 and at most the number of attempts, %d", g.Attempts))
		}
		failures, attempts = failures+g.Failures, attempts+g.Attempts
		if err := checkCount("sum of attempts", attempts); err != nil {
			return BetaShrinkage{}, err
		}
		if g.Attempts > 0 {
			fit.y = append(fit.y, float64(g.Failures))
			fit.n = append(fit.n, float64(g.Attempts))
			fit.largest = math.Max(fit.largest, float64(g.Attempts))
		}
	}
	if len(fit.n) == 0 {
		return BetaShrinkage{}, badCount("number of groups with attempts", 0, "must be at least 1")
	}
	var s BetaShrinkage
	switch {
	case len(fit.n) < LeastGroups:
		s.Fallback = FewGroups
	case failures == 0 || failures == attempts:
		s.Fallback = NoSpread
	default:
		fit.mean = float64(failures) / float64(attempts)
		s.Prior, s.LogLikelihood, s.Fallback = fit.maximum()
	}
	pooled := jeffreysPosterior(failures, attempts)
	for _, g := range groups {
		p := pooled
		switch {
		case s.Fallback == Fitted:
			p = BetaPosterior{s.Prior.Alpha + float64(g.Failures), s.Prior.Beta + float64(g.Attempts-g.Failures)}
		case s.Fallback != NoSpread && g.Attempts > 0:
			p = jeffreysPosterior(g.Failures, g.Attempts)
		}
		s.Posteriors = append(s.Posteriors, p)
	}
	return s, nil
}

func jeffreysPosterior(failures, attempts int64) BetaPosterior {
	return BetaPosterior{0.5 + float64(failures), 0.5 + float64(attempts-failures)}
}

// betaFit is the marginal likelihood of a Beta prior, in its mean and its
// precision alpha+beta. For a given precision it is concave in the mean, which
// leaves a search in one variable.
type betaFit struct {
	y, n    []float64
	largest float64 // of n
	mean    float64 // where the search for the best mean begins
}

func (f *betaFit) maximum() (BetaPosterior, float64, Fallback) {
	log, fallback := maximiseDispersion(f.largest, f.profile)
	if fallback != Fitted {
		return BetaPosterior{}, 0, fallback
	}
	likelihood, _ := f.profile(log)
	precision := math.Exp(log)
	return BetaPosterior{f.mean * precision, (1 - f.mean) * precision}, likelihood, Fitted
}

// profile gives the log-likelihood at the best mean for the precision, and its
// derivative in the logarithm of the precision.
func (f *betaFit) profile(log float64) (likelihood, slope float64) {
	precision := math.Exp(log)
	f.mean = f.bestMean(precision)
	alpha, beta := f.mean*precision, (1-f.mean)*precision
	for i, y := range f.y {
		n := f.n[i]
		likelihood += logBetaBinomial(y, n, alpha, beta)
		slope += alpha*digammaRise(alpha, y) + beta*digammaRise(beta, n-y) - precision*digammaRise(precision, n)
	}
	return likelihood, slope
}

// bestMean solves Σ ψ(α+y)−ψ(α) = Σ ψ(β+n−y)−ψ(β), α = μ·precision, whose sides
// fall and rise with the mean μ, by Newton's method inside a bracket.
func (f *betaFit) bestMean(precision float64) float64 {
	low, high, mean := 0.0, 1.0, f.mean
	for range 200 {
		alpha, beta := mean*precision, (1-mean)*precision
		if alpha == 0 || beta == 0 {
			return f.mean
		}
		trigammaAlpha, trigammaBeta := trigamma(alpha), trigamma(beta)
		var value, slope float64
		for i, y := range f.y {
			rest := f.n[i] - y
			value += digammaRise(alpha, y) - digammaRise(beta, rest)
			slope += trigamma(alpha+y) - trigammaAlpha + trigamma(beta+rest) - trigammaBeta
		}
		if value > 0 {
			low = mean
		} else {
			high = mean
		}
		next := mean - value/(slope*precision)
		if !(next > low && next < high) {
			next = low + (high-low)/2
		}
		if math.Abs(next-mean) <= 1e-14*mean || next == low || next == high {
			return next
		}
		mean = next
	}
	return mean
}
