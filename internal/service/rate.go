package service

import (
	"context"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// QueryRates reads the rate of incidents per fastener attempt.
func (s analysisService) QueryRates(ctx context.Context, r *pb.QueryRatesRequest) (*pb.QueryRatesResponse, error) {
	var p problems
	query, options := rateQuestionFrom(&p, r)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	counts, err := s.store.Counts(ctx, query)
	if err != nil {
		return nil, err
	}
	answer, err := analysis.Rates(counts, options)
	if err != nil {
		return nil, err
	}
	return rateAnswerTo(query.GroupBy, answer), nil
}
