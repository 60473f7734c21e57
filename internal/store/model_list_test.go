package store_test

import (
	"crypto/sha256"
	"slices"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// attach predicts what is attached to a record: each content once, under the name that it
// came with first.
func (m *model) attach(kind ledger.RecordKind, id uuid.UUID, a store.Attachment, content []byte) (store.Attachment, ledger.Reason) {
	k := m.byID[id]
	switch {
	case a.FileName == "":
		return store.Attachment{}, ledger.ReasonInvalidField
	case k == nil || k.record.RecordKind() != kind:
		return store.Attachment{}, ledger.ReasonUnknownResource
	}
	a.SHA256, a.Size, a.Record = sha256.Sum256(content), int64(len(content)), ledger.RecordName(kind, id)
	if i := slices.IndexFunc(k.attached, func(kept store.Attachment) bool { return kept.SHA256 == a.SHA256 }); i >= 0 {
		return k.attached[i], 0
	}
	k.attached = append(k.attached, a)
	return a, 0
}

// sees says whether a record is there for who sees some sites: those of these sites, and
// what belongs to none, which is what was done with a tool, holds on tools and lots, and
// corrections of the former.
func (m *model) sees(k *modelRecord, sees func(site string) bool) bool {
	everybodys := false
	switch r := k.record.(type) {
	case *ledger.Calibration, *ledger.Custody, *ledger.ToolCheck:
		everybodys = true
	case *ledger.Hold:
		everybodys = r.Tool != "" || r.Lot != ""
	case *ledger.Correction:
		return m.sees(m.byID[r.Corrects], sees)
	}
	return everybodys || sees(k.site)
}

// listed are the records that a list gives, in the order of their taking.
func (m *model) listed(f store.RecordFilter) (ids []uuid.UUID) {
	for _, k := range m.kept {
		if k.record.RecordKind() == f.Kind && (f.Place.Site == "" || k.site == f.Place.Site) && (f.Person == "" || k.record.Head().Person == f.Person) {
			ids = append(ids, k.record.Head().ID)
		}
	}
	return ids
}
