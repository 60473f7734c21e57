package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// Impact says what a tool that failed its calibration did to the joints
// tightened with it from the last good calibration up to the failed one (ISO
// 9001:2015, 7.1.5.2: determine whether earlier results are adversely affected).
// When no as-found point failed, the answer has no bands and no joints in them.
//
// The error is a *stats.ArgumentError: for a tool without a limit or an unknown
// rule as in LatestFailure; for a failed calibration without as-found points or a
// last good one without any; for one that is not before the other; for a test
// point, torque, count or window that is impossible.
func Impact(in ImpactInput) (ImpactAnswer, error) {
	limit, err := limitOf(in.Tool, in.Rule)
	if err != nil {
		return ImpactAnswer{}, err
	}
	if in.Location == nil {
		in.Location = time.UTC
	}
	if err := checkImpact(in); err != nil {
		return ImpactAnswer{}, err
	}
	in.Tightenings = inPeriod(in)
	d := newToolDrift(in)
	a := ImpactAnswer{
		StartKnown: in.LastGood != nil, End: in.Failed.OccurTime,
		LimitPercent: limit.percent, Rule: limit.rule,
		Points: impactPoints(in.Failed, limit, d),
	}
	a.Bands = bandsOf(a.Points)
	switch {
	case in.LastGood != nil:
		a.Start = in.LastGood.OccurTime
	case len(in.Tightenings) > 0:
		a.Start = in.Tightenings[0].At
	}
	for _, t := range in.Tightenings {
		a.Cycles += int64(t.Fasteners)
	}
	a.addJoints(in, d)
	describeImpact(&a, in, d)
	return a, nil
}

// addJoints sorts the joints into those in a band, those gone over again since
// and those apart.
func (a *ImpactAnswer) addJoints(in ImpactInput, d toolDrift) {
	for _, w := range jointWork(in, a) {
		if apart, ok := w.apart(a.Bands); ok {
			a.Apart = append(a.Apart, apart)
			continue
		}
		j := w.estimate(d)
		j.Sentence = impactSentence(j, in, a.StartKnown)
		if w.allGoneOver() {
			a.GoneOver = append(a.GoneOver, j)
		} else {
			a.Joints = append(a.Joints, j)
		}
	}
	slices.SortFunc(a.Joints, byHarm)
	slices.SortFunc(a.GoneOver, byHarm)
	slices.SortFunc(a.Apart, func(x, y JointApart) int {
		return cmp.Or(cmp.Compare(x.Reason, y.Reason), cmp.Compare(x.Joint.String(), y.Joint.String()))
	})
}

// byHarm puts joints that got nobody knows what first, then the most probably
// wrong, then those without a probability; equals by name.
func byHarm(x, y JointImpact) int {
	return cmp.Or(
		cmp.Compare(harm(y), harm(x)),
		cmp.Compare(x.Joint.String(), y.Joint.String()),
	)
}

func harm(j JointImpact) float64 {
	switch {
	case j.NoTorqueFound:
		return 2
	case j.OutsideProbability == nil:
		return -1
	}
	return *j.OutsideProbability
}

// inPeriod gives the tightenings from the last good calibration up to but not
// including the failed one, in order of time.
func inPeriod(in ImpactInput) []ImpactTightening {
	var kept []ImpactTightening
	for _, t := range in.Tightenings {
		early := in.LastGood != nil && t.At.Before(in.LastGood.OccurTime)
		if !early && t.At.Before(in.Failed.OccurTime) {
			kept = append(kept, t)
		}
	}
	slices.SortStableFunc(kept, func(x, y ImpactTightening) int {
		return cmp.Or(x.At.Compare(y.At), slices.Compare(x.ID[:], y.ID[:]))
	})
	return kept
}

func checkImpact(in ImpactInput) error {
	if len(pointsOf(in.Failed, ledger.AsFound)) == 0 {
		return badImpact("as-found test points", "none", "must be on the calibration that is asked about: without them nobody knows what the tool did before it")
	}
	if err := checkPoints(in.Failed); err != nil {
		return err
	}
	if g := in.LastGood; g != nil {
		if !g.OccurTime.Before(in.Failed.OccurTime) {
			return badImpact("last good calibration", g.OccurTime.UTC().Format(time.RFC3339), "must be before the failed one, "+in.Failed.OccurTime.UTC().Format(time.RFC3339))
		}
		if len(leftPoints(*g)) == 0 {
			return badImpact("last good calibration", "without test points", "must have as-left or as-found test points")
		}
		if err := checkPoints(*g); err != nil {
			return err
		}
	}
	for _, t := range in.Tightenings {
		if t.Fasteners < 0 {
			return badImpact("fasteners of tightening "+t.ID.String(), strconv.Itoa(t.Fasteners), "must be at least 0")
		}
		if t.TorqueNewtonMetres != nil && !positive(*t.TorqueNewtonMetres) {
			return badImpact("torque of tightening "+t.ID.String(), fmt.Sprintf("%g N·m", *t.TorqueNewtonMetres), "must be finite and above 0 N·m, or not given")
		}
	}
	for _, j := range in.Joints {
		w := j.Window
		if w != nil && !(w.LowerNewtonMetres >= 0 && w.LowerNewtonMetres < w.UpperNewtonMetres && positive(w.UpperNewtonMetres)) {
			return badImpact("torque window of joint "+j.Joint.String(), fmt.Sprintf("%g to %g N·m", w.LowerNewtonMetres, w.UpperNewtonMetres), "must go from at least 0 N·m up to more")
		}
	}
	return nil
}

func checkPoints(c ledger.Calibration) error {
	for _, p := range c.Points {
		if !positive(p.TargetNewtonMetres) {
			return badImpact("target torque of a test point", fmt.Sprintf("%g N·m", p.TargetNewtonMetres), "must be finite and above 0 N·m")
		}
		if len(p.ReadingsNewtonMetres) == 0 {
			return badImpact(fmt.Sprintf("readings at %g N·m", p.TargetNewtonMetres), "none", "must be at least one at each test point")
		}
		for _, v := range p.ReadingsNewtonMetres {
			if v != 0 && !positive(v) {
				return badImpact(fmt.Sprintf("reading at %g N·m", p.TargetNewtonMetres), fmt.Sprintf("%g N·m", v), "must be finite and at least 0 N·m")
			}
		}
	}
	return nil
}

func positive(v float64) bool { return v > 0 && !math.IsInf(v, 1) }

func badImpact(argument, value, requirement string) error {
	return &stats.ArgumentError{Argument: argument, Value: value, Requirement: requirement}
}
