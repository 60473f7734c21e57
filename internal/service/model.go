package service

import (
	"context"
	"errors"
	"fmt"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
	pb "jointledger/proto/jointledger/v1"
)

// QueryModel fits a model to the record.
func (s comparisonService) QueryModel(ctx context.Context, r *pb.QueryModelRequest) (*pb.QueryModelResponse, error) {
	var p problems
	q, kinds, o := modelQuestionFrom(&p, r)
	ctx, err := allowed(ctx, &p, byPeople(q.Rows().GroupBy), r.ByName)
	if err != nil {
		return nil, err
	}
	rows, complete, err := s.store.CountRows(ctx, q.Rows())
	if err != nil {
		return nil, err
	}
	var caution []string
	if !complete && q.ByJoint {
		caution = append(caution, fmt.Sprintf("No intervals by joint: more than %d records match. Narrow the question by site, lot or time.", analysis.MostRecordRows))
		q.ByJoint = false
		if rows, complete, err = s.store.CountRows(ctx, q.Rows()); err != nil {
			return nil, err
		}
	}
	if !complete {
		return nil, ledger.InvalidField("question", "filters", "more than %d records match, and the terms need each of them; narrow the question by site, lot or time, or leave people, tools and joint_fasteners out", analysis.MostRecordRows)
	}
	answer, err := analysis.ModelOfCounts(q, rows, kinds, o)
	if err != nil {
		return nil, modelRefusal(err, q)
	}
	answer.Cautions = append(caution, answer.Cautions...)
	return modelTo(answer), nil
}

// modelRefusal names the term or other field that can't be answered. Whatever the
// fit says of data is for the caller.
func modelRefusal(err error, q analysis.ModelQuery) error {
	var bad *stats.ArgumentError
	if !errors.As(err, &bad) {
		return ledger.InvalidField("question", "terms", "%v", err)
	}
	fields := map[string]string{"rows": "filters"}
	for i, t := range q.Terms {
		fields[t.Column()] = fmt.Sprintf("terms[%d]", i)
		fields["reference of "+t.Column()] = fmt.Sprintf("terms[%d].reference", i)
		fields["at of "+t.Column()] = fmt.Sprintf("terms[%d].at", i)
	}
	return unanswerable(err, fields, "kinds")
}
