package store_test

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

func (d *diary) history(joint string) []store.HistoryItem {
	d.t.Helper()
	status, items, err := d.s.JointHistory(context.Background(), d.place(joint))
	if err != nil {
		d.t.Fatal(err)
	}
	if diff := cmp.Diff(d.status(joint), status); diff != "" {
		d.t.Errorf("status of %s (-listed +in its history):\n%s", joint, diff)
	}
	return items
}

// wantHistory checks that a history has these records, each as FindRecord reads
// it, and no other.
func (d *diary) wantHistory(joint string, want ...ledger.Record) []store.HistoryItem {
	d.t.Helper()
	items := d.history(joint)
	var stored []ledger.Record
	for _, r := range want {
		one, err := d.s.FindRecord(context.Background(), r.RecordKind(), r.Head().ID)
		if err != nil {
			d.t.Fatal(err)
		}
		stored = append(stored, one)
	}
	if diff := cmp.Diff(stored, mapped(items, func(i store.HistoryItem) ledger.Record { return i.Record })); diff != "" {
		d.t.Errorf("history of %s (-want +got):\n%s", joint, diff)
	}
	return items
}

// Everything on record about a joint is told in the order in which it happened,
// and nothing of its neighbours.
func TestJointHistory(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		sealing := d.seal(seam)
		first := d.tighten(seam, 10)
		d.tighten(mechanical, 8)
		leak := d.happen(ledger.Leak, seam, func(r *ledger.Incident) { r.Tool, r.Lot = "", seamLot })
		onCell := d.hold("RVB/CT1/C1")
		d.hold("RVB/CT1/C2")
		onJoint := d.hold(seam)
		decided := d.decide(leak.ID)
		cellReleased := d.release(onCell)
		jointReleased := d.release(onJoint)
		inspection := d.inspect(seam, ledger.LeakTest, ledger.InspectionPass)
		joint := d.signOff(seam, ledger.WitnessPoint)
		cell := d.signOff("RVB/CT1/C1", ledger.HoldPoint)
		tower := d.signOff("RVB/CT1", ledger.HoldPoint)
		d.signOff("RVB/CT2", ledger.HoldPoint)
		d.signOff("RVB/CT1/C2", ledger.HoldPoint)
		d.correct(cell, nil)
		told := d.history(seam)
		withdrawal := told[len(told)-1].Record

		items := d.wantHistory(seam, sealing, first, leak, onCell, onJoint, decided, cellReleased, jointReleased, inspection, joint, cell, tower, withdrawal)
		if c, ok := withdrawal.(*ledger.Correction); !ok || c.Corrects != cell.ID || items[10].Record.Head().CorrectedBy != c.ID {
			t.Errorf("the cell's sign-off was withdrawn by %+v and says %v", withdrawal, items[10].Record.Head().CorrectedBy)
		}
		// The neighbour shares what was of the cell and of the tower only.
		d.wantHistory(structural, onCell, cellReleased, cell, tower, withdrawal)

		_, _, err := d.s.JointHistory(context.Background(), d.place("RVB/CT1/C1"))
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource, "RVB/CT1/C1")
		_, _, err = d.s.JointHistory(context.Background(), d.place("RVB/CT1/C1/J01"))
		wantUnknown(t, err, d.place("RVB/CT1/C1/J01").Resource(), structural[len("RVB/CT1/C1/"):])
	})
}

// Both records of a correction stay readable, each at its joint, and the
// correction is told at both.
func TestHistoryOfACorrection(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		other := "RVB/CT1/C2/J001"
		mistaken := d.tighten(structural, 8)
		with := storetest.NewTightening(other)
		with.Offline, with.Tool = true, ""
		correction := d.correct(mistaken, with)
		items := d.wantHistory(structural, mistaken, correction)
		if by := items[0].Record.Head().CorrectedBy; by != correction.ID {
			t.Errorf("corrected by %v; expected %v", by, correction.ID)
		}
		items = d.wantHistory(other, with, correction)
		if by := items[0].Record.Head().CorrectedBy; by != uuid.Nil {
			t.Errorf("the replacement is corrected by %v", by)
		}
	})
}

// Findings and attachments stand with the record that they are about.
func TestHistoryCarriesFindingsAndAttachments(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		torque, dry := 60.0, ledger.TreatmentNone
		r := storetest.NewTightening(structural, func(r *ledger.Tightening) { r.TorqueNewtonMetres, r.Treatment = &torque, dry })
		outcome := d.keep(r)
		if len(outcome.Findings) < 3 {
			t.Fatalf("findings %+v; expected at least three", outcome.Findings)
		}
		plain := d.inspect(structural, ledger.VisualInspection, ledger.InspectionPass)
		var photos []store.Attachment
		for _, name := range []string{"b.jpg", "a.jpg"} {
			a, err := d.s.Attach(ctx, ledger.KindInspection, plain.ID, store.Attachment{FileName: name, MediaType: "image/jpeg"}, []byte("content of "+name))
			if err != nil {
				t.Fatal(err)
			}
			photos = append(photos, a)
		}
		items := d.history(structural)
		byID := map[uuid.UUID]store.HistoryItem{}
		for _, i := range items {
			byID[i.Record.Head().ID] = i
		}
		if diff := cmp.Diff(outcome.Findings, byID[r.ID].Findings); diff != "" {
			t.Errorf("findings (-answered +told):\n%s", diff)
		}
		if diff := cmp.Diff(photos, byID[plain.ID].Attachments); diff != "" {
			t.Errorf("attachments (-attached +told):\n%s", diff)
		}
		if byID[r.ID].Attachments != nil || byID[plain.ID].Findings != nil {
			t.Errorf("told at the wrong record: %+v", items)
		}
	})
}
