package store

import (
	"cmp"
	"encoding/binary"
	"slices"
	"time"
)

// workedCell is a cell as it is remembered: its joints as the register has them, and
// what their records say, each packed into a few bytes a joint, for there are millions.
// Neither holds a figure that can't be had again from the database.
type workedCell struct {
	id, tower int32
	joints    []byte // in the order of their keys
	work      []byte // in the order of workEvent.compare
}

// workedJoint is a joint as the register has it, with what its records say.
type workedJoint struct {
	id, cell, tower, specification int
	fasteners                      int64
	// events are the first passes by time, those of one time as they were taken in, and
	// then the seals. Withdrawn and replaced ones are not among them. They are only there
	// while the joint is being looked at.
	events []workEvent
}

// workEvent is a first pass or a seal of a joint. A seal has no fasteners and no day.
type workEvent struct {
	joint, at      int64
	day, fasteners int32
	seal           bool
}

func (e workEvent) compare(f workEvent) int {
	if e.seal != f.seal && e.joint == f.joint {
		if f.seal {
			return -1
		}
		return 1
	}
	return cmp.Or(cmp.Compare(e.joint, f.joint), cmp.Compare(e.at, f.at))
}

// done is how many fasteners reached torque in a first pass up to a moment.
func (j *workedJoint) done(asOf int64) (fasteners int64) {
	for _, e := range j.events {
		if e.at <= asOf {
			fasteners += int64(e.fasteners)
		}
	}
	return fasteners
}

// sealed says whether the joint was sealed up to a moment.
func (j *workedJoint) sealed(asOf int64) bool {
	return slices.ContainsFunc(j.events, func(e workEvent) bool { return e.seal && e.at <= asOf })
}

// full is when the last of the joint's fasteners reached torque, with the day of that
// at the site; zero while some are missing.
func (j *workedJoint) full() (at time.Time, day int) {
	if j.fasteners == 0 {
		return time.Time{}, 0
	}
	sum := int64(0)
	for _, e := range j.events {
		before := sum
		if sum += int64(e.fasteners); before < j.fasteners && sum >= j.fasteners {
			return fromMicro(e.at), int(e.day)
		}
	}
	return time.Time{}, 0
}

// What the first varint of a packed joint says besides its fasteners, which are its
// higher bits.
const (
	nextJoint           = 1 << iota // the key is one more than that before
	specificationBefore             // the specification is that of the joint before
)

const jointBits = 2

// jointPacker packs joints, which come in the order of their keys.
type jointPacker struct {
	packed            []byte
	id, specification int
}

func (p *jointPacker) add(j *workedJoint) {
	head := uint64(j.fasteners) << jointBits
	if j.id == p.id+1 {
		head |= nextJoint
	}
	if j.specification == p.specification {
		head |= specificationBefore
	}
	p.packed = binary.AppendUvarint(p.packed, head)
	if head&nextJoint == 0 {
		p.packed = binary.AppendUvarint(p.packed, uint64(j.id-p.id))
	}
	if head&specificationBefore == 0 {
		p.packed = binary.AppendUvarint(p.packed, uint64(j.specification))
	}
	p.id, p.specification = j.id, j.specification
}

// What the first varint of a packed event says besides its fasteners, which are its
// higher bits.
const (
	sameJoint    = 1 << iota // as the event before
	eventOfNext              // the joint's key is one more than that before
	isSeal                   // and no first pass
	dayElsewhere             // the day at the site is not that in UTC
)

const eventBits = 4

const (
	microsPerSecond = int64(time.Second / time.Microsecond)
	microsPerDay    = 24 * microsPerHour
)

// packEvents packs events, which must be in order.
func packEvents(events []workEvent) (packed []byte) {
	var last workEvent
	for _, e := range events {
		head, day := uint64(e.fasteners)<<eventBits, int32(floorDay(e.at))
		switch e.joint {
		case last.joint:
			head |= sameJoint
		case last.joint + 1:
			head |= eventOfNext
		}
		switch {
		case e.seal:
			head |= isSeal
		case e.day != day:
			head |= dayElsewhere
		}
		packed = binary.AppendUvarint(packed, head)
		if head&(sameJoint|eventOfNext) == 0 {
			packed = binary.AppendUvarint(packed, uint64(e.joint-last.joint))
		}
		if head&dayElsewhere != 0 {
			packed = binary.AppendVarint(packed, int64(e.day-day))
		}
		packed = appendMicros(packed, e.at-last.at)
		last = e
	}
	return slices.Clone(packed) // without the room that it grew by
}

// eventReader gives packed events one after another.
type eventReader struct {
	rest []byte
	last workEvent
}

func (r *eventReader) next() (e workEvent, ok bool) {
	if len(r.rest) == 0 {
		return e, false
	}
	head := r.uvarint()
	e = workEvent{joint: r.last.joint, fasteners: int32(head >> eventBits), seal: head&isSeal != 0}
	switch {
	case head&sameJoint != 0:
	case head&eventOfNext != 0:
		e.joint++
	default:
		e.joint += int64(r.uvarint())
	}
	elsewhere := int32(0)
	if head&dayElsewhere != 0 {
		elsewhere = int32(r.varint())
	}
	e.at = r.last.at + r.micros()
	if !e.seal {
		e.day = int32(floorDay(e.at)) + elsewhere
	}
	r.last = e
	return e, true
}

func (r *eventReader) uvarint() uint64 {
	v, n := binary.Uvarint(r.rest)
	r.rest = r.rest[n:]
	return v
}

func (r *eventReader) varint() int64 {
	v, n := binary.Varint(r.rest)
	r.rest = r.rest[n:]
	return v
}

// appendMicros packs a span: most are whole seconds.
func appendMicros(packed []byte, span int64) []byte {
	if span%microsPerSecond == 0 {
		return binary.AppendVarint(packed, span/microsPerSecond*2)
	}
	return binary.AppendVarint(packed, span*2+1)
}

func (r *eventReader) micros() int64 {
	v := r.varint()
	if v&1 == 0 {
		return v / 2 * microsPerSecond
	}
	return (v - 1) / 2
}

// floorDay is the day in UTC of a moment, counted from 1970-01-01.
func floorDay(at int64) int64 {
	day := at / microsPerDay
	if at%microsPerDay < 0 {
		day--
	}
	return day
}

// each gives every joint of the cell that the register knows; give must keep nothing of
// it.
func (c *workedCell) each(give func(j *workedJoint)) {
	joints, events := eventReader{rest: c.joints}, eventReader{rest: c.work}
	e, more := events.next()
	j := workedJoint{cell: int(c.id), tower: int(c.tower)}
	for len(joints.rest) > 0 {
		head := joints.uvarint()
		j.id++
		if head&nextJoint == 0 {
			j.id += int(joints.uvarint()) - 1
		}
		if head&specificationBefore == 0 {
			j.specification = int(joints.uvarint())
		}
		j.fasteners, j.events = int64(head>>jointBits), j.events[:0]
		for ; more && e.joint <= int64(j.id); e, more = events.next() {
			if e.joint == int64(j.id) {
				j.events = append(j.events, e)
			}
		}
		give(&j)
	}
}

// take adds events to the cell; those of the joints that are named anew replace what was
// known of them.
func (c *workedCell) take(anew map[int64]int32, events []workEvent) {
	all := make([]workEvent, 0, len(c.work)/4+len(events))
	for r := (eventReader{rest: c.work}); ; {
		e, ok := r.next()
		if !ok {
			break
		}
		if _, is := anew[e.joint]; !is {
			all = append(all, e)
		}
	}
	all = append(all, events...)
	slices.SortStableFunc(all, workEvent.compare)
	c.work = packEvents(all)
}
