package analysis

import (
	"errors"
	"fmt"

	"jointledger/internal/reliability"
)

// adviseInterval estimates the interval for the target and turns it into advice.
// An interval is changed only on evidence: it is shortened when so few in
// tolerance are improbable at the target, or the upper limit of the estimate lies
// below it and more than a few results say so; it is lengthened when the lower limit lies above it, from enough
// results, and by the cap at most.
func adviseInterval(observations []reliability.Observation, present float64, policy bool, unit string, o ReliabilityOptions) (IntervalAdvice, error) {
	a := IntervalAdvice{Present: present, PresentFromPolicy: policy, Action: KeepInterval, Recommended: present}
	e, err := reliability.TargetInterval(observations, o.Target, o.Confidence)
	var none *reliability.NoEstimateError
	if errors.As(err, &none) {
		a.Model, a.Reason = "none", "Kept: "+none.Error()+"."
		return a, nil
	}
	if err != nil {
		return IntervalAdvice{}, err
	}
	a.Estimate, a.Lower, a.Upper = e.Estimate, e.Lower, e.Upper
	a.Model = e.Model.String() + ", maximum likelihood, limits by profile likelihood"
	if e.OneSided {
		a.Model = e.Model.String() + ", one-sided exact bound"
	}
	var n, in int64
	for _, x := range observations {
		n += x.Count
		if x.After > 0 {
			in += x.Count
		}
	}
	end, err := reliability.ObservedReliability(in, n, o.Target, o.Confidence)
	if err != nil {
		return IntervalAdvice{}, err
	}
	verdict, err := end.Test(1 - o.Confidence)
	if err != nil {
		return IntervalAdvice{}, err
	}
	// A bound that computes as the present interval less its last digits is it.
	switch best := bestInterval(e); {
	case best < present*(1-1e-9) && verdict != reliability.IntervalTooLong && e.Upper != nil && *e.Upper < present && n < leastToShorten:
		a.Reason = fmt.Sprintf("Kept: the estimate lies below the present interval, but an interval is not shortened by an estimate from %s; at least %d are wanted (common practice, no source). Look into each tool that failed.", quantity(n, "result"), leastToShorten)
	case best < present*(1-1e-9) && (verdict == reliability.IntervalTooLong || e.Upper != nil && *e.Upper < present):
		a.Action, a.Recommended = ShortenInterval, best
		a.Reason = fmt.Sprintf("Shortened: %d of %d in tolerance falls short of the target of %g %%.", in, n, 100*o.Target)
		if e.OneSided {
			a.Reason = fmt.Sprintf("Shortened: none of %d was in tolerance; the figure is an upper bound, and the right interval lies below it.", n)
		}
	case e.Lower == nil || *e.Lower <= present:
		a.Reason = fmt.Sprintf("Kept: the results do not show that another interval than the present %.4g %s meets the target.", present, unit)
		if n < int64(o.LeastResults) && best > present {
			a.Reason = fewResults(n, o)
		}
	case n < int64(o.LeastResults):
		a.Reason = fewResults(n, o)
	default:
		a.lengthen(best, unit, o)
	}
	return a, nil
}

// leastToShorten is from how many results an estimate alone shortens an interval:
// one early failure of three would ask for a calibration every few days.
const leastToShorten = 5

// bestInterval is the estimate, or the bound where there is only one.
func bestInterval(e reliability.TargetIntervalEstimate) float64 {
	for _, v := range []*float64{e.Estimate, e.Lower, e.Upper} {
		if v != nil {
			return *v
		}
	}
	return 0
}

func fewResults(n int64, o ReliabilityOptions) string {
	return fmt.Sprintf("Kept: an interval is not lengthened from %s; at least %d are wanted (common practice, no source).", quantity(n, "result"), o.LeastResults)
}

func (a *IntervalAdvice) lengthen(best float64, unit string, o ReliabilityOptions) {
	a.Action, a.Recommended = LengthenInterval, best
	a.Reason = fmt.Sprintf("Lengthened: even the lower limit, %.4g %s, lies above the present %.4g.", *a.Lower, unit, a.Present)
	if most := o.GrowthCap * a.Present; best > most {
		a.Recommended = most
		a.Reason += fmt.Sprintf(" Held to %g times the present interval in one step (common practice, no source).", o.GrowthCap)
	}
	if a.Recommended <= a.Present {
		a.Action, a.Recommended = KeepInterval, a.Present
		a.Reason = "Kept: the cap on lengthening allows none."
	}
}
