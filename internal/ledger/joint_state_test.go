package ledger_test

import (
	"testing"

	"jointledger/internal/ledger"
)

type results = map[ledger.InspectionKind]ledger.InspectionResult

// The expected states follow the order of the work on site, worked by hand:
// sealant in, bolts to torque, inspection by sample, sign-off.
func TestJointState(t *testing.T) {
	for _, c := range []struct {
		name string
		work ledger.JointWork
		want string
	}{
		{"nothing done", ledger.JointWork{Fasteners: 12}, "planned"},
		{"nothing done, seal needed", ledger.JointWork{Fasteners: 12, SealRequired: true}, "planned"},
		{"sealed", ledger.JointWork{Fasteners: 12, SealRequired: true, Sealed: true}, "sealed"},
		{"sealed though none is asked for", ledger.JointWork{Fasteners: 12, Sealed: true}, "sealed"},
		{"one fastener short", ledger.JointWork{Fasteners: 12, TightenedFirst: 11}, "planned"},
		{"sealed and one fastener short", ledger.JointWork{Fasteners: 12, TightenedFirst: 11, SealRequired: true, Sealed: true}, "sealed"},
		{"all fasteners", ledger.JointWork{Fasteners: 12, TightenedFirst: 12}, "tightened"},
		{"a replaced fastener counts again", ledger.JointWork{Fasteners: 12, TightenedFirst: 13}, "tightened"},
		{"all fasteners, seal in", ledger.JointWork{Fasteners: 12, TightenedFirst: 12, SealRequired: true, Sealed: true}, "tightened"},
		{"bolted without its seal", ledger.JointWork{Fasteners: 12, TightenedFirst: 12, SealRequired: true}, "planned"},
		{"no fasteners known and none tightened", ledger.JointWork{}, "planned"},
		{"inspected", ledger.JointWork{Fasteners: 2, TightenedFirst: 2, Inspections: results{ledger.LeakTest: ledger.InspectionPass}}, "inspected"},
		{"inspected before it was tightened", ledger.JointWork{Fasteners: 2, TightenedFirst: 1, Inspections: results{ledger.LeakTest: ledger.InspectionPass}}, "planned"},
		{"one of two inspections failed", ledger.JointWork{Fasteners: 2, TightenedFirst: 2, Inspections: results{
			ledger.TorqueAudit: ledger.InspectionPass, ledger.LeakTest: ledger.InspectionFail}}, "tightened"},
		{"signed off, not drawn for inspection", ledger.JointWork{Fasteners: 2, TightenedFirst: 2, SignedOff: true}, "accepted"},
		{"signed off and inspected", ledger.JointWork{Fasteners: 2, TightenedFirst: 2, SignedOff: true, Inspections: results{
			ledger.VisualInspection: ledger.InspectionPass}}, "accepted"},
		{"signed off over a failed inspection", ledger.JointWork{Fasteners: 2, TightenedFirst: 2, SignedOff: true, Inspections: results{
			ledger.VisualInspection: ledger.InspectionFail}}, "tightened"},
		{"signed off with the work missing", ledger.JointWork{Fasteners: 2, TightenedFirst: 1, SignedOff: true}, "planned"},
	} {
		for _, held := range []bool{false, true} {
			c.work.OnHold = held
			got := c.work.Status()
			if word := ledger.JointStates.Name(got.State); word != c.want || got.OnHold != held {
				t.Errorf("%s: %s, on hold %v; expected %s, on hold %v", c.name, word, got.OnHold, c.want, held)
			}
		}
	}
}

func TestEveryJointStateHasAWord(t *testing.T) {
	for s := ledger.JointPlanned; s <= ledger.JointAccepted; s++ {
		if back, err := ledger.JointStates.Parse(ledger.JointStates.Name(s)); err != nil || back != s {
			t.Errorf("state %d: %q reads back as %d, %v", s, ledger.JointStates.Name(s), back, err)
		}
	}
	if ledger.JointStates.Known(ledger.JointAccepted + 1) {
		t.Error("a state beyond accepted has a word")
	}
}
