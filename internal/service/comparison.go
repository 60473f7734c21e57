package service

import (
	"context"
	"errors"
	"slices"
	"strings"

	"jointledger/internal/access"
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
	pb "jointledger/proto/jointledger/v1"
)

// QueryComparison sets two groups against each other.
func (s comparisonService) QueryComparison(ctx context.Context, r *pb.QueryComparisonRequest) (*pb.QueryComparisonResponse, error) {
	var p problems
	q, kinds, o := comparisonQuestionFrom(&p, r)
	people := byPeople(append([]analysis.Grouping{q.A.Grouping}, q.StratifyBy...))
	ctx, err := allowed(ctx, &p, people, r.ByName)
	if err != nil {
		return nil, err
	}
	found, err := s.store.ComparisonCounts(ctx, q)
	if err != nil {
		return nil, err
	}
	answer, err := analysis.CompareCounts(q, found, kinds, o)
	if err != nil {
		return nil, unanswerable(err, map[string]string{"attempts of " + shown(q.A.Value): "a", "attempts of": "b"}, "kinds")
	}
	return comparisonTo(q, answer), nil
}

// QueryStanding ranks units allowing for their mix and for chance.
func (s comparisonService) QueryStanding(ctx context.Context, r *pb.QueryStandingRequest) (*pb.QueryStandingResponse, error) {
	var p problems
	q, kinds, o := standingQuestionFrom(&p, r)
	ctx, err := allowed(ctx, &p, byPeople(q.GroupBy), r.ByName)
	if err != nil {
		return nil, err
	}
	counts, err := s.store.Counts(ctx, q)
	if err != nil {
		return nil, err
	}
	answer, err := analysis.Standing(analysis.StandingCells(counts, kinds), o)
	if err != nil {
		return nil, unanswerable(err, map[string]string{"ratio limit": "ratio_limit", "limit per 1,000": "limit_per_1000"}, "kinds")
	}
	return standingTo(q, answer), nil
}

// QueryTrend charts the rate over time.
func (s comparisonService) QueryTrend(ctx context.Context, r *pb.QueryTrendRequest) (*pb.QueryTrendResponse, error) {
	var p problems
	q, kinds, o := trendQuestionFrom(&p, r)
	ctx, err := allowed(ctx, &p, false, false)
	if err != nil {
		return nil, err
	}
	counts, err := s.store.Counts(ctx, q)
	if err != nil {
		return nil, err
	}
	answer, rows, err := analysis.TrendOfCounts(counts, q.GroupBy[0], kinds, o)
	if err != nil {
		return nil, unanswerable(err, map[string]string{"chart": "chart", "centre": "centre_per_1000", "weight": "weight", "the number of periods": "filters"}, "kinds")
	}
	return trendTo(q.GroupBy[0], answer, rows), nil
}

// QuerySpares forecasts whether the stock of fasteners will last.
func (s comparisonService) QuerySpares(ctx context.Context, r *pb.QuerySparesRequest) (*pb.QuerySparesResponse, error) {
	var p problems
	q := sparesQuestionFrom(&p, r, s.now())
	ctx, err := allowed(ctx, &p, false, false)
	if err != nil {
		return nil, err
	}
	records, err := s.store.Spares(ctx, q)
	if err != nil {
		return nil, err
	}
	answer, err := analysis.SparesOfRecord(records, q)
	if err != nil {
		return nil, unanswerable(err, map[string]string{"lead time": "lead_time_days", "pack size": "pack_size"}, "service_level")
	}
	return sparesTo(q, answer), nil
}

// QueryLeaks sets what became of sealings against their conditions.
func (s comparisonService) QueryLeaks(ctx context.Context, r *pb.QueryLeaksRequest) (*pb.QueryLeaksResponse, error) {
	var p problems
	q, o := leakQuestionFrom(&p, r)
	ctx, err := allowed(ctx, &p, o.ByPerson, r.ByName)
	if err != nil {
		return nil, err
	}
	sealings, outcomes, err := s.store.Leaks(ctx, q)
	if err != nil {
		return nil, err
	}
	answer, err := analysis.Leaks(analysis.LeakRows(sealings, outcomes), o)
	if err != nil {
		return nil, unanswerable(err, nil, "confidence")
	}
	return leaksTo(answer), nil
}

func byPeople(by []analysis.Grouping) bool { return slices.Contains(by, analysis.ByPerson) }

// allowed refuses a question that can't be read, and one that sets people apart
// when nobody asked for that or the caller may not. The context that it gives sees only
// the sites at which the caller may.
func allowed(ctx context.Context, p *problems, people, byName bool) (context.Context, error) {
	if people && !byName {
		p.Add("by_name", "is not set; people are set apart by name only where that is asked for: a rate by person shows crews, sites and lots as much as hands")
	}
	if err := ledger.Invalid("request", *p); err != nil || !people {
		return ctx, err
	}
	return access.Narrow(ctx, access.RankPeople), access.Allow(ctx, access.RankPeople)
}

// unanswerable names the field that asked for what the record does not allow. The
// fields are by the beginnings of arguments, of which the longest that fits
// counts.
func unanswerable(err error, fields map[string]string, otherwise string) error {
	var bad *stats.ArgumentError
	if !errors.As(err, &bad) {
		return err
	}
	field, longest := otherwise, 0
	for beginning, f := range fields {
		if strings.HasPrefix(bad.Argument, beginning) && len(beginning) > longest {
			field, longest = f, len(beginning)
		}
	}
	return ledger.InvalidField("question", field, "%v", bad)
}

// shown is how an answer names a value.
func shown(value string) string {
	if value == "" {
		return "(none)"
	}
	return value
}
