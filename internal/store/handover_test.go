package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// handover reads a whole hand-over record.
func (d *diary) handover(place string) (head store.HandoverHead, joints []store.HandoverJoint) {
	d.t.Helper()
	heads := 0
	err := d.s.Handover(context.Background(), d.place(place), func(h store.HandoverHead) error {
		head = h
		heads++
		return nil
	}, func(j store.HandoverJoint) error {
		if heads != 1 {
			d.t.Errorf("a joint after %d heads", heads)
		}
		joints = append(joints, j)
		return nil
	})
	if err != nil || heads != 1 {
		d.t.Fatalf("%d heads, %v", heads, err)
	}
	return head, joints
}

func (d *diary) wantMissing(when, place string, want ...string) {
	d.t.Helper()
	head, _ := d.handover(place)
	got := mapped(head.Missing, func(m store.Missing) string { return m.Sentence })
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
		d.t.Errorf("%s: missing (-want +got):\n%s", when, diff)
	}
}

// finish does all the work of the fleet's first cell, as it should be done.
func (d *diary) finish() {
	d.tighten(structural, 24)
	d.tighten(mechanical, 8)
	d.seal(seam)
	d.driver()
	d.tighten(seam, 40, driven)
	d.inspect(structural, ledger.TorqueAudit, ledger.InspectionPass, 31, 34.5)
	d.signOff("RVB/CT1/C1", ledger.HoldPoint)
}

// seamDriver is the torque screwdriver with which the screws of the seam are
// driven, 4.5 N·m.
const seamDriver = "TD-0412"

// driver registers the screwdriver, in calibration.
func (d *diary) driver() {
	d.t.Helper()
	outcomes, err := d.s.RegisterTools(context.Background(), []ledger.Tool{{
		Serial: seamDriver, Kind: ledger.ToolTorqueScrewdriver, MinimumNewtonMetres: 1, MaximumNewtonMetres: 6, HomeSite: storetest.Denver, IntervalMonths: 12,
	}}, store.Change{})
	wantStates(d.t, outcomes, err, store.Taken)
	d.keep(storetest.NewCalibration(seamDriver, func(r *ledger.Calibration) {
		r.Points = []ledger.CalibrationPoint{{Phase: ledger.AsFound, TargetNewtonMetres: 4.5, ReadingsNewtonMetres: []float64{4.5, 4.6}, ExpandedUncertaintyNewtonMetres: 0.045, CoverageFactor: 2}}
	}))
}

// driven puts tool and torque into a tightening of the seam.
func driven(r *ledger.Tightening) {
	torque := 4.5
	r.Tool, r.TorqueNewtonMetres, r.TorqueAsTyped = seamDriver, &torque, "4.5 N.m"
}

// A cell is handed over when all is done, and what comes to be missing is told.
func TestHandoverIsComplete(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		const where = "RVB/CT1/C1"
		d := newDiary(t, e)
		d.wantMissing("before any work", where,
			"Joint RVB/CT1/C1/J001: 0 of its 24 fasteners are on record as tightened.",
			"Joint RVB/CT1/C1/J001 is critical and no inspection of it is on record.",
			"Joint RVB/CT1/C1/J002: 0 of its 8 fasteners are on record as tightened.",
			"Joint RVB/CT1/C1/J003: 0 of its 40 fasteners are on record as tightened.",
			"Joint RVB/CT1/C1/J003: no sealing is on record; specification SS-SEAM names polyurethane.",
			"Cell RVB/CT1/C1: none of its 3 joints is signed off at a hold point, nor is the cell or its tower.")
		d.finish()
		d.wantMissing("all done", where)

		leak := d.happen(ledger.Leak, seam, func(r *ledger.Incident) { r.Tool, r.Lot, r.Action = "", "", "resealed" })
		d.wantMissing("a leak", where, "Joint RVB/CT1/C1/J003: the incident of 2026-03-02 (leak) has no disposition.")
		d.decide(leak.ID)
		d.wantMissing("leak decided", where)

		onCell, onJoint := d.hold(where), d.hold(mechanical)
		d.wantMissing("on hold", where, "Cell RVB/CT1/C1 is on hold: shim missing.", "Joint RVB/CT1/C1/J002 is on hold: shim missing.")
		d.release(onCell)
		d.release(onJoint)
		d.wantMissing("released", where)

		onLot := d.holdLot(storetest.GalvanizedLot, storetest.Kolkata)
		d.wantMissing("lot on hold", where, "Joint RVB/CT1/C1/J002: lot M16-HDG-0093 in it is on hold.")
		d.release(onLot)

		failed := d.inspect(mechanical, ledger.VisualInspection, ledger.InspectionFail)
		d.wantMissing("failed", where, "Joint RVB/CT1/C1/J002: its newest visual inspection, on 2026-03-02, failed.")
		d.correct(failed, nil)
		d.wantMissing("failure withdrawn", where)
	})
}

// What the records leave out, or say otherwise than the specification does, keeps
// a joint back; and it does not get by because the mistaken record is withdrawn
// that had put the joint on hold.
func TestHandoverNeedsTheWork(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		const where = "RVB/CT1/C1"
		d := newDiary(t, e)
		d.finish()
		bare := d.tighten(seam, 1) // neither tool nor torque
		d.wantMissing("no torque", where, "Joint RVB/CT1/C1/J003: no tool and no torque is on record for its tightening of 2026-03-02.")
		d.correct(bare, nil)

		audit := d.inspect(structural, ledger.TorqueAudit, ledger.InspectionPass)
		d.wantMissing("no readings", where, "Joint RVB/CT1/C1/J001: its newest torque audit, on 2026-03-02, passed and has no readings.")
		d.correct(audit, nil)

		// 32 N·m ±10 %: at most 35.2 N·m.
		outcome := d.keepAudit(ledger.InspectionFail, 35.3)
		if len(outcome.Findings) != 1 || outcome.Findings[0].Rule != "audit-window" || outcome.Findings[0].Severity.String() != "note" {
			t.Errorf("findings on a failed audit: %+v", outcome.Findings)
		}
		audit = d.inspect(structural, ledger.TorqueAudit, ledger.InspectionPass, 31, 35.3)
		outside := "Joint RVB/CT1/C1/J001: its newest torque audit, on 2026-03-02, passed with 1 of 2 readings outside the window of specification SS-M10-STR, 32 N.m ±10 %."
		onHold := "Joint RVB/CT1/C1/J001 is on hold: Of 2 readings 1 lies outside the window, the farthest at 35.3 N.m against 35.2 N.m, and yet the audit says pass: specified are 32 N.m ±10 %"
		d.wantMissing("audit outside the window", where, outside, onHold+".")
		kept, err := d.s.FindRecord(context.Background(), ledger.KindInspection, audit.ID)
		if err != nil {
			t.Fatal(err)
		}
		serverGives := cmpopts.IgnoreFields(ledger.Entry{}, "ReceiveTime", "LocalDay", "Sequence", "Link", "FindingsSum", "CorrectedBy")
		if diff := cmp.Diff(ledger.Record(audit), kept, serverGives, cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("the audit (-sent +read):\n%s", diff)
		}
		d.correct(audit, nil)
		d.inspect(structural, ledger.TorqueAudit, ledger.InspectionPass, 31, 34)
		d.wantMissing("audit withdrawn", where, onHold+"; the record that caused it was corrected since; it still takes a release.")
		holds := d.status(structural).OpenHolds
		if len(holds) != 1 || holds[0].Rule != "audit-window" {
			t.Fatalf("open holds %+v; expected one of the audit", holds)
		}
		d.release(holds[0])
		d.wantMissing("released", where)
	})
}

// keepAudit keeps a torque audit and gives what was answered.
func (d *diary) keepAudit(result ledger.InspectionResult, readings ...float64) store.Outcome {
	d.t.Helper()
	return d.keep(&ledger.Inspection{Joint: d.place(structural), Kind: ledger.TorqueAudit, Result: result, ReadingsNewtonMetres: readings})
}

// A sealing counts when it is of the sealant that is specified.
func TestHandoverNeedsTheSealant(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		d.driver()
		d.tighten(seam, 40, driven)
		d.signOff(seam, ledger.HoldPoint)
		d.seal(seam, func(r *ledger.Sealing) { r.Sealant = "silicone" })
		d.wantMissing("another sealant", seam, "Joint RVB/CT1/C1/J003: sealed with silicone; specification SS-SEAM names polyurethane.")
		d.seal(seam)
		d.wantMissing("the one specified", seam)
	})
}

// A wrench whose certificate is missing keeps its joints back, until the
// certificate is on record, however late, or the hold for it is released.
func TestHandoverNeedsCalibrations(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		const where, spare = "RVB/CT1/C1", "TW-0300"
		d := newDiary(t, e)
		outcomes, err := d.s.RegisterTools(context.Background(), []ledger.Tool{{
			Serial: spare, Kind: ledger.ToolTorqueWrench, MinimumNewtonMetres: 20, MaximumNewtonMetres: 100, HomeSite: storetest.Denver, IntervalMonths: 12,
		}}, store.Change{})
		wantStates(t, outcomes, err, store.Taken)
		before := d.now
		d.finish()
		d.tighten(structural, 24, func(r *ledger.Tightening) { r.Tool, r.Pass = spare, ledger.PassRetightening })
		holds := d.status(structural).OpenHolds
		if len(holds) != 1 || holds[0].Rule != "tool-calibration-unknown" {
			t.Fatalf("open holds %+v", holds)
		}
		none := "Joint RVB/CT1/C1/J001: no calibration was in force for its tightening of 2026-03-02: Tool TW-0300 had no calibration on record on 2026-03-02."
		onHold := "Joint RVB/CT1/C1/J001 is on hold: Tool TW-0300 had no calibration on record on 2026-03-02."
		d.wantMissing("no certificate", where, onHold, none)

		// A certificate from after the work does not help, one from before does.
		d.keep(storetest.NewCalibration(spare))
		d.wantMissing("calibrated afterwards", where, onHold, none)
		after := d.now
		d.now = before
		d.keep(storetest.NewCalibration(spare))
		d.now = after
		d.wantMissing("certificate came late", where, onHold)
		d.release(holds[0])
		d.wantMissing("released", where)
	})
}

// A release for the very rule decides about the certificate that is missing.
func TestHandoverAfterConcession(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		d := &diary{t, s, storetest.Occurred} // nothing is calibrated, qualified or received
		d.tighten(structural, 24)
		d.inspect(structural, ledger.VisualInspection, ledger.InspectionPass)
		d.signOff(structural, ledger.HoldPoint)
		for _, h := range d.status(structural).OpenHolds {
			d.release(h)
		}
		head, _ := d.handover(structural)
		if len(head.Missing) != 0 {
			t.Errorf("missing after the release: %+v", head.Missing)
		}
	})
}

func TestHandoverRecord(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		d.keep(storetest.NewCalibration(storetest.DenverWrench)) // in force for nothing but the work below
		d.finish()
		changed, err := d.s.UpdateSpecification(ctx, storetest.Galvanized, 0, store.Change{}, func(v *ledger.Specification) error { v.TorqueNewtonMetres = 151; return nil })
		if err != nil {
			t.Fatal(err)
		}
		d.tighten("RVB/CT1/C2/J002", 8, func(r *ledger.Tightening) { r.Person = storetest.KolkataPerson })
		withdrawn := d.tighten("RVB/CT1/C2/J001", 8, func(r *ledger.Tightening) {
			r.Lot, r.Person, r.Tool = storetest.OtherStainlessLot, storetest.Visitor, storetest.ImpactWrench
		})
		d.correct(withdrawn, nil)
		d.keep(storetest.NewCalibration(storetest.DenverWrench))

		head, joints := d.handover("RVB/CT1")
		if head.Place != d.place("RVB/CT1") || head.Joints != 6 || len(joints) != 6 || head.ReadTime.IsZero() || time.Since(head.ReadTime) > time.Hour {
			t.Errorf("head %+v with %d joints", head, len(joints))
		}
		site, err := d.s.Site(ctx, storetest.Denver)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(site, head.Site); diff != "" {
			t.Errorf("site (-registered +head):\n%s", diff)
		}
		report := soundReport(t, d.s)
		for _, s := range report.Sites {
			if s.Site == storetest.Denver && (s.Records != head.Sequence || s.Head != head.Link.String()) {
				t.Errorf("chain of %d records ending at %s; expected %d and %s", head.Sequence, head.Link, s.Records, s.Head)
			}
		}
		people := []string{storetest.DenverPerson, storetest.Visitor, storetest.KolkataPerson}
		if diff := cmp.Diff(people, head.People, cmpopts.SortSlices(func(a, b string) bool { return a < b })); diff != "" {
			t.Errorf("people (-want +got):\n%s", diff)
		}
		numbers := mapped(head.Lots, func(l ledger.Lot) string { return l.Number })
		if diff := cmp.Diff([]string{storetest.StainlessLot, storetest.GalvanizedLot, seamLot}, numbers); diff != "" {
			t.Errorf("lots (-want +got):\n%s", diff)
		}
		before, err := d.s.Specification(ctx, storetest.Galvanized, 1)
		if err != nil {
			t.Fatal(err)
		}
		refs := mapped(head.Specifications, func(v ledger.Specification) ledger.SpecificationRef {
			return ledger.SpecificationRef{Code: v.Code, Revision: v.Version}
		})
		wantRefs := []ledger.SpecificationRef{{Code: storetest.Galvanized, Revision: 1}, {Code: storetest.Galvanized, Revision: 2}, {Code: storetest.Stainless, Revision: 1}, {Code: storetest.Seam, Revision: 1}}
		if diff := cmp.Diff(wantRefs, refs); diff != "" {
			t.Fatalf("specifications (-want +got):\n%s", diff)
		}
		if diff := cmp.Diff([]ledger.Specification{before, changed}, head.Specifications[:2]); diff != "" {
			t.Errorf("revisions (-want +got):\n%s", diff)
		}
		d.wantTools(head)
		for i, j := range joints {
			want := d.history(j.Status.Joint.Place.String())
			if diff := cmp.Diff(want, j.Items, cmpopts.EquateEmpty()); diff != "" {
				t.Errorf("joint %d (-history +hand-over):\n%s", i, diff)
			}
			if diff := cmp.Diff(d.status(j.Status.Joint.Place.String()), j.Status); diff != "" {
				t.Errorf("joint %d (-status +hand-over):\n%s", i, diff)
			}
			if i > 0 && joints[i-1].Status.Joint.Place.String() >= j.Status.Joint.Place.String() {
				t.Errorf("joint %s comes before %s", joints[i-1].Status.Joint.Place, j.Status.Joint.Place)
			}
		}
	})
}

// wantTools checks that each wrench is listed with the one of its calibrations
// that was the newest when it was used: of several, neither the one before nor
// the one after.
func (d *diary) wantTools(head store.HandoverHead) {
	d.t.Helper()
	var serials []string
	for _, listed := range head.Tools {
		serials = append(serials, listed.Tool.Serial)
		registered, err := d.s.Tool(context.Background(), listed.Tool.Serial)
		if err != nil {
			d.t.Fatal(err)
		}
		if diff := cmp.Diff(registered, listed.Tool); diff != "" {
			d.t.Errorf("tool (-registered +listed):\n%s", diff)
		}
		all, _, err := d.s.Records(context.Background(), store.RecordFilter{Kind: ledger.KindCalibration, Tool: listed.Tool.Serial}, store.Page{Size: 10})
		if err != nil {
			d.t.Fatal(err)
		}
		newest := all[0]
		if listed.Tool.Serial == storetest.DenverWrench {
			newest = all[1] // of three
		}
		if diff := cmp.Diff([]ledger.Record{newest}, mapped(listed.Calibrations, func(c *ledger.Calibration) ledger.Record { return c })); diff != "" {
			d.t.Errorf("calibrations of %s (-want +got):\n%s", listed.Tool.Serial, diff)
		}
	}
	if diff := cmp.Diff([]string{seamDriver, storetest.DenverWrench, storetest.KolkataWrench}, serials); diff != "" {
		d.t.Errorf("tools (-want +got):\n%s", diff)
	}
}

// What a site has to decide beside its joints keeps the site back, not its
// towers.
func TestHandoverOfASite(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		missing := func(place string) (n int) {
			head, _ := d.handover(place)
			for _, m := range head.Missing {
				if m.Place == d.place("RVB") {
					n++
				}
			}
			return n
		}
		if n := missing("RVB"); n != 0 {
			t.Errorf("%d things missing at the site before anything happened", n)
		}
		d.keep(&ledger.Incident{Kind: ledger.NearMiss, Site: "RVB", Action: "barrier put up"})
		d.keep(&ledger.Incident{Kind: ledger.CoatingDamage, Site: "KVR"})
		withdrawn := &ledger.Incident{Kind: ledger.CoatingDamage, Site: "RVB"}
		d.keep(withdrawn)
		d.correct(withdrawn, nil)
		yard := &ledger.Incident{Kind: ledger.CoatingDamage, Site: "RVB", Action: "painted"}
		d.keep(yard)
		if site, tower := missing("RVB"), missing("RVB/CT1"); site != 1 || tower != 0 {
			t.Errorf("%d things missing at the site, %d at its tower; expected 1 and 0", site, tower)
		}
		d.decide(yard.ID)
		if n := missing("RVB"); n != 0 {
			t.Errorf("%d things missing at the site after the decision", n)
		}
	})
}

func TestHandoverIsRefused(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		outcomes, err := d.s.RegisterCells(ctx, []ledger.Cell{{Place: d.place("RVB/CT2/C9")}}, store.Change{})
		wantStates(t, outcomes, err, store.Taken)
		head := func(store.HandoverHead) error { t.Error("a head was given"); return nil }
		joint := func(store.HandoverJoint) error { t.Error("a joint was given"); return nil }
		err = d.s.Handover(ctx, d.place("RVB/CT2/C9"), head, joint)
		if e := wantError(t, err, ledger.KindPrecondition, ledger.ReasonEmptyPlace, "cell RVB/CT2/C9 has no joints"); e.Resource != "sites/RVB/towers/CT2/cells/C9" {
			t.Errorf("resource %q", e.Resource)
		}
		err = d.s.Handover(ctx, d.place("RVB/CT2/C8"), head, joint)
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource, "RVB/CT2/C8")
		err = d.s.Handover(ctx, ledger.Place{}, head, joint)
		wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField)

		// An error of the caller's is given back as it is.
		stop := errors.New("line is gone")
		if err := d.s.Handover(ctx, d.place("RVB"), func(store.HandoverHead) error { return stop }, joint); err != stop { //nolint:errorlint // the very error
			t.Errorf("%v from the head; expected %v", err, stop)
		}
		given := 0
		err = d.s.Handover(ctx, d.place("RVB"), func(store.HandoverHead) error { return nil }, func(store.HandoverJoint) error { given++; return stop })
		if err != stop || given != 1 { //nolint:errorlint // the very error
			t.Errorf("%v after %d joints; expected %v after 1", err, given, stop)
		}
	})
}

// Head and joints are of one state of the database, whatever is recorded while
// they are read.
func TestHandoverIsOfOneState(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		d.finish()
		var missing int
		var joints []store.HandoverJoint
		err := d.s.Handover(context.Background(), d.place("RVB/CT1/C1"), func(h store.HandoverHead) error {
			missing = len(h.Missing)
			d.hold(structural)
			return nil
		}, func(j store.HandoverJoint) error {
			joints = append(joints, j)
			return nil
		})
		if err != nil || missing != 0 {
			t.Fatalf("%d things missing, %v", missing, err)
		}
		if len(joints[0].Status.OpenHolds) != 0 {
			t.Errorf("the head says complete, and joint %s is on hold", joints[0].Status.Joint.Place)
		}
		if after := d.status(structural); len(after.OpenHolds) != 1 {
			t.Errorf("holds afterwards: %+v", after.OpenHolds)
		}
	})
}
