package store_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// status reads the status of one joint; the joint itself must be as registered.
func (d *diary) status(joint string) store.JointStatus {
	d.t.Helper()
	found, next, err := d.s.JointStates(context.Background(), d.place(joint), false, store.Page{Size: 10})
	if err != nil || len(found) != 1 || next != "" {
		d.t.Fatalf("%d joints, next %q, %v", len(found), next, err)
	}
	want, err := d.s.Joint(context.Background(), d.place(joint))
	if err != nil {
		d.t.Fatal(err)
	}
	if diff := cmp.Diff(want, found[0].Joint); diff != "" {
		d.t.Errorf("the joint (-registered +with its status):\n%s", diff)
	}
	return found[0]
}

// wantStatus checks what is derived for a joint.
func (d *diary) wantStatus(when, joint string, state ledger.JointState, tightened int64, full time.Time, holds ...uuid.UUID) {
	d.t.Helper()
	got := d.status(joint)
	if got.State != state || got.Tightened != tightened || !got.TightenedTime.Equal(full) {
		d.t.Errorf("%s: %s, %d tightened at %v; expected %s, %d at %v", when,
			ledger.JointStates.Name(got.State), got.Tightened, got.TightenedTime, ledger.JointStates.Name(state), tightened, full)
	}
	if diff := cmp.Diff(holds, mapped(got.OpenHolds, func(h *ledger.Hold) uuid.UUID { return h.ID }), cmpopts.EquateEmpty()); diff != "" {
		d.t.Errorf("%s: open holds (-want +got):\n%s", when, diff)
	}
}

// The states of a joint follow its records, step by step and back.
func TestJointStatesFollowRecords(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		var none time.Time
		d.wantStatus("at first", seam, ledger.JointPlanned, 0, none)
		sealing := d.seal(seam)
		d.wantStatus("sealed", seam, ledger.JointSealed, 0, none)
		d.tighten(seam, 25)
		d.wantStatus("partly tightened", seam, ledger.JointSealed, 25, none)
		again := d.tighten(seam, 40, func(r *ledger.Tightening) { r.Pass = ledger.PassRetightening })
		d.wantStatus("gone over again", seam, ledger.JointSealed, 25, none)
		last := d.tighten(seam, 15)
		d.wantStatus("tightened", seam, ledger.JointTightened, 40, last.OccurTime)
		d.tighten(seam, 1)
		d.wantStatus("one more attempt", seam, ledger.JointTightened, 41, last.OccurTime)
		d.correct(sealing, nil)
		d.wantStatus("sealing withdrawn", seam, ledger.JointPlanned, 41, last.OccurTime)
		d.seal(seam)
		d.correct(again, nil)
		d.inspect(seam, ledger.LeakTest, ledger.InspectionPass)
		d.wantStatus("inspected", seam, ledger.JointInspected, 41, last.OccurTime)
		failed := d.inspect(seam, ledger.LeakTest, ledger.InspectionFail)
		d.inspect(seam, ledger.VisualInspection, ledger.InspectionPass)
		d.wantStatus("inspection failed", seam, ledger.JointTightened, 41, last.OccurTime)
		d.correct(failed, nil)
		d.wantStatus("failure withdrawn", seam, ledger.JointInspected, 41, last.OccurTime)
		d.signOff(seam, ledger.WitnessPoint)
		d.wantStatus("witnessed", seam, ledger.JointInspected, 41, last.OccurTime)
		signed := d.signOff(seam, ledger.HoldPoint)
		d.wantStatus("signed off", seam, ledger.JointAccepted, 41, last.OccurTime)
		d.correct(signed, nil)
		d.wantStatus("sign-off withdrawn", seam, ledger.JointInspected, 41, last.OccurTime)
	})
}

// A correction moves fasteners to the joint that its replacement names, and the
// order of the records is that of their times, not of their arrival.
func TestJointStatesFollowCorrections(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		mistaken := d.tighten(mechanical, 5)
		later := d.tighten(mechanical, 3)
		d.wantStatus("before", mechanical, ledger.JointTightened, 8, later.OccurTime)
		with := storetest.NewTightening("RVB/CT1/C2/J002", func(r *ledger.Tightening) {
			r.Fasteners, r.Lot, r.Treatment, r.CompoundBatch, r.Tool, r.TorqueNewtonMetres = 8, storetest.GalvanizedLot, ledger.TreatmentNone, "", "", nil
			r.OccurTime = later.OccurTime.Add(time.Second)
		})
		d.correct(mistaken, with)
		d.wantStatus("joint that was named by mistake", mechanical, ledger.JointPlanned, 3, time.Time{})
		d.wantStatus("joint of the replacement", "RVB/CT1/C2/J002", ledger.JointTightened, 8, with.OccurTime)

		d.now = d.now.Add(-time.Hour)
		d.tighten(mechanical, 5, func(r *ledger.Tightening) { r.Tool = "" })
		d.wantStatus("what came earlier arrived later", mechanical, ledger.JointTightened, 8, later.OccurTime)
	})
}

func TestJointStatesOnHold(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		var none time.Time
		onCell := d.hold("RVB/CT1/C1")
		onJoint := d.hold(structural)
		d.hold("RVB/CT1/C2/J001")
		d.hold("RVB/CT2/C1")
		d.holdLot(storetest.StainlessLot, storetest.Denver)
		d.wantStatus("both", structural, ledger.JointPlanned, 0, none, onCell.ID, onJoint.ID)
		d.wantStatus("neighbour", mechanical, ledger.JointPlanned, 0, none, onCell.ID)
		d.release(onCell)
		d.wantStatus("cell released", structural, ledger.JointPlanned, 0, none, onJoint.ID)
		d.wantStatus("neighbour released", mechanical, ledger.JointPlanned, 0, none)
		d.release(onJoint)
		d.wantStatus("released", structural, ledger.JointPlanned, 0, none)

		// What a rule finds places a hold of its own.
		outcome := d.keep(storetest.NewTightening(structural, func(r *ledger.Tightening) { r.Tool = storetest.ImpactWrench; r.Lot = storetest.GalvanizedLot }))
		holds := d.status(structural).OpenHolds
		if len(outcome.Findings) == 0 || len(holds) != 1 || holds[0].Rule != "fastener-substituted" || holds[0].Reason == "" {
			t.Errorf("findings %+v placed %+v; expected one hold", outcome.Findings, holds)
		}
	})
}

// A sign-off of a cell or a tower accepts what it holds and nothing beside it.
func TestSignOffsReachDown(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		for where, accepted := range map[string]string{"RVB/CT1/C1/J002": "1", "RVB/CT1/C1": "1", "RVB/CT1": "12", "KVR/CT1": "4", "RVB/CT2/C1": "3"} {
			t.Run(where, func(t *testing.T) {
				t.Parallel()
				d := newDiary(t, e)
				cells := []string{"RVB/CT1/C1", "RVB/CT1/C2", "RVB/CT2/C1", "KVR/CT1/C1"}
				for _, c := range cells {
					d.tighten(c+"/J002", 8)
				}
				d.signOff(where, ledger.HoldPoint)
				var got string
				for i, c := range cells {
					if d.status(c+"/J002").State == ledger.JointAccepted {
						got += fmt.Sprint(i + 1)
					}
				}
				if got != accepted {
					t.Errorf("accepted in cells %s; expected %s", got, accepted)
				}
			})
		}
	})
}

func TestJointStatesList(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		// More joints than are looked at in one go, most of which are accepted.
		const many = 700
		var more []ledger.Joint
		for i := range many {
			more = append(more, ledger.Joint{Place: d.place(fmt.Sprintf("RVB/CT2/C1/K%04d", i)), Kind: ledger.JointMechanical, Specification: storetest.Galvanized, Fasteners: 2})
		}
		outcomes, err := d.s.RegisterJoints(ctx, more, store.Change{})
		if err != nil || outcomes[many-1].State != store.Taken {
			t.Fatal(outcomes[many-1], err)
		}
		var work []ledger.Record
		for i, j := range more {
			if i%100 != 99 {
				work = append(work, storetest.NewTightening(j.Place.String(), func(r *ledger.Tightening) {
					r.Fasteners, r.Tool, r.Lot, r.Treatment, r.CompoundBatch, r.TorqueNewtonMetres = 2, "", storetest.GalvanizedLot, ledger.TreatmentNone, "", nil
				}))
			}
		}
		storetest.Record(t, d.s, work...)
		d.signOff("RVB/CT2/C1", ledger.HoldPoint)
		d.hold("RVB/CT2/C1/K0042")

		for _, test := range []struct {
			place     string
			remaining bool
			want      int
		}{
			{"", false, many + 12}, {"RVB", false, many + 9}, {"RVB/CT2", false, many + 3}, {"RVB/CT1/C2", false, 3}, {structural, false, 1},
			{"RVB/CT2", true, 7 + 3 + 1}, {"RVB/CT2/C1/K0001", true, 0}, {"RVB/CT2/C1/K0042", true, 1}, {"KVR", true, 3},
		} {
			var place ledger.Place
			if test.place != "" {
				place = d.place(test.place)
			}
			for _, size := range []int{1000, 5} {
				if size == 5 && test.want > 20 {
					size = 333
				}
				found := inPages(t, size, func(p store.Page) ([]store.JointStatus, string, error) {
					return d.s.JointStates(ctx, place, test.remaining, p)
				})
				if len(found) != test.want {
					t.Errorf("%s, remaining only %v, in pages of %d: %d joints; expected %d", test.place, test.remaining, size, len(found), test.want)
				}
				for i, one := range found[min(1, len(found)):] {
					if a, b := found[i].Joint.Place, one.Joint.Place; a.String() >= b.String() {
						t.Fatalf("%s comes before %s", a, b)
					}
				}
			}
		}
		_, _, err = d.s.JointStates(ctx, d.place("RVB/CT1/C3"), false, store.Page{Size: 5})
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource, "RVB/CT1/C3")
	})
}
