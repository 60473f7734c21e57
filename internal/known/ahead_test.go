package known_test

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// asked counts how often a source was asked for each thing.
type asked struct {
	*carried
	times map[string]int
}

// Joint gives a joint of the cell, whichever its tag.
func (a *asked) Joint(p ledger.Place) (known.JointPast, bool) {
	a.times[p.String()]++
	past := a.joint
	past.Joint.Place = p
	return past, p.Parent() == place.Parent()
}

func (a *asked) Lot(n string) (known.LotPast, bool) {
	a.times[n]++
	return a.carried.Lot(n)
}

func (a *asked) Tool(n string) (known.ToolPast, bool) {
	a.times[n]++
	return a.carried.Tool(n)
}

// lines are what a sheet tells, in an order that has nothing to do with time.
func lines(n int) (records []ledger.Record) {
	r := rand.New(rand.NewPCG(9, 6))
	for i := range n {
		head := ledger.Entry{OccurTime: hours(r.IntN(400) - 300), Person: "mk", Offline: true}
		binary.BigEndian.PutUint64(head.ID[8:], 1<<63|uint64(i+1))
		joint := place
		joint.Joint = fmt.Sprintf("J%d", r.IntN(n/4+1))
		switch r.IntN(6) {
		case 0:
			records = append(records, &ledger.Incident{Entry: head, Joint: joint, Kind: ledger.Galling, Lot: "L1", Fasteners: 1, Tool: "W1", Treatment: ledger.TreatmentNone})
		case 1:
			records = append(records, &ledger.Inspection{Entry: head, Joint: joint, Kind: ledger.TorqueAudit, Result: ledger.InspectionPass, Tool: "W1", ReadingsNewtonMetres: []float64{31}})
		case 2:
			records = append(records, &ledger.Incident{Entry: head, Site: "HAR", Kind: ledger.DroppedTool, Tool: "W1"})
		default:
			records = append(records, &ledger.Tightening{Entry: head, Joint: joint, Lot: "L1", Tool: "W1", Fasteners: 1 + r.IntN(9), Pass: ledger.PassFirst + ledger.Pass(r.IntN(2)),
				Treatment: ledger.TreatmentAntiSeize + ledger.Treatment(r.IntN(2)), CompoundBatch: "AS-1"})
		}
	}
	return records
}

// What was carried on from line to line gives the same as all lines before each.
func TestLinesAreJudgedAsOneByOne(t *testing.T) {
	lifted := &ledger.Hold{Entry: entry(240, -20), Action: ledger.HoldPlaced, Lot: "L1", Site: "HAR"}
	before := []ledger.Record{
		tightening(241, -30), tightening(242, -25), withdrawal(243, id(242)), lifted,
		&ledger.Hold{Entry: entry(244, 10), Action: ledger.HoldReleased, Lot: "L1", Site: "HAR", Releases: lifted.ID},
		&ledger.LotMovement{Entry: entry(245, -60), Lot: "L1", Site: "HAR", Kind: ledger.MovementCounted, Quantity: 400},
		custody(246, -40, ledger.CustodyReturned),
	}
	source := &asked{carried: site(), times: map[string]int{}}
	source.records = map[uuid.UUID]ledger.Record{id(242): before[1]}
	ahead := known.NewAhead(source, "HAR", before)
	all := before
	found := 0
	for i, r := range lines(400) {
		if !known.Carries(r) {
			t.Fatalf("%T is of no sheet", r)
		}
		want, err := known.Findings(source, r, all, hours(0))
		if err != nil {
			t.Fatal(err)
		}
		got, err := known.Findings(ahead, r, nil, hours(0))
		if d := cmp.Diff(want, got); d != "" || err != nil {
			t.Fatalf("line %d, %T %+v: %v (-one by one +carried on):\n%s", i, r, r, err, d)
		}
		found += len(want)
		ahead.Take(r)
		all = append(all, r)
	}
	if found < 400 {
		t.Errorf("%d findings: too few to show anything", found)
	}
	for _, r := range before {
		if known.Carries(r) != (r.RecordKind() == ledger.KindTightening) {
			t.Errorf("%T: carried on %t", r, known.Carries(r))
		}
	}
}

// Each thing is looked up, and what stands before it read, once: the work of a line does
// not grow with those before it.
func TestLinesAreJudgedInOneGo(t *testing.T) {
	const n = 2000
	source := &asked{carried: site(), times: map[string]int{}}
	ahead := known.NewAhead(source, "HAR", nil)
	for _, r := range lines(n) {
		if _, err := known.Findings(ahead, r, nil, time.Time{}); err != nil {
			t.Fatal(err)
		}
		ahead.Take(r)
	}
	delete(source.times, "") // what names no lot, no tool or no joint
	for name, times := range source.times {
		if times != 1 {
			t.Errorf("%s was looked up %d times, once expected", name, times)
		}
	}
	if len(source.times) < n/5 {
		t.Errorf("%d things were looked up: too few to show anything", len(source.times))
	}
}
