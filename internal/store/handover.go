package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/handover"
	"jointledger/internal/ledger"
)

// Missing is one thing that keeps a hand-over from being complete.
type Missing = handover.Missing

// HandoverHead is what the hand-over record of a place says as a whole. The
// record is complete when nothing is missing.
type HandoverHead struct {
	Place    ledger.Place
	Site     ledger.Site
	ReadTime time.Time
	// Joints is how many follow.
	Joints  int64
	Missing []Missing
	// Sequence and Link are the head of the site's chain.
	Sequence int64
	Link     ledger.Link
	// Tools, Lots and Specifications are those of the records that count, each in
	// the order of its name.
	Tools          []HandoverTool
	Lots           []ledger.Lot
	Specifications []ledger.Specification // in the revisions used
	// People made the records; their ids, sorted.
	People []string
}

// HandoverTool is a tool with its calibrations.
type HandoverTool struct {
	Tool ledger.Tool
	// Calibrations in force at some time of the work, oldest first.
	Calibrations []*ledger.Calibration
}

// HandoverJoint is one joint of a hand-over record.
type HandoverJoint struct {
	Status JointStatus
	// Items are everything on record about it, in the order in which it happened.
	Items []HistoryItem
}

// Handover reads all that the hand-over record of a cell, tower or site is made
// of, from one state of the database: head gets the whole, then joint each joint
// in the order of their names. An error of either ends it and is returned as it
// is. Memory does not grow with the records of the place, only with its joints.
// Errors: KindInvalid for no place; KindNotFound when it does not exist;
// KindPrecondition when it has no joint.
func (s *Store) Handover(ctx context.Context, place ledger.Place, head func(HandoverHead) error, joint func(HandoverJoint) error) error {
	if place.Depth() == 0 {
		return ledger.InvalidField("hand-over", "place", "is required: a cell, tower or site")
	}
	var stopped error // by the caller, whose error is not the store's to read
	err := s.viewLong(ctx, func(t *tx) error {
		keys, err := t.place(ctx, place)
		if err != nil {
			return err
		}
		joints, err := t.jointsAt(ctx, keys, "", 0)
		if err != nil {
			return err
		}
		if len(joints) == 0 {
			return &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonEmptyPlace, Resource: place.Resource(),
				Message: fmt.Sprintf("%s %s has no joints, so there is nothing to hand over", place.PlaceKind(), place)}
		}
		if err := t.readWork(ctx, joints); err != nil {
			return err
		}
		whole, err := t.handoverHead(ctx, place, keys, joints)
		if err != nil {
			return err
		}
		if stopped = head(whole); stopped != nil {
			return stopped
		}
		return t.eachCell(ctx, joints, func(_ []*jointWork, told []HandoverJoint) error {
			for _, one := range told {
				if stopped = joint(one); stopped != nil {
					return stopped
				}
			}
			return nil
		})
	})
	if stopped != nil {
		return stopped
	}
	return err
}

// eachCell reads everything on record about joints, cell by cell.
func (t *tx) eachCell(ctx context.Context, joints []*jointWork, f func([]*jointWork, []HandoverJoint) error) error {
	for len(joints) > 0 {
		n := 1
		for n < len(joints) && joints[n].cell == joints[0].cell {
			n++
		}
		told, err := t.histories(ctx, joints[:n])
		if err != nil {
			return err
		}
		if err := f(joints[:n], told); err != nil {
			return err
		}
		joints = joints[n:]
	}
	return nil
}

func (t *tx) handoverHead(ctx context.Context, place ledger.Place, keys placeKeys, joints []*jointWork) (HandoverHead, error) {
	head := HandoverHead{Place: place, ReadTime: t.now, Joints: int64(len(joints))}
	var err error
	if head.Site, err = sites.load(ctx, t, place.Site); err != nil {
		return head, err
	}
	if head.Sequence, head.Link, err = t.chainHead(ctx, keys.site); err != nil {
		return head, err
	}
	used, err := t.readUsed(ctx, joints)
	if err != nil {
		return head, err
	}
	work := newWorkBook(used)
	check := handover.Check{Tools: used.tools, HeldLots: used.heldLots}
	err = t.eachCell(ctx, joints, func(joints []*jointWork, told []HandoverJoint) error {
		checked := make([]handover.Joint, len(joints))
		for i, j := range joints {
			checked[i] = work.add(j, told[i])
		}
		head.Missing = append(head.Missing, check.Cell(checked)...)
		return nil
	})
	if err != nil {
		return head, err
	}
	if place.Depth() == 1 {
		elsewhere, err := t.undecidedIncidents(ctx, keys.site)
		if err != nil {
			return head, err
		}
		head.Missing = append(head.Missing, elsewhere...)
	}
	head.Tools, head.Lots, head.People = work.toolsInForce(), used.lots, work.people()
	head.Specifications, err = work.specifications(ctx, t)
	return head, err
}

// chainHead reads the end of a site's chain.
func (t *tx) chainHead(ctx context.Context, site int) (sequence int64, link ledger.Link, err error) {
	var bytes []byte
	err = t.sql.QueryRowContext(ctx, t.engine.bind("SELECT sequence, link FROM chains WHERE id = ?"), site).Scan(&sequence, &bytes)
	copy(link[:], bytes)
	return sequence, link, err
}

// undecidedIncidents are those of a site that happened at no joint.
func (t *tx) undecidedIncidents(ctx context.Context, site int) ([]Missing, error) {
	var c clause
	c.add("x.id >= ?", int64(site)<<sequenceBits)
	c.add("x.id < ?", int64(site+1)<<sequenceBits)
	c.add("r.joint_id IS NULL AND " + notCorrected)
	records, err := t.recordsWhere(ctx, ledger.KindIncident, &c, " ORDER BY r.occur_time, x.id")
	if err != nil {
		return nil, err
	}
	decided := map[uuid.UUID]bool{}
	incidents := make([]*ledger.Incident, len(records))
	keys := make([]any, len(records))
	ids := map[int64]uuid.UUID{}
	for i, k := range records {
		incidents[i], keys[i] = k.Record.(*ledger.Incident), k.id
		ids[k.id] = incidents[i].ID
	}
	err = t.queryIn(ctx, func(rows *sql.Rows) error {
		var incident int64
		err := rows.Scan(&incident)
		decided[ids[incident]] = true
		return err
	}, "SELECT x.incident_id FROM dispositions x WHERE x.incident_id", keys, "")
	return handover.Incidents(incidents, func(i *ledger.Incident) bool { return decided[i.ID] }), err
}
