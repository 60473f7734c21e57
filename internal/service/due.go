package service

import (
	"context"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// ListDueItems reads which actions on tools are past due or fall due
// within a time.
func (s analysisService) ListDueItems(ctx context.Context, r *pb.ListDueItemsRequest) (*pb.ListDueItemsResponse, error) {
	var p problems
	query, within := s.dueQuestionFrom(&p, r)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	items, err := s.store.DueItems(ctx, query, analysis.DueQuestion{AsOf: query.AsOf, Within: within, ShiftChecks: r.ShiftChecks})
	if err != nil {
		return nil, err
	}
	resp := &pb.ListDueItemsResponse{AsOfTime: wire.Timestamp(query.AsOf), Cautions: analysis.DueCautions(items)}
	for _, item := range items {
		resp.Items = append(resp.Items, dueItemTo(item))
	}
	return resp, nil
}
