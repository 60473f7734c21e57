package cli

import (
	"context"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/countfile"
	pb "jointledger/proto/jointledger/v1"
)

// recordDays are the days of the server's record, as trend has them, as rows in the
// order of time.
type recordDays struct {
	a     *app
	scope *scope
}

// Name is what the rows are called where they are at fault.
func (s *recordDays) Name() string { return "the record" }

// History asks the server.
func (s *recordDays) History(ctx context.Context) (*countfile.History, error) {
	client, err := s.a.comparisons()
	if err != nil {
		return nil, err
	}
	got, err := client.QueryTrend(ctx, &pb.QueryTrendRequest{
		Kinds: s.scope.kinds, Period: pb.Grouping_GROUPING_DAY, Filters: s.scope.filters, StartDate: s.scope.since, EndDate: s.scope.until,
	})
	if err != nil {
		return nil, s.a.callFailure(err, s.scope.f.names())
	}
	h := &countfile.History{Cautions: []string{"A row is a day on record, all of it at once; a rule of the server goes by each record as it comes in."}}
	for i, r := range got.GetRows() {
		h.Rows = append(h.Rows, analysis.TrendRow{Label: r.GetLabel(), At: int64(i), Failures: r.GetFailures(), Attempts: r.GetAttempts()})
	}
	for _, c := range got.GetCautions() { // the others are about the chart
		if strings.HasPrefix(c, analysis.TrendUncounted) {
			h.Cautions = append(h.Cautions, c)
		}
	}
	return h, nil
}
