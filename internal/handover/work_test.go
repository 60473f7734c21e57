package handover_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/handover"
	"jointledger/internal/ledger"
)

// The window of the sound joint is 32 N·m ±10 %: 28.8 to 35.2 N·m.
func TestMissingOfTheWork(t *testing.T) {
	driven := func(change func(*ledger.Tightening)) func(*work) {
		return func(w *work) {
			w.without(isTightening)
			r := tightened()
			change(r)
			w.add(r)
		}
	}
	sealedWith := func(names ...string) func(*work) {
		return func(w *work) {
			w.without(isSealing)
			for _, name := range names {
				w.add(&ledger.Sealing{Sealant: name})
			}
		}
	}
	for name, test := range map[string]struct {
		change func(*work)
		want   string // without "Joint …: "; empty for nothing missing
	}{
		"no torque": {driven(func(r *ledger.Tightening) { r.TorqueNewtonMetres = nil }), "no torque is on record for its tightening of 2026-03-02"},
		"no tool":   {driven(func(r *ledger.Tightening) { r.Tool = "" }), "no tool is on record for its tightening of 2026-03-02"},
		"neither":   {driven(func(r *ledger.Tightening) { r.Tool, r.TorqueNewtonMetres = "", nil }), "no tool and no torque is on record for its tightening of 2026-03-02"},
		"no torque where the joint is not critical": {func(w *work) {
			w.Critical = false
			driven(func(r *ledger.Tightening) { r.TorqueNewtonMetres = nil })(w)
		}, "no torque is on record for its tightening of 2026-03-02"},
		"no torque where none is specified and the joint is critical": {func(w *work) {
			w.Torque.TargetNewtonMetres = 0
			driven(func(r *ledger.Tightening) { r.TorqueNewtonMetres = nil })(w)
		}, "no torque is on record for its tightening of 2026-03-02"},
		"no torque where nothing asks for one": {func(w *work) {
			w.Torque.TargetNewtonMetres, w.Critical = 0, false
			driven(func(r *ledger.Tightening) { r.TorqueNewtonMetres, r.Tool = nil, "" })(w)
		}, ""},
		"no torque of a record that was withdrawn": {func(w *work) {
			r := tightened()
			r.TorqueNewtonMetres, r.CorrectedBy = nil, uuid.New()
			w.add(r)
		}, ""},
		"no torque of going over it again": {func(w *work) {
			r := tightened()
			r.TorqueNewtonMetres, r.Pass = nil, ledger.PassFinal
			w.add(r)
		}, ""},

		"another sealant":                     {sealedWith("silicone"), "sealed with silicone; specification SS-SEAM names polyurethane"},
		"two other sealants":                  {sealedWith("silicone", "butyl"), "sealed with butyl; specification SS-SEAM names polyurethane"},
		"another sealant, then the right one": {sealedWith("silicone", "polyurethane"), ""},
		"the right one, then more of another": {sealedWith("polyurethane", "silicone"), ""},
		"the sealant in other letters":        {sealedWith("Poly-Urethane"), ""},
		"the sealant by its other name": {func(w *work) {
			w.Sealant = "strip"
			sealedWith("strip sealant")(w)
		}, ""},

		"audit on both limits":            {audited(ledger.InspectionPass, 28.8, 35.2), ""},
		"audit without readings":          {audited(ledger.InspectionPass), "its newest torque audit, on 2026-03-02, passed and has no readings"},
		"audit with a reading just under": {audited(ledger.InspectionPass, 31, 28.79), "its newest torque audit, on 2026-03-02, passed with 1 of 2 readings outside the window of specification SS-SEAM, 32 N.m ±10 %"},
		"audit with readings over":        {audited(ledger.InspectionPass, 35.21, 40), "its newest torque audit, on 2026-03-02, passed with 2 of 2 readings outside the window of specification SS-SEAM, 32 N.m ±10 %"},
		"failed audit without readings":   {audited(ledger.InspectionFail), "its newest torque audit, on 2026-03-02, failed"},
		"audit where no window is known": {func(w *work) {
			w.Torque.TolerancePercent = 0
			audited(ledger.InspectionPass, 90)(w)
		}, ""},
		"bad audit, then a good one": {func(w *work) {
			audited(ledger.InspectionPass, 40)(w)
			audited(ledger.InspectionPass, 31)(w)
		}, ""},
		"audit outside, decided by a release": {func(w *work) {
			audited(ledger.InspectionPass, 40)(w)
			w.released("audit-window")
		}, ""},
		"audit outside, after the release": {func(w *work) {
			w.released("audit-window")
			audited(ledger.InspectionPass, 40)(w)
		}, "its newest torque audit, on 2026-03-02, passed with 1 of 1 readings outside the window of specification SS-SEAM, 32 N.m ±10 %"},
	} {
		t.Run(name, func(t *testing.T) {
			w := sound()
			test.change(w)
			var want []string
			if test.want != "" {
				want = []string{"Joint RVB/CT1/C1/J001: " + test.want + "."}
			}
			if diff := cmp.Diff(want, sentences(proven().Cell([]handover.Joint{w.Joint}))); diff != "" {
				t.Errorf("missing (-want +got):\n%s", diff)
			}
		})
	}
}

func audited(result ledger.InspectionResult, readings ...float64) func(*work) {
	return func(w *work) {
		w.add(&ledger.Inspection{Kind: ledger.TorqueAudit, ReadingsNewtonMetres: readings, Result: result, Tool: "TW-0107"})
	}
}

// A hold does not end with the record that caused it, and is told apart from one
// whose cause stands.
func TestHoldWhoseCauseWasCorrected(t *testing.T) {
	w := sound()
	mistaken := tightened()
	mistaken.CorrectedBy = uuid.New()
	standing := tightened()
	w.add(mistaken)
	w.add(standing)
	hold := func(cause uuid.UUID) *ledger.Hold {
		return &ledger.Hold{Action: ledger.HoldPlaced, Place: first, Rule: "torque-window", Reason: "A torque of 40 N.m is above the greatest allowed.", Cause: cause}
	}
	for cause, want := range map[uuid.UUID]string{
		mistaken.ID: "Joint RVB/CT1/C1/J001 is on hold: A torque of 40 N.m is above the greatest allowed; the record that caused it was corrected since; it still takes a release.",
		standing.ID: "Joint RVB/CT1/C1/J001 is on hold: A torque of 40 N.m is above the greatest allowed.",
		uuid.Nil:    "Joint RVB/CT1/C1/J001 is on hold: A torque of 40 N.m is above the greatest allowed.",
	} {
		w.OpenHolds = []*ledger.Hold{hold(cause)}
		if diff := cmp.Diff([]string{want}, sentences(proven().Cell([]handover.Joint{w.Joint}))); diff != "" {
			t.Errorf("missing (-want +got):\n%s", diff)
		}
	}
}
