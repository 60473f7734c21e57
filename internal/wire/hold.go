package wire

import (
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// HoldFrom leaves rule and cause alone: only the server places a hold for a
// finding.
func HoldFrom(p *Problems, m *pb.Hold) *ledger.Hold {
	r := &ledger.Hold{
		Entry:    EntryFrom(p, "holds", m.GetName(), m.GetEntry()),
		Action:   Word[ledger.HoldAction](m.GetAction()),
		Place:    p.Place("place", m.GetPlace()),
		Lot:      p.Reference("lot", "lots", m.GetLot()),
		Tool:     p.Reference("tool", "tools", m.GetTool()),
		Site:     p.Site("site", m.GetSite()),
		Reason:   m.GetReason(),
		Decision: Word[ledger.Decision](m.GetDecision()),
	}
	if r.Site == "" {
		r.Site = r.SiteCode()
	}
	if m.GetReleases() != "" {
		r.Releases = p.RecordID("releases", "holds", m.GetReleases())
	}
	return r
}

// HoldTo writes a hold without the name of its cause, whose kind it does not know.
func HoldTo(r *ledger.Hold) *pb.Hold {
	m := &pb.Hold{
		Name:     ledger.RecordResource(r),
		Action:   pb.HoldAction(r.Action),
		Place:    r.Place.Resource(),
		Lot:      ResourceName("lots", r.Lot),
		Tool:     ResourceName("tools", r.Tool),
		Site:     ResourceName("sites", r.SiteCode()),
		Reason:   r.Reason,
		Rule:     r.Rule,
		Decision: pb.Decision(r.Decision),
		Entry:    EntryTo(r.Entry),
	}
	if r.Releases != uuid.Nil {
		m.Releases = ledger.RecordName(ledger.KindHold, r.Releases)
	}
	if r.ReleasedBy != uuid.Nil {
		m.ReleasedBy = ledger.RecordName(ledger.KindHold, r.ReleasedBy)
	}
	return m
}
