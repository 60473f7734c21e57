package handover_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/handover"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// What a hand-over record needs is common practice of the trade (no source),
// save for the terms of dispositions, which are those of ISO 9000:2015, 3.12.

var (
	cell  = ledger.Place{Site: "RVB", Tower: "CT1", Cell: "C1"}
	first = ledger.Place{Site: "RVB", Tower: "CT1", Cell: "C1", Joint: "J001"}
	noon  = time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC) // in Denver
)

// work is a joint with a builder for its records; sequence counts them.
type work struct {
	handover.Joint
	sequence int64
}

// sound is a critical joint of 24 fasteners with which nothing is the matter.
func sound() *work {
	w := &work{Joint: handover.Joint{
		Joint:   ledger.Joint{Place: first, Critical: true, Specification: "SS-SEAM", Fasteners: 24},
		Sealant: "polyurethane", Torque: rules.TorqueWindow{TargetNewtonMetres: 32, TolerancePercent: 10}, Tightened: 24, SignedOff: true,
	}}
	w.add(&ledger.Sealing{Sealant: "polyurethane"})
	w.add(tightened())
	w.add(&ledger.Inspection{Kind: ledger.VisualInspection, Result: ledger.InspectionPass})
	return w
}

func tightened() *ledger.Tightening {
	torque := 32.0
	return &ledger.Tightening{Tool: "TW-0107", TorqueNewtonMetres: &torque, Lot: "L-1", Fasteners: 24, Pass: ledger.PassFirst}
}

func (w *work) add(r ledger.Record) uuid.UUID {
	w.sequence++
	e := r.Head()
	e.ID = uuid.New()
	e.Sequence = w.sequence
	e.OccurTime = noon.Add(time.Duration(w.sequence) * time.Minute)
	e.LocalDay = int(noon.Unix() / 86400)
	w.Records = append(w.Records, r)
	return e.ID
}

// without withdraws the records that match.
func (w *work) without(match func(ledger.Record) bool) {
	for _, r := range w.Records {
		if match(r) {
			r.Head().CorrectedBy = uuid.New()
		}
	}
}

// released adds a hold that a rule placed, and its release.
func (w *work) released(rule string) {
	id := w.add(&ledger.Hold{Action: ledger.HoldPlaced, Place: first, Rule: rule})
	w.add(&ledger.Hold{Action: ledger.HoldReleased, Place: first, Releases: id})
}

// proven is a check to which the wrench is known as calibrated before the work.
func proven() handover.Check {
	return handover.Check{
		Tools: map[string]handover.Tool{"TW-0107": {
			Tool: ledger.Tool{Serial: "TW-0107", Kind: ledger.ToolTorqueWrench, IntervalMonths: 12}, Location: time.UTC,
			Calibrations: []*ledger.Calibration{calibratedOn(2025, 12, 1)},
		}},
		HeldLots: map[string]string{},
	}
}

func calibratedOn(y int, m time.Month, d int) *ledger.Calibration {
	return &ledger.Calibration{Entry: ledger.Entry{ID: uuid.New(), OccurTime: time.Date(y, m, d, 12, 0, 0, 0, time.UTC)}, Tool: "TW-0107"}
}

func recalibrated(on ...*ledger.Calibration) func(*handover.Check) {
	return func(c *handover.Check) {
		t := c.Tools["TW-0107"]
		t.Calibrations = on
		c.Tools["TW-0107"] = t
	}
}

func isSealing(r ledger.Record) bool    { return r.RecordKind() == ledger.KindSealing }
func isInspection(r ledger.Record) bool { return r.RecordKind() == ledger.KindInspection }
func isTightening(r ledger.Record) bool { return r.RecordKind() == ledger.KindTightening }

func incident(kind ledger.IncidentKind, action string) func(*work) {
	return func(w *work) { w.add(&ledger.Incident{Kind: kind, Joint: first, Action: action}) }
}

func TestMissingAtAJoint(t *testing.T) {
	const none = "Joint RVB/CT1/C1/J001: no calibration was in force for its tightening of 2026-03-02: Tool TW-0107 had no calibration on record on 2026-03-02."
	for name, test := range map[string]struct {
		change func(*work)
		check  func(*handover.Check)
		want   []string
	}{
		"nothing": {},
		"fasteners": {
			change: func(w *work) { w.Tightened = 23 },
			want:   []string{"Joint RVB/CT1/C1/J001: 23 of its 24 fasteners are on record as tightened."},
		},
		"more attempts than fasteners": {change: func(w *work) { w.Tightened = 25 }},
		"sealing": {
			change: func(w *work) { w.without(isSealing) },
			want:   []string{"Joint RVB/CT1/C1/J001: no sealing is on record; specification SS-SEAM names polyurethane."},
		},
		"sealing where none is specified": {change: func(w *work) { w.Sealant = ""; w.without(isSealing) }},
		"inspection of a critical joint": {
			change: func(w *work) { w.without(isInspection) },
			want:   []string{"Joint RVB/CT1/C1/J001 is critical and no inspection of it is on record."},
		},
		"inspection of another joint": {change: func(w *work) { w.Critical = false; w.without(isInspection) }},
		"failed inspection": {
			change: func(w *work) { w.add(&ledger.Inspection{Kind: ledger.LeakTest, Result: ledger.InspectionFail}) },
			want:   []string{"Joint RVB/CT1/C1/J001: its newest leak test, on 2026-03-02, failed."},
		},
		"failed inspection of a joint that is not critical": {
			change: func(w *work) {
				w.Critical = false
				w.add(&ledger.Inspection{Kind: ledger.VisualInspection, Result: ledger.InspectionFail})
			},
			want: []string{"Joint RVB/CT1/C1/J001: its newest visual inspection, on 2026-03-02, failed."},
		},
		"failed, then passed": {change: func(w *work) {
			w.add(&ledger.Inspection{Kind: ledger.LeakTest, Result: ledger.InspectionFail})
			w.add(&ledger.Inspection{Kind: ledger.LeakTest, Result: ledger.InspectionPass})
		}},
		"hold": {
			change: func(w *work) {
				w.OpenHolds = []*ledger.Hold{{Action: ledger.HoldPlaced, Place: first, Reason: "Shim missing."}}
			},
			want: []string{"Joint RVB/CT1/C1/J001 is on hold: Shim missing."},
		},
		"hold of the cell": {
			change: func(w *work) {
				w.OpenHolds = []*ledger.Hold{{Action: ledger.HoldPlaced, Place: cell, Reason: "survey outstanding"}}
			},
			want: []string{"Cell RVB/CT1/C1 is on hold: survey outstanding."},
		},
		"galled fastener that was replaced": {change: incident(ledger.Galling, "cut off and replaced")},
		"dropped tool that was sent away":   {change: incident(ledger.DroppedTool, "sent to the laboratory")},
		"leak that was stopped at once":     {change: incident(ledger.Leak, "resealed"), want: undecided("leak", "no disposition")},
		"seal gap":                          {change: incident(ledger.SealGap, "filled"), want: undecided("seal gap", "no disposition")},
		"misaligned hole":                   {change: incident(ledger.MisalignedHole, "reamed"), want: undecided("misaligned hole", "no disposition")},
		"coating damage":                    {change: incident(ledger.CoatingDamage, "painted"), want: undecided("coating damage", "no disposition")},
		"broken fastener and nothing done":  {change: incident(ledger.BrokenFastener, " "), want: undecided("broken fastener", "neither an action nor a disposition")},
		"near miss and nothing done":        {change: incident(ledger.NearMiss, ""), want: undecided("near miss", "neither an action nor a disposition")},
		"leak with a disposition":           {change: decidedLeak},
		"leak that was withdrawn":           {change: withdrawnLeak},
		"leak with another one's disposition": {
			change: func(w *work) {
				w.add(&ledger.Incident{Kind: ledger.Leak, Joint: first})
				w.add(&ledger.Disposition{Incident: uuid.New(), Decision: ledger.DecisionRepair})
			},
			want: undecided("leak", "neither an action nor a disposition"),
		},
		"sign-off": {
			change: func(w *work) { w.SignedOff = false },
			want:   []string{"Joint RVB/CT1/C1/J001 is not signed off at a hold point, nor is its cell or its tower."},
		},
		"calibration":                          {check: recalibrated(), want: []string{none}},
		"calibration after the use":            {check: recalibrated(calibratedOn(2026, 3, 3)), want: []string{none}},
		"calibration and a later one":          {check: recalibrated(calibratedOn(2025, 12, 1), calibratedOn(2026, 4, 1))},
		"calibration twelve months before":     {check: recalibrated(calibratedOn(2025, 3, 2))},
		"calibration of an old certificate":    {check: recalibrated(calibratedOn(2025, 3, 1)), want: []string{lapsed}},
		"calibration, the record withdrawn":    {check: recalibrated(), change: func(w *work) { w.without(isTightening) }},
		"calibration, decided by a release":    {check: recalibrated(), change: func(w *work) { w.released("tool-calibration-unknown") }},
		"calibration, another rule's release":  {check: recalibrated(), change: func(w *work) { w.released("torque-window") }, want: []string{none}},
		"calibration, a use after the release": {check: recalibrated(), change: useAfterRelease, want: []string{none}},
		"calibration of the auditor's wrench": {
			change: func(w *work) {
				w.add(&ledger.Inspection{Kind: ledger.TorqueAudit, ReadingsNewtonMetres: []float64{32}, Result: ledger.InspectionPass, Tool: "TW-9"})
			},
			want: []string{"Joint RVB/CT1/C1/J001: no calibration was in force for its inspection of 2026-03-02: Tool TW-9 is not known here, so nothing shows that it was calibrated."},
		},
		"lot on hold": {
			check: func(c *handover.Check) { c.HeldLots["L-1"] = "is on hold" },
			want:  []string{"Joint RVB/CT1/C1/J001: lot L-1 in it is on hold."},
		},
		"another lot on hold":               {check: func(c *handover.Check) { c.HeldLots["L-2"] = "is on hold" }},
		"lot on hold, decided by a release": {check: func(c *handover.Check) { c.HeldLots["L-1"] = "is on hold" }, change: func(w *work) { w.released("lot-held") }},
		"everything": {
			change: func(w *work) {
				*w = work{Joint: handover.Joint{Joint: w.Joint.Joint, Sealant: w.Sealant}}
			},
			want: []string{
				"Joint RVB/CT1/C1/J001: 0 of its 24 fasteners are on record as tightened.",
				"Joint RVB/CT1/C1/J001: no sealing is on record; specification SS-SEAM names polyurethane.",
				"Joint RVB/CT1/C1/J001 is critical and no inspection of it is on record.",
				"Joint RVB/CT1/C1/J001 is not signed off at a hold point, nor is its cell or its tower.",
			},
		},
	} {
		t.Run(name, func(t *testing.T) {
			w, check := sound(), proven()
			if test.change != nil {
				test.change(w)
			}
			if test.check != nil {
				test.check(&check)
			}
			if diff := cmp.Diff(test.want, sentences(check.Cell([]handover.Joint{w.Joint}))); diff != "" {
				t.Errorf("missing (-want +got):\n%s", diff)
			}
		})
	}
}

const lapsed = "Joint RVB/CT1/C1/J001: no calibration was in force for its tightening of 2026-03-02: " +
	"Tool TW-0107 was past due: it fell due on 2026-03-01, 12 months after its calibration on 2025-03-01, and was used 1 day later."

func undecided(kind, lacks string) []string {
	return []string{"Joint RVB/CT1/C1/J001: the incident of 2026-03-02 (" + kind + ") has " + lacks + "."}
}

func decidedLeak(w *work) {
	id := w.add(&ledger.Incident{Kind: ledger.Leak, Joint: first, Action: "resealed"})
	w.add(&ledger.Disposition{Incident: id, Decision: ledger.DecisionRepair})
}

func withdrawnLeak(w *work) {
	w.add(&ledger.Incident{Kind: ledger.Leak, Joint: first})
	w.without(func(r ledger.Record) bool { return r.RecordKind() == ledger.KindIncident })
}

// useAfterRelease decides about the first use, and uses the wrench again.
func useAfterRelease(w *work) {
	w.released("tool-calibration-unknown")
	w.add(&ledger.Tightening{Tool: "TW-0107", Lot: "L-1", Pass: ledger.PassRetightening, Fasteners: 24}) // its torque is not asked for
}

func sentences(missing []handover.Missing) []string {
	var list []string
	for _, m := range missing {
		list = append(list, m.Sentence)
	}
	return list
}

// Where nobody has signed off anything in a cell, that is one thing that is
// missing, not one a joint; a hold on the cell is told once too.
func TestMissingOfACell(t *testing.T) {
	second := first
	second.Joint = "J002"
	held := []*ledger.Hold{{Action: ledger.HoldPlaced, Place: cell, Reason: "survey outstanding"}}
	a, b := sound(), sound()
	b.Place = second
	a.OpenHolds, b.OpenHolds = held, held
	a.SignedOff, b.SignedOff = false, false
	b.Tightened = 12
	want := []handover.Missing{
		{Place: cell, Sentence: "Cell RVB/CT1/C1 is on hold: survey outstanding."},
		{Place: second, Sentence: "Joint RVB/CT1/C1/J002: 12 of its 24 fasteners are on record as tightened."},
		{Place: cell, Sentence: "Cell RVB/CT1/C1: none of its 2 joints is signed off at a hold point, nor is the cell or its tower."},
	}
	if diff := cmp.Diff(want, proven().Cell([]handover.Joint{a.Joint, b.Joint})); diff != "" {
		t.Errorf("none signed off (-want +got):\n%s", diff)
	}
	a.SignedOff = true
	want[2] = handover.Missing{Place: second, Sentence: "Joint RVB/CT1/C1/J002 is not signed off at a hold point, nor is its cell or its tower."}
	if diff := cmp.Diff(want, proven().Cell([]handover.Joint{a.Joint, b.Joint})); diff != "" {
		t.Errorf("one signed off (-want +got):\n%s", diff)
	}
	if missing := proven().Cell(nil); missing != nil {
		t.Errorf("a cell without joints: %v", missing)
	}
}

func TestMissingOfASite(t *testing.T) {
	at := func(kind ledger.IncidentKind, action string, corrected bool) *ledger.Incident {
		i := &ledger.Incident{Entry: ledger.Entry{ID: uuid.New(), LocalDay: int(noon.Unix() / 86400)}, Kind: kind, Site: "RVB", Action: action}
		if corrected {
			i.CorrectedBy = uuid.New()
		}
		return i
	}
	decided := at(ledger.CoatingDamage, "", false)
	missing := handover.Incidents([]*ledger.Incident{
		at(ledger.DroppedTool, "sent to the laboratory", false), at(ledger.NearMiss, "", false), at(ledger.Leak, "", true), decided,
	}, func(i *ledger.Incident) bool { return i == decided })
	want := []handover.Missing{{
		Place:    ledger.Place{Site: "RVB"},
		Sentence: "Site RVB: the incident of 2026-03-02 (near miss) has neither an action nor a disposition.",
	}}
	if diff := cmp.Diff(want, missing); diff != "" {
		t.Errorf("missing (-want +got):\n%s", diff)
	}
}

func TestInForce(t *testing.T) {
	old, young := calibratedOn(2025, 1, 1), calibratedOn(2026, 1, 1)
	tool := handover.Tool{Calibrations: []*ledger.Calibration{old, young}}
	for _, test := range []struct {
		at   time.Time
		want *ledger.Calibration
	}{
		{old.OccurTime.Add(-time.Microsecond), nil},
		{old.OccurTime, old},
		{young.OccurTime.Add(-time.Microsecond), old},
		{young.OccurTime, young},
		{young.OccurTime.AddDate(9, 0, 0), young},
	} {
		if got := tool.InForce(test.at); got != test.want {
			t.Errorf("at %v: %v; expected %v", test.at, got, test.want)
		}
	}
}
