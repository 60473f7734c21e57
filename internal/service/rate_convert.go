package service

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func rateQuestionFrom(p *problems, r *pb.QueryRatesRequest) (analysis.CountQuery, analysis.RateOptions) {
	q := analysis.CountQuery{StartDay: r.StartDate, EndDay: r.EndDate}
	for i, g := range r.GroupBy {
		if w, ok := groupingFrom(p, fmt.Sprintf("group_by[%d]", i), g); ok {
			for k, earlier := range q.GroupBy {
				if earlier == w {
					p.Add(fmt.Sprintf("group_by[%d]", i), "%s is given twice, in group_by[%d] too", analysis.Groupings.Name(w), k)
				}
			}
			q.GroupBy = append(q.GroupBy, w)
		}
	}
	for i, f := range r.Filters {
		at := fmt.Sprintf("filters[%d]", i)
		if w, ok := groupingFrom(p, at+".grouping", f.GetGrouping()); ok {
			q.Filters = append(q.Filters, analysis.GroupValue{Grouping: w, Value: filterValue(p, at+".value", w, f.GetValue())})
		}
	}
	start, startOK := dateFrom(p, "start_date", r.StartDate)
	end, endOK := dateFrom(p, "end_date", r.EndDate)
	if startOK && endOK && end.Before(start) {
		p.Add("end_date", "%s is before start_date %s", r.EndDate, r.StartDate)
	}

	o := analysis.RateOptions{Confidence: r.Confidence}
	for i, k := range r.Kinds {
		at := fmt.Sprintf("kinds[%d]", i)
		switch kind := wire.Known(p, at, ledger.IncidentKinds, k); {
		case k == 0:
			p.Add(at, "is not given; expected one of %s", strings.Join(ledger.IncidentKinds.All(), ", "))
		case !slices.Contains(o.Kinds, kind): // one named twice counts once
			o.Kinds = append(o.Kinds, kind)
		}
	}
	var ok bool
	if o.Method, ok = intervalMethods[r.IntervalMethod]; !ok {
		p.Add("interval_method", "%d is not a method; expected Wilson, Clopper-Pearson or Jeffreys", r.IntervalMethod)
	}
	// Written so that NaN, which compares false, is refused too.
	if c := r.Confidence; c != 0 && !(c > 0.5 && c < 1) {
		p.Add("confidence", "%v is out of range; expected a number above 0.5 and below 1, such as 0.95", c)
	}
	return q, o
}

var intervalMethods = map[pb.IntervalMethod]stats.ProportionMethod{
	pb.IntervalMethod_INTERVAL_METHOD_UNSPECIFIED:     stats.Wilson,
	pb.IntervalMethod_INTERVAL_METHOD_WILSON:          stats.Wilson,
	pb.IntervalMethod_INTERVAL_METHOD_CLOPPER_PEARSON: stats.ClopperPearson,
	pb.IntervalMethod_INTERVAL_METHOD_JEFFREYS:        stats.Jeffreys,
}

func groupingFrom(p *problems, field string, g pb.Grouping) (analysis.Grouping, bool) {
	w := wire.Word[analysis.Grouping](g)
	if !analysis.Groupings.Known(w) {
		p.Add(field, "%d is not a grouping; expected one of %s", g, strings.Join(analysis.Groupings.All(), ", "))
		return 0, false
	}
	return w, true
}

// filterValue reads the value of a filter into the form in which it is counted.
func filterValue(p *problems, field string, g analysis.Grouping, value string) string {
	if value == "" {
		return ""
	}
	switch g {
	case analysis.BySite:
		return tag(value)
	case analysis.ByTreatment:
		return wordFrom(p, field, ledger.Treatments, value)
	case analysis.ByMaterial:
		return wordFrom(p, field, ledger.Materials, value)
	case analysis.ByDrivingMethod:
		return wordFrom(p, field, ledger.DrivingMethods, value)
	case analysis.ByMonth:
		if _, err := time.Parse("2006-01", value); err != nil {
			p.Add(field, "%q is not a month; expected YYYY-MM", value)
		}
	case analysis.ByWeek, analysis.ByDay:
		if _, err := analysis.PeriodStart(g, value); err != nil {
			p.Add(field, "%v", err)
		}
	default: // the others go on below
	}
	return value
}

func wordFrom[T ~uint8](p *problems, field string, words ledger.Words[T], value string) string {
	v, err := words.Parse(value)
	if err != nil {
		p.Add(field, "%v", err)
	}
	return words.Name(v)
}

func dateFrom(p *problems, field, text string) (time.Time, bool) {
	if text == "" {
		return time.Time{}, false
	}
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		p.Add(field, "%q is not a date; expected YYYY-MM-DD", text)
	}
	return d, err == nil
}

func rateAnswerTo(groupBy []analysis.Grouping, a analysis.RateAnswer) *pb.QueryRatesResponse {
	resp := &pb.QueryRatesResponse{
		Total: rateGroupTo(nil, a.Total), Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions,
	}
	for _, g := range a.Groups {
		resp.Groups = append(resp.Groups, rateGroupTo(groupBy, g))
	}
	return resp
}

func rateGroupTo(groupBy []analysis.Grouping, g analysis.RateGroup) *pb.RateGroup {
	m := &pb.RateGroup{
		Failures: g.Failures, Attempts: g.Attempts, DenominatorKnown: g.DenominatorKnown,
		RatePer_1000: g.RatePer1000, LowerPer_1000: g.LowerPer1000, UpperPer_1000: g.UpperPer1000,
		PValue: g.PValue, PAdjusted: g.PAdjusted,
	}
	for i, by := range groupBy {
		m.Values = append(m.Values, &pb.GroupValue{Grouping: pb.Grouping(by), Value: g.Values[i]})
	}
	return m
}
