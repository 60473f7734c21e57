package cli

import (
	"path/filepath"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	packed "jointledger/internal/carry/section"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// cellOf is the section of a cell with one joint, and open holds on it.
func cellOf(t *testing.T, tightened int64, holds ...*ledger.Hold) packed.Section {
	t.Helper()
	cell := ledger.Place{Site: "ASH", Tower: "CT1", Cell: "C1"}
	joint := cell
	joint.Joint = "J1"
	s, err := packed.OfCell(known.CellPast{Cell: ledger.Cell{Place: cell}, Holds: holds, Joints: []known.JointWork{{
		JointPast: known.JointPast{Joint: ledger.Joint{Place: joint, Kind: ledger.JointStructural, Specification: "S1", Fasteners: 12}},
		Work:      ledger.JointWork{Fasteners: 12, TightenedFirst: tightened},
	}}})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The guided mode takes up what the server has since, also while somebody still reads
// what was before, and shows the holds that wait on this device beside the carried ones.
func TestShiftDataAreKeptFresh(t *testing.T) {
	rules := packed.RulesSum()
	folder := t.TempDir()
	plan, before, after := carriedPlan(t, "Europe/Dublin"), cellOf(t, 0), cellOf(t, 7)
	carried := filepath.Join(folder, "carried")
	head := pack.Head{Site: "ASH", AsOf: runClock.Add(-time.Hour), RulesSum: rules, Sections: []pack.Named{{Name: plan.Name, Sum: plan.Sum()}, {Name: before.Name, Sum: before.Sum()}}}
	if _, err := pack.Replace(carried, head, map[packed.Sum][]byte{plan.Sum(): plan.Packed(), before.Sum(): before.Packed()}); err != nil {
		t.Fatal(err)
	}
	server := &carryServer{parts: []*pb.GetCarriedSiteResponse{headOfCarried("ASH", runClock, rules[:], plan, after), carriedPart(after.Name, after.Packed())}}
	a := &app{getenv: func(name string) string { return map[string]string{envFolder: folder}[name] }, now: func() time.Time { return runClock }, err: &lockedBuffer{}}
	a.settings.server, a.settings.timeout = server.start(t), 5*time.Second
	p, _, err := a.carriedFor("ASH")
	if err != nil {
		t.Fatal(err)
	}
	conn, err := a.dial()
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() // the test is over
	w := &shiftWork{a: a, place: ledger.Place{Site: "ASH", Tower: "CT1", Cell: "C1"}, box: outbox.In(outboxIn(folder)), conn: conn}
	w.carried.Store(p)
	if err := w.begin(); err != nil {
		t.Fatal(err)
	}
	left := func(want int) {
		t.Helper()
		joints, err := w.joints()
		if err != nil || len(joints) != 1 || joints[0].Left != want {
			t.Fatalf("%+v, %v; expected one joint with %d left", joints, err, want)
		}
	}
	left(12)
	w.refresh(t.Context())
	left(5)
	if s := w.now(); s.Data != 1 || s.Source != sourceOf(w.data()) || !w.data().AsOf().Equal(runClock) {
		t.Errorf("the screen is told of data %d, %s", s.Data, s.Source)
	}
	if _, ok := p.Cell(w.place); !ok || p.Err() != nil {
		t.Errorf("the data from before can't be read any more: %v", p.Err())
	}
	// A refresh that fails leaves what is there.
	server.parts = nil
	w.refresh(t.Context())
	left(5)
}

// A hold placed here is shown until it is known to be there, one that was released here
// is not; the carried ones stay.
func TestHoldsThatWait(t *testing.T) {
	cell := ledger.Place{Site: "ASH", Tower: "CT1", Cell: "C1"}
	joint := cell
	joint.Joint = "J1"
	hold := func(n byte, rule string) *ledger.Hold {
		id := testID
		id[15] = n
		return &ledger.Hold{Entry: ledger.Entry{ID: id, OccurTime: runClock, Person: "ql"}, Action: ledger.HoldPlaced, Place: joint, Rule: rule, Reason: "seen"}
	}
	released, stays := hold(1, ""), hold(2, "torque-window")
	box, _ := waitingHere(t, 0, "")
	entry := &pb.Entry{OccurTime: timestamppb.New(runClock), Person: "people/ab", Offline: true}
	placed := &pb.Hold{Name: ledger.RecordName(ledger.KindHold, hold(3, "").ID), Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: cell.Resource(), Reason: "wet", Entry: entry}
	release := &pb.Hold{Name: ledger.RecordName(ledger.KindHold, hold(4, "").ID), Action: pb.HoldAction_HOLD_ACTION_RELEASED, Place: joint.Resource(), Releases: ledger.RecordName(ledger.KindHold, released.ID), Entry: entry}
	for i, r := range []*pb.Hold{placed, release} {
		if _, err := box.Keep(outbox.Draft{ID: hold(byte(3+i), "").ID, At: runClock, New: true, Summary: "hold", Record: deliveredRecord(r)}); err != nil {
			t.Fatal(err)
		}
	}
	entries, err := box.Entries()
	if err != nil {
		t.Fatal(err)
	}
	u := unsentHoldsAt(nil, runClock.Add(-time.Hour), entries, cell)
	s, left := carriedJoint(known.JointWork{JointPast: known.JointPast{Joint: ledger.Joint{Place: joint, Fasteners: 12}}}, []*ledger.Hold{released, stays}, u)
	if want := []string{"torque-window: seen", "by ab (waits to be sent)"}; !left || len(s.Holds) != 2 || s.Holds[0] != want[0] || s.Holds[1] != want[1] {
		t.Errorf("the sheet has %q; expected %q", s.Holds, want)
	}
	// Data that are newer than when it was sent have it themselves.
	if _, err := box.Answered([]outbox.Answer{{ID: hold(3, "").ID}, {ID: hold(4, "").ID}}, runClock); err != nil {
		t.Fatal(err)
	}
	if entries, err = box.Entries(); err != nil {
		t.Fatal(err)
	}
	if words := unsentHoldsAt(nil, runClock.Add(-time.Hour), entries, cell).words(joint, nil); len(words) != 1 || words[0] != "by ab (sent since)" {
		t.Errorf("after it was sent: %q", words)
	}
	if words := unsentHoldsAt(nil, runClock.Add(time.Hour), entries, cell).words(joint, nil); len(words) != 0 {
		t.Errorf("by newer data: %q", words)
	}
}
