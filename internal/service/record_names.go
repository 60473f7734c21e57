package service

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/visible"
)

// recordNames gives the resource names of records that other records name by
// their ids alone: what a correction corrects, what caused a hold. It remembers
// what it has seen, so that one is made for each answer.
type recordNames struct {
	// store is asked for what was not seen; nil to ask nobody.
	store *store.Store
	seen  map[uuid.UUID]ledger.Record
}

// namesFrom asks the store.
func namesFrom(s *store.Store) *recordNames {
	return &recordNames{store: s, seen: make(map[uuid.UUID]ledger.Record)}
}

// namesSeen knows what it is shown and nothing else. It is for answers that are
// sent while the store's transaction is still open: a second one beside it could
// wait for a connection that only the end of the first sets free.
func namesSeen() *recordNames { return namesFrom(nil) }

func (n *recordNames) see(r ledger.Record) { n.seen[r.Head().ID] = r }

// find gives the record of the id; nil when it was not seen and there is no store
// to ask, or when the caller may not read it. likely are the kinds to try first.
func (n *recordNames) find(ctx context.Context, id uuid.UUID, likely []ledger.RecordKind) (ledger.Record, error) {
	if r, ok := n.seen[id]; ok || n.store == nil {
		return r, nil
	}
	tried := make(map[ledger.RecordKind]bool)
	kinds := append([]ledger.RecordKind(nil), likely...)
	for i := range ledger.RecordKinds.All() {
		kinds = append(kinds, ledger.RecordKind(i+1))
	}
	for _, kind := range kinds {
		if tried[kind] {
			continue
		}
		tried[kind] = true
		r, err := n.store.FindRecord(ctx, kind, id)
		switch {
		case err == nil:
			n.see(r)
			return r, nil
		case ledger.AsError(err).Kind != ledger.KindNotFound:
			return nil, err
		}
	}
	if visible.From(ctx).Restricted {
		return nil, nil // it stands at a site that the caller does not see
	}
	return nil, fmt.Errorf("record %s, which another names, is of no kind", id)
}

// name gives the resource name of the id's record. Where its kind can't be known
// it is `records/{id}`.
func (n *recordNames) name(ctx context.Context, id uuid.UUID, likely []ledger.RecordKind) (string, error) {
	r, err := n.find(ctx, id, likely)
	switch {
	case err != nil:
		return "", err
	case r == nil:
		return ledger.RecordName(0, id), nil
	}
	return ledger.RecordResource(r), nil
}
