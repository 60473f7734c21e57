package outbox

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	pb "jointledger/proto/jointledger/v1"
)

// ConflictError says that what was asked does not fit what is here; the disk is at no
// fault.
type ConflictError struct{ message string }

func (e *ConflictError) Error() string { return e.message }

func conflict(format string, args ...any) error { return &ConflictError{fmt.Sprintf(format, args...)} }

// Result says what came of keeping records.
type Result struct {
	// Known has, for each record, the entry that was here already with the same
	// content; nil for one that is new.
	Known []*Entry
	Count Count
}

// Keep keeps records, all or none: when it returns without an error, they are on the
// disk. The same id with the same content is kept once. Errors: one that begins with
// `not kept` when the disk did not take them, with the file as it was before;
// ConflictError when an id is here with other content, or when what is replaced is not
// an entry that was refused.
func (o *Outbox) Keep(drafts ...Draft) (Result, error) {
	var result Result
	fresh := make([]event, len(drafts))
	for i, d := range drafts {
		var err error
		if fresh[i], err = d.event(); err != nil {
			return result, err
		}
	}
	err := o.locked(true, func(f *file) error {
		result = Result{Known: make([]*Entry, len(drafts)), Count: f.head.count}
		var events []event
		for i, d := range drafts {
			known, err := f.admit(d, fresh[i], &result.Count)
			if err != nil {
				return err
			}
			if result.Known[i] = known; known == nil {
				events = append(events, fresh[i])
			}
		}
		if len(events) == 0 {
			return nil
		}
		return f.append(events, result.Count)
	})
	return result, err
}

// admit gives the entry that is here already as the draft says it, and counts one
// that is new.
func (f *file) admit(d Draft, e event, count *Count) (*Entry, error) {
	if !d.New || d.Replaces != uuid.Nil {
		have, err := f.load()
		if err != nil {
			return nil, err
		}
		if known := have.byID[d.ID]; known != nil {
			if !bytes.Equal(known.record, e.body) {
				return nil, conflict("not kept: the id %s was used before on this device with other content", d.ID)
			}
			return known, nil
		}
		if d.Replaces != uuid.Nil {
			mended := have.byID[d.Replaces]
			if mended == nil || mended.State != Refused {
				return nil, conflict("not kept: %s is not an entry that was refused", d.Replaces)
			}
			count.Refused--
		}
	}
	count.Waiting++
	return nil, nil
}

// Note notes a record that was not kept here first, since the server took it at
// once: so that it can be undone as the others.
func (o *Outbox) Note(d Draft) error {
	e, err := d.event()
	if err != nil {
		return err
	}
	return o.locked(true, func(f *file) error {
		have, err := f.load()
		if err != nil || have.byID[d.ID] != nil {
			return err
		}
		return f.append([]event{e, {what: delivered, id: d.ID, at: d.At}}, f.head.count)
	})
}

// Entries are all that are here, in the order in which they were kept; none where
// nothing was ever kept. What was delivered stays for a while, see compactAbove.
func (o *Outbox) Entries() ([]*Entry, error) {
	var list []*Entry
	err := o.locked(false, func(f *file) error {
		have, err := f.load()
		if err == nil {
			list = have.list
		}
		return err
	})
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	return list, err
}

// Count is how many entries are not settled.
func (o *Outbox) Count() (Count, error) {
	var c Count
	err := o.locked(false, func(f *file) error {
		c = f.head.count
		return nil
	})
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	return c, err
}

// Answer is what the server said of one entry: delivered when Refusal is nil.
type Answer struct {
	ID      uuid.UUID
	Refusal *pb.Refusal
}

// Answered notes what the server said.
func (o *Outbox) Answered(answers []Answer, at time.Time) (Count, error) {
	var events []event
	for _, a := range answers {
		e := event{what: delivered, id: a.ID, at: at}
		if a.Refusal != nil {
			body, err := proto.Marshal(a.Refusal)
			if err != nil {
				return Count{}, fmt.Errorf("the refusal of %s can't be written: %w", a.ID, err)
			}
			e.what, e.body = refused, body
		}
		events = append(events, e)
	}
	return o.note(events)
}

// Withdraw settles an entry that was refused: it is not needed. Errors:
// ConflictError when it is not one that was refused.
func (o *Outbox) Withdraw(id uuid.UUID, reason string, at time.Time) (Count, error) {
	return o.note([]event{{what: withdrawn, id: id, at: at, body: []byte(reason)}}, id)
}

// Again puts entries that were refused back among those that wait: what was in the
// way may be gone. Errors: ConflictError when one is not an entry that was
// refused.
func (o *Outbox) Again(ids []uuid.UUID, at time.Time) (Count, error) {
	var events []event
	for _, id := range ids {
		events = append(events, event{what: again, id: id, at: at})
	}
	return o.note(events, ids...)
}

// note appends what happened to entries that are here, of which some must have been
// refused.
func (o *Outbox) note(events []event, mustBeRefused ...uuid.UUID) (Count, error) {
	if len(events) == 0 {
		return o.Count()
	}
	var c Count
	err := o.locked(false, func(f *file) error {
		have, err := f.load()
		if err != nil {
			return err
		}
		for _, id := range mustBeRefused {
			if e := have.byID[id]; e == nil || e.State != Refused {
				return conflict("%s is not an entry that was refused", id)
			}
		}
		after := f.countAfter(events)
		if err := f.append(events, after); err != nil {
			return err
		}
		c = after
		return f.compact()
	})
	if errors.Is(err, fs.ErrNotExist) {
		return c, fmt.Errorf("the outbox in %s is gone", o.folder)
	}
	return c, err
}

// countAfter is what will not be settled when the events have been taken in.
func (f *file) countAfter(events []event) Count {
	states := map[uuid.UUID]State{}
	c := f.head.count
	for _, e := range events {
		entry := f.read.byID[e.id]
		if entry == nil {
			continue
		}
		before, changed := states[e.id]
		if !changed {
			before = entry.State
		}
		after := stateAfter(before, e.what)
		states[e.id] = after
		c.add(before, -1)
		c.add(after, 1)
	}
	return c
}

func (c *Count) add(s State, n int) {
	switch s {
	case Waiting:
		c.Waiting += n
	case Refused:
		c.Refused += n
	default: // nothing to do for the others
	}
}
