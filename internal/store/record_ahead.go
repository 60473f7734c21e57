package store

import (
	"context"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/visible"
)

// aheadFrom is from how many records on a batch is looked up before it is queued, and
// aheadTime how long that may take, with the wait for a connection.
const (
	aheadFrom = 500
	aheadTime = time.Second
)

// ahead is what was looked up for a batch before its turn to be written came.
type ahead struct {
	// joints are what rules want to know of its joints, as they were at an epoch of the
	// register.
	epoch  int64
	joints map[int]jointFacts
	breaks int64 // of the lineage
}

// lookAhead looks up what a large batch names, so that the writer need not do it and all
// others wait meanwhile: that is remembered. Nil for a small one, and where it does not come
// to an end: the writer then does it.
func (s *Store) lookAhead(ctx context.Context, records []ledger.Record) *ahead {
	if len(records) < aheadFrom {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, aheadTime)
	defer cancel()
	a := &ahead{breaks: s.lineage.breaks.Load()}
	s.checked.prepare(ctx, s.read)
	err := s.view(visible.Everything(ctx), func(t *tx) (err error) {
		t.checking = &s.checked
		// First: what is read after it is not older.
		if a.epoch, err = t.epochNow(ctx); err != nil {
			return err
		}
		seen := map[int]bool{}
		var joints []any
		for _, r := range records {
			joint, err := t.lookUp(ctx, r)
			if err != nil {
				return err
			}
			if joint != 0 && !seen[joint] {
				seen[joint], joints = true, append(joints, joint)
			}
		}
		if a.joints, err = t.jointFacts(ctx, joints); err != nil {
			return err
		}
		if s.lineage.breaks.Load() == a.breaks {
			s.names.share(t.found)
		}
		return nil
	})
	if err != nil {
		return nil
	}
	return a
}

// lookUp looks up the names that a record gives, as far as they are known, and gives the
// key of its joint; 0 for none.
func (t *tx) lookUp(ctx context.Context, r ledger.Record) (joint int, err error) {
	n := namesOf(r)
	for _, one := range []struct {
		noun noun
		name string
	}{{lotNoun, n.lot}, {toolNoun, n.tool}, {personNoun, r.Head().Person}} {
		if one.name == "" {
			continue
		}
		if _, _, err := t.id(ctx, one.noun, 0, one.name); err != nil {
			return 0, err
		}
	}
	for _, one := range []struct {
		noun noun
		name string
	}{{siteNoun, n.place.Site}, {towerNoun, n.place.Tower}, {cellNoun, n.place.Cell}, {jointNoun, n.place.Joint}} {
		if one.name == "" {
			return 0, nil
		}
		key, known, err := t.id(ctx, one.noun, joint, one.name)
		if err != nil || !known {
			return 0, err
		}
		joint = key
	}
	return joint, nil
}

// recallAhead remembers what was looked up ahead, when the register is as it was then.
func (t *tx) recallAhead(a *ahead) {
	if a == nil || a.epoch != t.epoch || a.breaks != t.lineage.breaks.Load() {
		return
	}
	for joint, facts := range a.joints {
		t.register.joints.Add(joint, facts)
	}
}
