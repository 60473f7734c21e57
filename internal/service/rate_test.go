package service_test

import (
	"math"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// convictions records Fisher's table of convictions of like-sex twins as two
// lots: 2 failures of 17 attempts, 10 of 13 (J. Roy. Statist. Soc. A 125 (1962)
// 604-607; reference statistics, P08).
func convictions(t *testing.T) clients {
	c, ctx := fleet(t), t.Context()
	a, b := tightening("2026-03-02T09:00:00Z", 15), tightening("2026-03-02T09:00:00Z", 3)
	b.Lot, b.Treatment, b.Tool = "lots/M10-S-2", pb.Treatment_TREATMENT_NONE, ""
	again := tightening("2026-03-03T09:00:00Z", 15)
	again.Pass = pb.Pass_PASS_RETIGHTENING
	must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{a, b, again}}))
	x, y, seized := galling("2026-03-02T10:00:00Z", 2), galling("2026-04-01T00:30:00Z", 9), galling("2026-04-01T00:30:00Z", 1)
	for _, i := range []*pb.Incident{y, seized} {
		i.Lot, i.Treatment, i.Tool = "lots/M10-S-2", pb.Treatment_TREATMENT_NONE, ""
	}
	seized.Kind = pb.IncidentKind_INCIDENT_KIND_SEIZED
	must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{x, y, seized}}))
	return c
}

func TestQueryRates(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	a := must[*pb.QueryRatesResponse](t)(c.analysis.QueryRates(ctx, &pb.QueryRatesRequest{
		GroupBy: []pb.Grouping{pb.Grouping_GROUPING_LOT, pb.Grouping_GROUPING_TREATMENT},
	}))
	if len(a.Groups) != 2 {
		t.Fatalf("%v", a)
	}
	for i, want := range []struct {
		lot, treatment     string
		failures, attempts int64
	}{{"M10-S-2", "none", 10, 13}, {"M10-S-1", "anti-seize", 2, 17}} {
		g := a.Groups[i]
		if g.Values[0].Grouping != pb.Grouping_GROUPING_LOT || g.Values[0].Value != want.lot || g.Values[1].Grouping != pb.Grouping_GROUPING_TREATMENT || g.Values[1].Value != want.treatment {
			t.Errorf("group %d is %v", i, g.Values)
		}
		if g.Failures != want.failures || g.Attempts != want.attempts || !g.DenominatorKnown ||
			math.Abs(g.GetRatePer_1000()-1000*float64(want.failures)/float64(want.attempts)) > 1e-9 {
			t.Errorf("group %d: %v", i, g)
		}
		if p := g.GetPAdjusted(); math.Abs(p-0.000536724119143) > 1e-12 {
			t.Errorf("group %d: adjusted p %v", i, p)
		}
	}
	if a.Total.Failures != 12 || a.Total.Attempts != 30 || a.Method == "" || a.Assumption == "" || len(a.Cautions) == 0 {
		t.Errorf("%v", a)
	}
}

func TestQueryRatesFiltersAndKinds(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	filter := func(g pb.Grouping, v string) *pb.GroupValue { return &pb.GroupValue{Grouping: g, Value: v} }
	for name, tc := range map[string]struct {
		r                  *pb.QueryRatesRequest
		failures, attempts int64
	}{
		"everything":      {&pb.QueryRatesRequest{}, 12, 30},
		"galling":         {&pb.QueryRatesRequest{Kinds: []pb.IncidentKind{1, 1}}, 11, 30},
		"seized":          {&pb.QueryRatesRequest{Kinds: []pb.IncidentKind{2}}, 1, 30},
		"site":            {&pb.QueryRatesRequest{Filters: []*pb.GroupValue{filter(pb.Grouping_GROUPING_SITE, "har")}}, 12, 30},
		"word":            {&pb.QueryRatesRequest{Filters: []*pb.GroupValue{filter(pb.Grouping_GROUPING_TREATMENT, "Anti Seize")}}, 2, 17},
		"alternatives":    {&pb.QueryRatesRequest{Filters: []*pb.GroupValue{filter(pb.Grouping_GROUPING_LOT, "M10-S-1"), filter(pb.Grouping_GROUPING_LOT, "M10-S-2")}}, 12, 30},
		"both must match": {&pb.QueryRatesRequest{Filters: []*pb.GroupValue{filter(pb.Grouping_GROUPING_LOT, "M10-S-1"), filter(pb.Grouping_GROUPING_TREATMENT, "none")}}, 0, 0},
		"tool":            {&pb.QueryRatesRequest{Filters: []*pb.GroupValue{filter(pb.Grouping_GROUPING_TOOL, "TW-1")}}, 2, 17},
		"no tool":         {&pb.QueryRatesRequest{Filters: []*pb.GroupValue{filter(pb.Grouping_GROUPING_TOOL, "")}}, 10, 13},
		// Half past midnight UTC on 1 April is already April in Dublin, and the
		// last day counts to its end.
		"to the end of March": {&pb.QueryRatesRequest{StartDate: "2026-03-02", EndDate: "2026-03-31"}, 2, 20},
		"month":               {&pb.QueryRatesRequest{Filters: []*pb.GroupValue{filter(pb.Grouping_GROUPING_MONTH, "2026-03")}}, 2, 20},
	} {
		a, err := c.analysis.QueryRates(ctx, tc.r)
		if err != nil {
			t.Errorf("%s: %s", name, render(err))
			continue
		}
		if len(a.Groups) != 0 || a.Total.Failures != tc.failures || a.Total.Attempts != tc.attempts {
			t.Errorf("%s: %v; expected %d of %d", name, a, tc.failures, tc.attempts)
		}
	}
}

func TestQueryRatesByEachGrouping(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	for by, want := range map[pb.Grouping]string{
		pb.Grouping_GROUPING_SITE: "HAR", pb.Grouping_GROUPING_REGION: "north", pb.Grouping_GROUPING_LOT: "M10-S-2 M10-S-1",
		pb.Grouping_GROUPING_SUPPLIER: "Corrie Fasteners", pb.Grouping_GROUPING_TREATMENT: "none anti-seize", pb.Grouping_GROUPING_MATERIAL: "316",
		pb.Grouping_GROUPING_THREAD: "M10", pb.Grouping_GROUPING_DRIVING_METHOD: "hand", pb.Grouping_GROUPING_PERSON: "nd1",
		pb.Grouping_GROUPING_TOOL: " TW-1", pb.Grouping_GROUPING_MONTH: "2026-03 2026-04",
	} {
		a, err := c.analysis.QueryRates(ctx, &pb.QueryRatesRequest{GroupBy: []pb.Grouping{by}})
		if err != nil {
			t.Errorf("%v: %s", by, render(err))
			continue
		}
		var got []string
		for _, g := range a.Groups {
			got = append(got, g.Values[0].Value)
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%v: %q; expected %q", by, s, want)
		}
		if by == pb.Grouping_GROUPING_MONTH { // nothing was tightened in April
			if april := a.Groups[1]; april.DenominatorKnown || april.Failures != 10 || april.RatePer_1000 != nil || a.Total.Failures != 2 {
				t.Errorf("%v", a)
			}
		}
	}
}

func TestQueryRatesRefusesWhatItCannotAnswer(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	_, err := c.analysis.QueryRates(ctx, &pb.QueryRatesRequest{
		Kinds: []pb.IncidentKind{0, 77}, GroupBy: []pb.Grouping{1, 1, 0, 99},
		Filters:   []*pb.GroupValue{{Grouping: 5, Value: "antiseize"}, {Value: "x"}, {Grouping: 11, Value: "March"}},
		StartDate: "2026-03-02", EndDate: "2026-02-30", IntervalMethod: 9, Confidence: 0.5,
	})
	got := render(err)
	for _, part := range []string{
		"field kinds[0]: is not given", "field kinds[1]: 77 is no incident kind", "field group_by[1]: site is given twice, in group_by[0] too",
		"field group_by[2]: 0 is not a grouping", "field group_by[3]: 99 is not a grouping", `field filters[0].value: "antiseize" is not a thread treatment (did you mean anti-seize?)`,
		"field filters[1].grouping: 0 is not a grouping", `field filters[2].value: "March" is not a month`, `field end_date: "2026-02-30" is not a date`,
		"field interval_method: 9 is not a method", "field confidence: 0.5 is out of range",
	} {
		if !strings.Contains(got, part) {
			t.Errorf("%q is missing in %s", part, got)
		}
	}
	if _, err := c.analysis.QueryRates(ctx, &pb.QueryRatesRequest{Confidence: math.NaN()}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("NaN: %v", err)
	}
	for _, f := range []*pb.GroupValue{{Grouping: 1, Value: "HAX"}, {Grouping: 3, Value: "M10-S-9"}, {Grouping: 9, Value: "zz"}, {Grouping: 10, Value: "TW-9"}} {
		if _, err := c.analysis.QueryRates(ctx, &pb.QueryRatesRequest{Filters: []*pb.GroupValue{f}}); status.Code(err) != codes.NotFound {
			t.Errorf("%v: %v", f, err)
		}
	}
}
