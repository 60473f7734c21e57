package rules

import (
	"fmt"

	"jointledger/internal/bolting"
	"jointledger/internal/ledger"
)

func torqueRules() []Rule {
	return []Rule{
		{
			Code: CodeTorqueWindow, Severities: []Severity{Hold}, Kinds: tightenings, check: checkTorqueWindow,
			Limit:    "the specification's torque and its tolerance in percent, or the torque of an approved substitution",
			Sentence: "The set or read torque lies outside the window of the specification.",
		},
		{
			Code: CodeTorqueBasis, Severities: []Severity{Hold}, Kinds: tightenings, check: checkTorqueBasis,
			Limit: "the specification's torque basis; nut factors of the specification, else the published defaults " +
				"with the source of each (preload goes with 1/K)",
			Sentence: "The torque assumes lubricated threads and the record says dry, or the reverse.",
		},
	}
}

// target is the torque asked for, N·m: that of the approved substitution in use,
// if it has one, or else the specification's.
func (f *Facts) target() float64 {
	if sub, ok := f.substitution(); ok && sub.TorqueNewtonMetres > 0 {
		return sub.TorqueNewtonMetres
	}
	return f.Specification.TorqueNewtonMetres
}

// targetSource says where the target stands.
func (f *Facts) targetSource() string {
	if sub, ok := f.substitution(); ok && sub.TorqueNewtonMetres > 0 {
		return "substitution " + sub.Code + " for " + f.specified()
	}
	return f.specified()
}

// specified cites the specification.
func (f *Facts) specified() string {
	return fmt.Sprintf("specification %s, revision %d", f.Specification.Code, f.Specification.Version)
}

func checkTorqueWindow(f *Facts) []Finding {
	r, ok := f.tightening()
	s := f.Specification
	if !ok || s == nil || r.TorqueNewtonMetres == nil || s.TorqueTolerancePercent <= 0 {
		return nil
	}
	target := f.target()
	if target <= 0 {
		return nil
	}
	low, high := target*(1-s.TorqueTolerancePercent/100), target*(1+s.TorqueTolerancePercent/100)
	torque, limit, bound := *r.TorqueNewtonMetres, 0.0, ""
	switch {
	case below(torque, low):
		limit, bound = low, "below the least"
	case above(torque, high):
		limit, bound = high, "above the greatest"
	default:
		return nil
	}
	shown, shownLimit := apart(torque, limit)
	return one(Finding{
		Message: fmt.Sprintf("A torque of %s N.m is %s allowed, %s N.m: specified are %s N.m ±%s %%.",
			shown, bound, shownLimit, decimal(target, 2), decimal(s.TorqueTolerancePercent, 2)),
		Source: f.targetSource(),
	}.against(torque, limit, "N.m"))
}

// threadBasis is the condition of the threads that a treatment leaves. Under
// locking compound it is not known: one published table has it slide, another
// source has it drag, so that neither basis is shown wrong by it.
func threadBasis(t ledger.Treatment) (ledger.TorqueBasis, bool) {
	switch t {
	case ledger.TreatmentAntiSeize, ledger.TreatmentOtherLubricant:
		return ledger.BasisLubricated, true
	case ledger.TreatmentNone, ledger.TreatmentPrevailingTorqueNut:
		return ledger.BasisDry, true
	}
	return 0, false
}

// checkTorqueBasis judges the specified torque, so it speaks whether or not the
// record gives the torque that was reached.
func checkTorqueBasis(f *Facts) []Finding {
	r, ok := f.tightening()
	s := f.Specification
	if !ok || s == nil || !ledger.TorqueBases.Known(s.TorqueBasis) {
		return nil
	}
	actual, known := threadBasis(r.Treatment)
	if !known || actual == s.TorqueBasis {
		return nil
	}
	torque, source := f.target(), f.targetSource()
	finding := Finding{
		Message: fmt.Sprintf("The torque of %s N.m assumes %s threads and the record says %s: no nut factor is published for these threads, so the preload is not known.",
			decimal(torque, 2), ledger.TorqueBases.Name(s.TorqueBasis), ledger.TorqueBases.Name(actual)),
		Source: source,
	}
	fastener, _ := f.fastener()
	assumed, ok := assumedFactor(s)
	if !ok {
		return one(finding)
	}
	threads, ok := publishedFactor(fastener, r.Treatment)
	if !ok {
		return one(finding)
	}
	shift, err := bolting.WrongBasis{Assumed: assumed.value, Actual: threads.value}.PreloadShift()
	if err != nil {
		return one(finding)
	}
	finding.Message = fmt.Sprintf("The torque of %s N.m assumes %s threads (nut factor %s) and the record says %s (about %s): the preload is about %s the intended one%s.",
		decimal(torque, 2), ledger.TorqueBases.Name(s.TorqueBasis), decimal(float64(assumed.value), 3),
		ledger.TorqueBases.Name(actual), decimal(float64(threads.value), 3), percentOf(shift.Percent), spread(assumed, threads))
	finding.Figure, finding.Unit = &shift.Percent, "% of preload"
	finding.Source = fmt.Sprintf("%s; nut factor assumed: %s; of the threads: %s", source, assumed.source, threads.source)
	return one(finding)
}

// percentOf writes a signed error of the preload as "33 % above".
func percentOf(percent float64) string {
	if percent < 0 {
		return decimal(-percent, 0) + " % below"
	}
	return decimal(percent, 0) + " % above"
}

// spread gives the error over the published range of the threads' factor; empty
// when none is published.
func spread(assumed, threads nutFactor) string {
	if threads.low <= 0 || threads.high <= threads.low {
		return ""
	}
	most, err1 := bolting.WrongBasis{Assumed: assumed.value, Actual: threads.low}.PreloadShift()
	least, err2 := bolting.WrongBasis{Assumed: assumed.value, Actual: threads.high}.PreloadShift()
	if err1 != nil || err2 != nil {
		return ""
	}
	return fmt.Sprintf(" (%+.0f to %+.0f %% over the published range of the factor)", least.Percent, most.Percent)
}
