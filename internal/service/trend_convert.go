package service

import (
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func trendQuestionFrom(p *problems, r *pb.QueryTrendRequest) (analysis.CountQuery, []ledger.IncidentKind, analysis.TrendOptions) {
	q, kinds := scopeFrom(p, r.Kinds, r.Filters, r.StartDate, r.EndDate, 0)
	period := analysis.ByMonth
	switch r.Period {
	case pb.Grouping_GROUPING_UNSPECIFIED:
	case pb.Grouping_GROUPING_MONTH, pb.Grouping_GROUPING_WEEK, pb.Grouping_GROUPING_DAY:
		period = analysis.Grouping(r.Period)
	default:
		p.Add("period", "%d is not a period; expected GROUPING_MONTH, GROUPING_WEEK or GROUPING_DAY", r.Period)
	}
	q.GroupBy = []analysis.Grouping{period}
	o := analysis.TrendOptions{Kind: wire.Known(p, "chart", analysis.ChartKinds, r.Chart), Weight: r.Weight}
	// Written so that NaN, which compares false, is refused too.
	if !(r.Weight >= 0 && r.Weight <= 1) {
		p.Add("weight", "%v is out of range; expected a number above 0 and at most 1, such as 0.2", r.Weight)
	}
	if r.CentrePer_1000 != nil {
		centre := r.GetCentrePer_1000() / 1000
		if !(centre >= 0 && centre <= 1) {
			p.Add("centre_per_1000", "%v is out of range; expected a number from 0 to 1,000", r.GetCentrePer_1000())
		}
		o.Centre = &centre
	}
	return q, kinds, o
}

func trendTo(period analysis.Grouping, a analysis.TrendAnswer, rows []analysis.TrendRow) *pb.QueryTrendResponse {
	m := &pb.QueryTrendResponse{
		Headline: a.Headline, Chart: pb.ChartKind(a.Kind), ChartReason: a.KindReason, Unit: a.Unit, Centre: a.Centre, Dispersion: a.Dispersion,
		Failures: a.Failures, Attempts: a.Attempts, Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions, Period: pb.Grouping(period),
	}
	for _, t := range a.Points {
		m.Points = append(m.Points, &pb.TrendPoint{Label: t.Label, Value: t.Value, Lower: t.Lower, Upper: t.Upper, Beyond: int32(t.Beyond)})
	}
	for _, t := range a.Runs {
		m.Runs = append(m.Runs, &pb.TrendRun{Rule: t.Rule, Label: t.Label, Side: int32(t.Side)})
	}
	if c := a.Change; c != nil {
		m.Change = &pb.TrendChange{
			LastBefore: c.LastBefore, FirstAfter: c.FirstAfter, BeforePer_1000: c.Before, AfterPer_1000: c.After,
			PValue: c.PValue, BeyondChance: c.BeyondChance, Sentence: c.Sentence,
		}
	}
	for _, t := range rows {
		m.Rows = append(m.Rows, &pb.TrendRow{Label: t.Label, Failures: t.Failures, Attempts: t.Attempts})
	}
	return m
}
