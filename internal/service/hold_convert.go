package service

import (
	"context"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	pb "jointledger/proto/jointledger/v1"
)

// holdFrom leaves rule and cause alone: only the server places a hold for a
// finding.
func holdFrom(p *problems, m *pb.Hold) *ledger.Hold {
	r := &ledger.Hold{
		Entry:    entryFrom(p, "holds", m.GetName(), m.GetEntry()),
		Action:   word[ledger.HoldAction](m.GetAction()),
		Place:    p.place("place", m.GetPlace()),
		Lot:      p.reference("lot", "lots", m.GetLot()),
		Tool:     p.reference("tool", "tools", m.GetTool()),
		Site:     p.site("site", m.GetSite()),
		Reason:   m.GetReason(),
		Decision: word[ledger.Decision](m.GetDecision()),
	}
	if m.GetReleases() != "" {
		r.Releases = p.recordID("releases", "holds", m.GetReleases())
	}
	return r
}

// holdTo leaves the name of the cause to nameCause.
func holdTo(r *ledger.Hold) *pb.Hold {
	m := &pb.Hold{
		Name:     ledger.RecordResource(r),
		Action:   pb.HoldAction(r.Action),
		Place:    r.Place.Resource(),
		Lot:      resourceName("lots", r.Lot),
		Tool:     resourceName("tools", r.Tool),
		Site:     resourceName("sites", r.SiteCode()),
		Reason:   r.Reason,
		Rule:     r.Rule,
		Decision: pb.Decision(r.Decision),
		Entry:    entryTo(r.Entry),
	}
	if r.Releases != uuid.Nil {
		m.Releases = ledger.RecordName(ledger.KindHold, r.Releases)
	}
	if r.ReleasedBy != uuid.Nil {
		m.ReleasedBy = ledger.RecordName(ledger.KindHold, r.ReleasedBy)
	}
	return m
}

// nameCause gives the name of the record on which the finding was made; its kind
// is one of those that the rule judges.
func nameCause(ctx context.Context, n *recordNames, r *ledger.Hold, m *pb.Hold) (err error) {
	if r.Cause == uuid.Nil {
		return nil
	}
	rule, _ := rules.Find(r.Rule)
	m.Cause, err = n.name(ctx, r.Cause, rule.Kinds)
	return err
}
