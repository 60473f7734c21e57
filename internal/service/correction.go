package service

import (
	"context"
	"strings"

	"github.com/google/uuid"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var corrections = record[*ledger.Correction, *pb.Correction]{
	kind: ledger.KindCorrection, collection: "corrections", members: "corrections", action: access.Correct,
	from: wire.CorrectionFrom, to: wire.CorrectionTo, complete: nameCorrected,
	judge: func(ctx context.Context, s *Services, messages []*pb.Correction, members []member[ledger.Record]) error {
		return judgeWithdrawals(ctx, s, func(i int) string { return messages[i].GetCorrects() }, members)
	},
}

// RecordCorrections keeps corrections with their replacements and answers for
// each pair.
func (s controlService) RecordCorrections(ctx context.Context, r *pb.RecordCorrectionsRequest) (*pb.RecordCorrectionsResponse, error) {
	outcomes, err := corrections.keep(ctx, s.Services, r.Corrections, r.ValidateOnly)
	if err != nil {
		return nil, err
	}
	for i, o := range outcomes {
		nameReplacement(o.GetRefusal(), wire.ReplacementField(r.Corrections[i]))
	}
	return &pb.RecordCorrectionsResponse{Outcomes: outcomes}, nil
}

// nameReplacement gives the fields of the replacement the names that they have in
// the API: the domain knows one replacement, the API one for each kind.
func nameReplacement(r *pb.Refusal, field string) {
	for _, v := range r.GetFieldViolations() {
		rest, ok := strings.CutPrefix(v.Field, wire.Replacement)
		if ok && field != "" && (rest == "" || rest[0] == '.') {
			v.Field = field + rest
		}
	}
}

// judgeWithdrawals refuses to withdraw what is no record of the kind that its name
// says, which corrects gives: the store knows the id alone. With a replacement it
// compares the kinds itself.
func judgeWithdrawals(ctx context.Context, s *Services, corrects func(i int) string, members []member[ledger.Record]) error {
	// A member may withdraw one before it, or what that has put in place of another.
	coming := make(map[uuid.UUID]ledger.RecordKind)
	for i, m := range members {
		if m.err != nil {
			continue
		}
		c, ok := m.item.(*ledger.Correction)
		if !ok {
			coming[m.item.Head().ID] = m.item.RecordKind()
			continue
		}
		if c.With != nil {
			coming[c.Replacement] = c.With.RecordKind()
			continue
		}
		var p problems
		kind, id := p.AnyRecord("corrects", corrects(i))
		if kind == 0 || coming[id] == kind {
			continue
		}
		if _, err := s.store.FindRecord(ctx, kind, id); err != nil {
			if ledger.AsError(err).Kind != ledger.KindNotFound {
				return err
			}
			members[i].err = err
		}
	}
	return nil
}

// GetCorrection reads one correction.
func (s controlService) GetCorrection(ctx context.Context, r *pb.GetCorrectionRequest) (*pb.Correction, error) {
	return corrections.fetch(ctx, s.Services, r.Name)
}

// ListCorrections pages through corrections.
func (s controlService) ListCorrections(ctx context.Context, r *pb.ListCorrectionsRequest) (*pb.ListCorrectionsResponse, error) {
	var p problems
	f := store.RecordFilter{Place: ledger.Place{Site: p.Site("site", r.Site)}}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := corrections.list(ctx, s.Services, r, p, f)
	return &pb.ListCorrectionsResponse{Corrections: items, NextPageToken: next}, err
}
