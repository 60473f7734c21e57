package service

import (
	"fmt"
	"slices"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/stats"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// mostLeadDays is a hundred years.
const mostLeadDays = 36500

func sparesQuestionFrom(p *problems, r *pb.QuerySparesRequest, now time.Time) analysis.SparesQuery {
	q := analysis.SparesQuery{AsOf: now.UTC(), LeadTimeDays: r.LeadTimeDays, PackSize: r.PackSize, ServiceLevel: r.ServiceLevel}
	for i, name := range r.Sites {
		at := fmt.Sprintf("sites[%d]", i)
		if name == "" {
			p.Add(at, "is empty; expected sites/{site}")
		} else if site := p.Site(at, name); site != "" && !slices.Contains(q.Sites, site) {
			q.Sites = append(q.Sites, site)
		}
	}
	if r.AsOfTime != nil {
		q.AsOf = p.Time("as_of_time", r.AsOfTime)
	}
	// Written so that NaN, which compares false, is refused too.
	if v := r.ServiceLevel; !(v >= 0 && v < 1) {
		p.Add("service_level", "%v is out of range; expected a number above 0 and below 1, such as 0.95", v)
	}
	if v := r.LeadTimeDays; v < 0 || v > mostLeadDays {
		p.Add("lead_time_days", "%d is out of range; expected 0 to %d", v, mostLeadDays)
	}
	if v := r.PackSize; v < 0 || v > stats.MaxCount {
		p.Add("pack_size", "%d is out of range; expected 1 to %d", v, int64(stats.MaxCount))
	}
	return q
}

func sparesTo(q analysis.SparesQuery, a analysis.SparesForecast) *pb.QuerySparesResponse {
	m := &pb.QuerySparesResponse{
		Headline: a.Headline, Groups: int32(a.Groups), Prior: priorTo(a.Shrinkage), PriorAlpha: a.Prior.Alpha, PriorBeta: a.Prior.Beta,
		ServiceLevel: a.ServiceLevel, Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions, AsOfTime: wire.Timestamp(q.AsOf),
	}
	for i := range a.Items {
		m.Items = append(m.Items, sparesItemTo(&a.Items[i]))
	}
	return m
}

func sparesItemTo(i *analysis.SparesItem) *pb.SparesItem {
	l := &i.Line
	m := &pb.SparesItem{
		Fastener: l.Fastener, Site: wire.ResourceName("sites", l.Site), Failures: l.Failures, Attempts: l.Attempts, DenominatorKnown: !l.DenominatorUnknown,
		Remaining: l.Remaining, OnHand: l.OnHand, InstallsPerDay: l.InstallsPerDay, LeadTimeDays: l.LeadTimeDays, PackSize: l.PackSize,
		LossPer_1000: i.LossPer1000, LossLowerPer_1000: i.LossLowerPer1000, LossUpperPer_1000: i.LossUpperPer1000,
		MeanLosses: i.MeanLosses, Losses: i.Losses, Need: i.Need, RunOut: i.RunOut, Short: i.Short, Order: i.Order,
		Late: i.Late, CoversInstalls: i.CoversInstalls, Sentence: i.Sentence,
	}
	if i.OrderBy != nil {
		m.OrderByDate = i.OrderBy.Format(time.DateOnly)
	}
	return m
}
