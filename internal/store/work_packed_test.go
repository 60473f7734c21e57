package store

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// What is packed is what comes out again, whatever the keys, moments and days are.
func TestPackedCellGivesWhatWasPacked(t *testing.T) {
	draw := rand.New(rand.NewPCG(11, 12))
	for round := range 200 {
		var want []workedJoint
		var packer jointPacker
		var events []workEvent
		id := 0
		for range draw.IntN(60) {
			if id++; draw.IntN(4) == 0 {
				id += draw.IntN(1 << 20)
			}
			j := workedJoint{id: id, cell: 7, tower: 3, specification: 1 + draw.IntN(3), fasteners: draw.Int64N(50)}
			for range draw.IntN(4) {
				e := workEvent{joint: int64(id), at: draw.Int64N(1<<52) - 1<<51, seal: draw.IntN(3) == 0}
				if draw.IntN(2) == 0 {
					e.at -= e.at % microsPerSecond
				}
				if !e.seal {
					e.fasteners, e.day = draw.Int32N(50), int32(floorDay(e.at))+draw.Int32N(3)-1
				}
				events = append(events, e)
				j.events = append(j.events, e)
			}
			slices.SortStableFunc(j.events, workEvent.compare)
			packer.add(&j)
			want = append(want, j)
		}
		c := workedCell{id: 7, tower: 3, joints: packer.packed}
		draw.Shuffle(len(events), func(i, j int) { events[i], events[j] = events[j], events[i] })
		half := len(events) / 2
		c.take(nil, events[:half])
		c.take(nil, events[half:])
		var got []workedJoint
		c.each(func(j *workedJoint) {
			one := *j
			one.events = slices.Clone(j.events)
			if len(one.events) == 0 {
				one.events = nil
			}
			got = append(got, one)
		})
		if diff := cmp.Diff(want, got, cmp.AllowUnexported(workedJoint{}, workEvent{})); diff != "" {
			t.Fatalf("round %d (-packed +read):\n%s", round, diff)
		}
	}
}

// Events of a joint that is named anew take the place of all that it had; those of its
// neighbours stay. Records of a joint that the register does not know yet wait for it.
func TestPackedCellTakesJointsAnew(t *testing.T) {
	pass := func(joint, at int64) workEvent {
		return workEvent{joint: joint, at: at, day: int32(floorDay(at)), fasteners: 4}
	}
	c := workedCell{id: 1}
	c.take(nil, []workEvent{pass(5, 10), pass(5, 20), pass(6, 10)})
	c.take(map[int64]int32{5: 1}, []workEvent{pass(5, 20)})
	var packer jointPacker
	packer.add(&workedJoint{id: 5, fasteners: 8})
	c.joints = packer.packed
	seen := func() (events [][]workEvent) {
		c.each(func(j *workedJoint) { events = append(events, slices.Clone(j.events)) })
		return events
	}
	if diff := cmp.Diff([][]workEvent{{pass(5, 20)}}, seen(), cmp.AllowUnexported(workEvent{})); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	packer.add(&workedJoint{id: 6, fasteners: 8})
	c.joints = packer.packed
	if diff := cmp.Diff([][]workEvent{{pass(5, 20)}, {pass(6, 10)}}, seen(), cmp.AllowUnexported(workEvent{})); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	c.take(map[int64]int32{6: 1}, nil)
	if got := seen(); len(got) != 2 || len(got[1]) != 0 {
		t.Errorf("after the withdrawal of its only record the joint has %v", got)
	}
}
