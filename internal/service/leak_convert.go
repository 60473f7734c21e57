package service

import (
	"fmt"

	"jointledger/internal/analysis"
	pb "jointledger/proto/jointledger/v1"
)

func leakQuestionFrom(p *problems, r *pb.QueryLeaksRequest) (analysis.LeakQuery, analysis.LeakOptions) {
	scope, _ := scopeFrom(p, nil, r.Filters, r.StartDate, r.EndDate, r.Confidence)
	for i, f := range r.Filters {
		switch f.GetGrouping() {
		case pb.Grouping_GROUPING_SITE, pb.Grouping_GROUPING_REGION, pb.Grouping_GROUPING_PERSON, pb.Grouping_GROUPING_MONTH:
		default:
			if at := fmt.Sprintf("filters[%d].grouping", i); !p.About(at) {
				p.Add(at, "a sealing has no %s; expected site, region, person or month", analysis.Groupings.Name(analysis.Grouping(f.GetGrouping())))
			}
		}
	}
	return analysis.LeakQuery{Filters: scope.Filters, StartDay: scope.StartDay, EndDay: scope.EndDay},
		analysis.LeakOptions{Confidence: r.Confidence, ByPerson: r.ByPerson}
}

func leaksTo(a analysis.LeakAnswer) *pb.QueryLeaksResponse {
	m := &pb.QueryLeaksResponse{
		Headline: a.Headline, Sealings: a.Sealings, Failed: a.Failed, Tested: a.Tested, Joints: a.Joints, JointsNeverTested: a.JointsNeverTested,
		RatePer_1000: a.RatePer1000, LowerPer_1000: a.LowerPer1000, UpperPer_1000: a.UpperPer1000,
		Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions,
	}
	for _, c := range a.Conditions {
		condition := &pb.LeakCondition{Name: c.Name, PValue: c.PValue, PAdjusted: c.PAdjusted}
		for _, b := range c.Bands {
			condition.Bands = append(condition.Bands, &pb.LeakBand{
				Name: b.Name, From: b.From, To: b.To, NotRecorded: b.NotRecorded, Sealings: b.Sealings, Failed: b.Failed,
				RatePer_1000: b.RatePer1000, LowerPer_1000: b.LowerPer1000, UpperPer_1000: b.UpperPer1000,
			})
		}
		m.Conditions = append(m.Conditions, condition)
	}
	if a.Model != nil {
		m.Model = modelTo(*a.Model)
	}
	return m
}
