package rules

import (
	"fmt"
	"math"

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
			Code: CodeAuditWindow, Severities: []Severity{Note, Hold}, Kinds: inspections, check: checkAuditWindow,
			Limit:    "the specification's torque and its tolerance in percent",
			Sentence: "A reading of a torque audit lies outside the window of the specification; a hold where the audit says pass, a note where it says fail.",
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
	if !ok || s == nil || r.TorqueNewtonMetres == nil {
		return nil
	}
	window, torque := TorqueWindow{f.target(), s.TorqueTolerancePercent}, *r.TorqueNewtonMetres
	limit, outside := window.Passed(torque)
	if !outside {
		return nil
	}
	bound := "below the least"
	if torque > limit {
		bound = "above the greatest"
	}
	shown, shownLimit := apart(torque, limit)
	return one(Finding{
		Message: fmt.Sprintf("A torque of %s N.m is %s allowed, %s N.m: specified are %s.", shown, bound, shownLimit, window),
		Source:  f.targetSource(),
	}.against(torque, limit, "N.m"))
}

// TorqueWindow is a torque, N·m, with its tolerance to either side in percent.
type TorqueWindow struct{ TargetNewtonMetres, TolerancePercent float64 }

// String writes the window as "32 N.m ±10 %".
func (w TorqueWindow) String() string {
	return fmt.Sprintf("%s N.m ±%s %%", decimal(w.TargetNewtonMetres, 2), decimal(w.TolerancePercent, 2))
}

// Passed gives the side of the window, N·m, that a torque lies outside of; false
// when it lies within, or when there is no window.
func (w TorqueWindow) Passed(torque float64) (limit float64, outside bool) {
	if w.TargetNewtonMetres <= 0 || w.TolerancePercent <= 0 {
		return 0, false
	}
	low, high := w.TargetNewtonMetres*(1-w.TolerancePercent/100), w.TargetNewtonMetres*(1+w.TolerancePercent/100)
	switch {
	case below(torque, low):
		return low, true
	case above(torque, high):
		return high, true
	}
	return 0, false
}

// Outside counts the torques, N·m, that lie outside the window, and gives the
// one farthest out with the side that it passed.
func (w TorqueWindow) Outside(torques []float64) (count int, farthest, limit float64) {
	for _, torque := range torques {
		passed, outside := w.Passed(torque)
		if !outside {
			continue
		}
		if count == 0 || math.Abs(torque-passed) > math.Abs(farthest-limit) {
			farthest, limit = torque, passed
		}
		count++
	}
	return count, farthest, limit
}

// checkAuditWindow compares what an audit read with what it concluded. An audit
// that says pass over such a reading accepts a joint that is not in order, hence
// the hold; one that says fail has drawn the conclusion itself, and the joint is
// kept from hand-over by the failure. What an audit reads is compared with the
// specification alone: it names no lot, so no substitution is known.
func checkAuditWindow(f *Facts) []Finding {
	r, ok := f.Record.(*ledger.Inspection)
	s := f.Specification
	if !ok || r.Kind != ledger.TorqueAudit || s == nil {
		return nil
	}
	window := TorqueWindow{s.TorqueNewtonMetres, s.TorqueTolerancePercent}
	count, farthest, limit := window.Outside(r.ReadingsNewtonMetres)
	if count == 0 {
		return nil
	}
	severity, says := Note, "the audit says fail"
	if r.Result == ledger.InspectionPass {
		severity, says = Hold, "yet the audit says pass"
	}
	lie := "lie"
	if count == 1 {
		lie = "lies"
	}
	shown, shownLimit := apart(farthest, limit)
	return one(Finding{
		Severity: severity,
		Message: fmt.Sprintf("Of %s %d %s outside the window, the farthest at %s N.m against %s N.m, and %s: specified are %s.",
			quantity(int64(len(r.ReadingsNewtonMetres)), "reading"), count, lie, shown, shownLimit, says, window),
		Source: f.specified(),
	}.against(farthest, limit, "N.m"))
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
	default: // the others go on below
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
