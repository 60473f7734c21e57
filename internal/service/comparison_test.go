package service_test

import (
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	"jointledger/internal/stats"
	pb "jointledger/proto/jointledger/v1"
)

func groupValue(g pb.Grouping, v string) *pb.GroupValue {
	return &pb.GroupValue{Grouping: g, Value: v}
}

// Fisher's table of convictions (P08, P09 of the reference): 2 of 17 against 10 of
// 13; p 0.000536724119143, conditional odds ratio 0.04693663904967996 with exact limits
// 0.003317163950657361 and 0.3631896023566806, to 40 digits there.
func TestQueryComparison(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	a := must[*pb.QueryComparisonResponse](t)(c.comparisons.QueryComparison(ctx, &pb.QueryComparisonRequest{
		A: groupValue(pb.Grouping_GROUPING_LOT, "M10-S-1"), B: groupValue(pb.Grouping_GROUPING_LOT, "M10-S-2"),
		StratifyBy: []pb.Grouping{pb.Grouping_GROUPING_SITE}, ByJoint: true,
	}))
	if a.A.Failures != 2 || a.A.Attempts != 17 || a.B.Failures != 10 || a.B.Attempts != 13 || math.Abs(a.Crude.FisherPValue-0.000536724119143) > 1e-12 {
		t.Errorf("%v %v, p %v", a.A, a.B, a.Crude.FisherPValue)
	}
	if o := a.Crude.OddsRatio; math.Abs(o.GetEstimate()-0.04693663904967996) > 1e-10 || math.Abs(o.Lower-0.003317163950657361) > 1e-11 || math.Abs(o.GetUpper()-0.3631896023566806) > 1e-10 || o.UpperUnbounded {
		t.Errorf("odds ratio %v", o)
	}
	if a.Stratified.GetStrata() != 1 || len(a.Strata) != 1 || a.Strata[0].Names[0] != "HAR" {
		t.Errorf("%v %v", a.Stratified, a.Strata)
	}
	// All is on one joint: nothing shows how joints spread.
	if a.ByJoint != nil || !hasPart(a.Cautions, "Not compared by joint") || a.Method == "" || a.Assumption == "" || a.Headline == "" {
		t.Errorf("%v", a)
	}
	others := must[*pb.QueryComparisonResponse](t)(c.comparisons.QueryComparison(ctx, &pb.QueryComparisonRequest{
		Kinds: []pb.IncidentKind{pb.IncidentKind_INCIDENT_KIND_SEIZED}, A: groupValue(pb.Grouping_GROUPING_LOT, "M10-S-1"),
	}))
	if others.B.Name != "the others" || others.A.Failures != 0 || others.B.Failures != 1 || others.Crude.RelativeRisk.GetEstimate() != 0 || others.Stratified != nil {
		t.Errorf("%v", others)
	}
	galls := must[*pb.QueryComparisonResponse](t)(c.comparisons.QueryComparison(ctx, &pb.QueryComparisonRequest{
		Kinds: []pb.IncidentKind{pb.IncidentKind_INCIDENT_KIND_GALLING}, A: groupValue(pb.Grouping_GROUPING_TREATMENT, "none"), B: groupValue(pb.Grouping_GROUPING_TREATMENT, "anti-seize"),
	}))
	if !strings.HasPrefix(galls.Headline, "none galls ") {
		t.Errorf("headline %q does not say what a failure is", galls.Headline)
	}
	// Nothing failed of the lower arm: the ratio is beyond every number, the limit absent.
	unbounded := must[*pb.QueryComparisonResponse](t)(c.comparisons.QueryComparison(ctx, &pb.QueryComparisonRequest{
		Kinds: []pb.IncidentKind{pb.IncidentKind_INCIDENT_KIND_SEIZED},
		A:     groupValue(pb.Grouping_GROUPING_LOT, "M10-S-2"), B: groupValue(pb.Grouping_GROUPING_LOT, "M10-S-1"),
	})).Crude.RelativeRisk
	if unbounded.Estimate != nil || !unbounded.Unbounded || unbounded.Upper != nil || !unbounded.UpperUnbounded {
		t.Errorf("%v", unbounded)
	}
}

// With failures in April but no tightening, how many went well then is not known.
func TestQueryComparisonLeavesUnknownDenominatorsOut(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	_, err := c.comparisons.QueryComparison(ctx, &pb.QueryComparisonRequest{
		A: groupValue(pb.Grouping_GROUPING_MONTH, "2026-03"), B: groupValue(pb.Grouping_GROUPING_MONTH, "2026-04"),
	})
	if got := render(err); !strings.Contains(got, "field b: attempts of 2026-04 is 0") || !strings.Contains(got, "2026-04 with 10 failures") {
		t.Errorf("%s", got)
	}
	trend := must[*pb.QueryTrendResponse](t)(c.comparisons.QueryTrend(ctx, &pb.QueryTrendRequest{}))
	if len(trend.Rows) != 1 || trend.Rows[0].Label != "2026-03" || trend.Failures != 2 || trend.Attempts != 20 || !hasPart(trend.Cautions, "2026-04") {
		t.Errorf("%v", trend)
	}
}

func TestQueryStandingAndTrend(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	a := must[*pb.QueryStandingResponse](t)(c.comparisons.QueryStanding(ctx, &pb.QueryStandingRequest{Unit: pb.Grouping_GROUPING_LOT, Mix: []pb.Grouping{pb.Grouping_GROUPING_SITE}}))
	if len(a.Units) != 2 || a.Units[0].Unit != "M10-S-2" || a.Units[0].Failures != 10 || math.Abs(a.Units[0].Expected-13*12.0/30) > 1e-12 ||
		math.Abs(a.Units[0].GetRatio()-10/5.2) > 1e-12 || a.Units[0].CrudeRank != 1 || a.Units[0].Band == 0 || len(a.Headlines) == 0 || len(a.Cautions) == 0 {
		t.Errorf("%v", a)
	}
	if a.RatioPrior != pb.PriorSource_PRIOR_SOURCE_FEW_GROUPS || a.Unit != pb.Grouping_GROUPING_LOT || len(a.Mix) != 1 {
		t.Errorf("%v %v %v", a.RatioPrior, a.Unit, a.Mix)
	}
	usual := must[*pb.QueryStandingResponse](t)(c.comparisons.QueryStanding(ctx, &pb.QueryStandingRequest{}))
	if usual.Unit != pb.Grouping_GROUPING_SITE || len(usual.Mix) != 3 || usual.Units[0].Unit != "HAR" {
		t.Errorf("%v", usual)
	}
	days := must[*pb.QueryTrendResponse](t)(c.comparisons.QueryTrend(ctx, &pb.QueryTrendRequest{Period: pb.Grouping_GROUPING_DAY, CentrePer_1000: proto.Float64(100)}))
	if len(days.Points) != 1 || days.Points[0].Label != "2026-03-02" || days.Points[0].Value != 100 || days.Chart == 0 {
		t.Errorf("%v", days)
	}
}

// The effect of the lot in a model of one factor is that of the table: the odds are
// 2/15 and 10/3, whatever the method.
func TestQueryModel(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	a := must[*pb.QueryModelResponse](t)(c.comparisons.QueryModel(ctx, &pb.QueryModelRequest{
		Terms: []*pb.ModelTerm{{Factor: pb.Grouping_GROUPING_LOT, Reference: "M10-S-1"}}, ByJoint: true,
	}))
	one := a.Terms[0].Coefficients[0]
	if one.Level != "M10-S-2" || math.Abs(one.GetRatio()-(10.0/3)/(2.0/15)) > 1e-6 || a.Failures != 12 || a.Size != 30 || a.Clusters != 1 || a.Fit == nil {
		t.Errorf("%v", a)
	}
	if math.Abs(a.Terms[0].Rates[1].GetPer_1000()-1000*10.0/13) > 1e-6 {
		t.Errorf("%v", a.Terms[0].Rates)
	}
	// The odds of the reference are 2 to 15.
	if got := a.GetIntercept(); math.Abs(got.GetEstimate()-math.Log(2.0/15)) > 1e-6 || got.Ratio != nil || got.WaldPValue == nil || one.WaldZ == nil || one.WaldPValue == nil {
		t.Errorf("%v and %v", got, one)
	}
	poisson := must[*pb.QueryModelResponse](t)(c.comparisons.QueryModel(ctx, &pb.QueryModelRequest{
		Terms: []*pb.ModelTerm{{Factor: pb.Grouping_GROUPING_LOT, Reference: "M10-S-1"}}, Family: pb.ModelFamily_MODEL_FAMILY_POISSON,
	}))
	if got := poisson.Terms[0].Coefficients[0].GetRatio(); math.Abs(got-(10.0/13)/(2.0/17)) > 1e-6 || poisson.RatioName != "rate ratio" {
		t.Errorf("%v %s", got, poisson.RatioName)
	}
}

func TestQuerySparesAndLeaks(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	readyToWork(t, c)
	must[*pb.RecordSealingsResponse](t)(c.inspection.RecordSealings(ctx, &pb.RecordSealingsRequest{Sealings: []*pb.Sealing{sealing("2026-03-05T09:00:00Z")}}))
	spares := must[*pb.QuerySparesResponse](t)(c.comparisons.QuerySpares(ctx, &pb.QuerySparesRequest{Sites: []string{"sites/HAR"}, PackSize: 50, LeadTimeDays: 14}))
	if len(spares.Items) != 1 || spares.Items[0].Attempts != 30 || spares.Items[0].Failures != 12 || spares.Items[0].OnHand != 500-17 || spares.Items[0].PackSize != 50 ||
		spares.Items[0].Remaining == 0 || spares.Headline == "" || spares.AsOfTime.AsTime() != now {
		t.Errorf("%v", spares)
	}
	leaks := must[*pb.QueryLeaksResponse](t)(c.comparisons.QueryLeaks(ctx, &pb.QueryLeaksRequest{Filters: []*pb.GroupValue{groupValue(pb.Grouping_GROUPING_SITE, "har")}}))
	if leaks.Sealings != 1 || leaks.Failed != 0 || leaks.Joints != 1 || leaks.JointsNeverTested != 1 || leaks.Model != nil || len(leaks.Conditions) != 5 || !hasPart(leaks.Cautions, "never leak-tested") {
		t.Errorf("%v", leaks)
	}
	none := must[*pb.QueryLeaksResponse](t)(c.comparisons.QueryLeaks(ctx, &pb.QueryLeaksRequest{EndDate: "2026-03-04"}))
	if none.Sealings != 0 || none.RatePer_1000 != nil || !strings.Contains(none.Headline, "No sealing") {
		t.Errorf("%v", none)
	}
}

func hasPart(texts []string, part string) bool {
	return strings.Contains(strings.Join(texts, "\n"), part)
}

// Each refusal names its field, and what was expected.
func TestComparisonsRefuseWhatTheyCannotAnswer(t *testing.T) {
	c, ctx := convictions(t), t.Context()
	lot := func(v string) *pb.GroupValue { return groupValue(pb.Grouping_GROUPING_LOT, v) }
	person := groupValue(pb.Grouping_GROUPING_PERSON, "nd1")
	compare := func(r *pb.QueryComparisonRequest) func() error {
		return func() error { _, err := c.comparisons.QueryComparison(ctx, r); return err }
	}
	standing := func(r *pb.QueryStandingRequest) func() error {
		return func() error { _, err := c.comparisons.QueryStanding(ctx, r); return err }
	}
	trend := func(r *pb.QueryTrendRequest) func() error {
		return func() error { _, err := c.comparisons.QueryTrend(ctx, r); return err }
	}
	spares := func(r *pb.QuerySparesRequest) func() error {
		return func() error { _, err := c.comparisons.QuerySpares(ctx, r); return err }
	}
	model := func(r *pb.QueryModelRequest) func() error {
		return func() error { _, err := c.comparisons.QueryModel(ctx, r); return err }
	}
	leaks := func(r *pb.QueryLeaksRequest) func() error {
		return func() error { _, err := c.comparisons.QueryLeaks(ctx, r); return err }
	}
	for name, tc := range map[string]struct {
		call  func() error
		parts []string
	}{
		"no arm":      {compare(&pb.QueryComparisonRequest{}), []string{"InvalidArgument", "field a: is required"}},
		"unknown lot": {compare(&pb.QueryComparisonRequest{A: lot("M10-S-1"), B: lot("M10-S-3")}), []string{"NotFound", `lot "M10-S-3" is not known; the nearest known is "M10-S-`, "resource"}},
		"empty arm":   {compare(&pb.QueryComparisonRequest{A: groupValue(pb.Grouping_GROUPING_TREATMENT, "anti-seize"), B: groupValue(pb.Grouping_GROUPING_TREATMENT, "other-lubricant")}), []string{"InvalidArgument", "field b: attempts of other-lubricant is 0"}},
		"one arm":     {compare(&pb.QueryComparisonRequest{A: groupValue(pb.Grouping_GROUPING_SITE, "HAR")}), []string{"InvalidArgument", "field b: attempts of the others is 0"}},
		"same arms":   {compare(&pb.QueryComparisonRequest{A: lot("M10-S-1"), B: lot("M10-S-1")}), []string{"field b.value:", "is A too"}},
		"two groupings": {compare(&pb.QueryComparisonRequest{A: lot("M10-S-1"), B: groupValue(pb.Grouping_GROUPING_SITE, "HAR"), StratifyBy: []pb.Grouping{3, 1, 1, 99}, Filters: []*pb.GroupValue{lot("M10-S-2")},
			DifferenceMethod: 9, Confidence: 2, StartDate: "May"}),
			[]string{"field b.grouping: is site, but a is a lot", "field stratify_by[0]: lot is what is compared", "field stratify_by[2]: site is given twice, in stratify_by[1] too", "field stratify_by[3]: 99 is not a grouping",
				"field filters[0].grouping: lot is what is compared", "field difference_method: 9 is not a method; expected one of DIFFERENCE_METHOD_NEWCOMBE_HYBRID", "field confidence", "field start_date"}},
		"people":            {compare(&pb.QueryComparisonRequest{A: person}), []string{"InvalidArgument", "field by_name: is not set"}},
		"people ranked":     {standing(&pb.QueryStandingRequest{Unit: pb.Grouping_GROUPING_PERSON}), []string{"field by_name: is not set"}},
		"standing":          {standing(&pb.QueryStandingRequest{Unit: 77, RatioLimit: math.NaN(), LimitPer_1000: 1000}), []string{"field unit: 77 is not a grouping", "field ratio_limit", "field limit_per_1000"}},
		"mix of itself":     {standing(&pb.QueryStandingRequest{Mix: []pb.Grouping{pb.Grouping_GROUPING_SITE}}), []string{"field mix[0]: site is what is compared"}},
		"crude and mix":     {standing(&pb.QueryStandingRequest{CrudeOnly: true, Mix: []pb.Grouping{pb.Grouping_GROUPING_LOT}}), []string{"field mix: is given although crude_only is set"}},
		"supplier and lot":  {standing(&pb.QueryStandingRequest{Unit: pb.Grouping_GROUPING_SUPPLIER, Mix: []pb.Grouping{pb.Grouping_GROUPING_LOT}}), []string{"field mix:", "says which supplier"}},
		"period":            {trend(&pb.QueryTrendRequest{Period: pb.Grouping_GROUPING_SITE, Chart: 99, Weight: -1, CentrePer_1000: proto.Float64(-3)}), []string{"field period: 1 is not a period", "field chart: 99 is no chart", "field weight", "field centre_per_1000"}},
		"empty group":       {trend(&pb.QueryTrendRequest{StartDate: "2027-01-01"}), []string{"InvalidArgument", "field filters: the number of periods on record is 0"}},
		"chart of exposure": {trend(&pb.QueryTrendRequest{Chart: pb.ChartKind_CHART_KIND_U}), []string{"field chart:", "must be p, np"}},
		"spares":            {spares(&pb.QuerySparesRequest{Sites: []string{"HAR", "sites/HAX"}, ServiceLevel: 1, LeadTimeDays: -1, PackSize: -5}), []string{"field sites[0]", "field service_level", "field lead_time_days", "field pack_size"}},
		"spares elsewhere":  {spares(&pb.QuerySparesRequest{Sites: []string{"sites/HAX"}}), []string{"NotFound", `the nearest known is "HAR"`}},
		"spares of no time": {spares(&pb.QuerySparesRequest{AsOfTime: &timestamppb.Timestamp{Seconds: math.MaxInt64}}), []string{"field as_of_time"}},
		"no terms":          {model(&pb.QueryModelRequest{}), []string{"field terms: is required"}},
		"unknown column":    {model(&pb.QueryModelRequest{Terms: []*pb.ModelTerm{{Factor: 99}, {Covariate: 9}, {}, {Factor: 1, Covariate: 1}}}), []string{"field terms[0].factor: 99 is not a grouping", "field terms[1].covariate: 9 is no covariate", "field terms[2]: names neither", "field terms[3]: has both"}},
		"one level":         {model(&pb.QueryModelRequest{Terms: []*pb.ModelTerm{{Factor: pb.Grouping_GROUPING_SITE}}}), []string{"InvalidArgument", "field terms[0]:", "a factor needs at least two levels"}},
		"unknown reference": {model(&pb.QueryModelRequest{Terms: []*pb.ModelTerm{{Factor: pb.Grouping_GROUPING_LOT, Reference: "M10-S-9"}}}), []string{"field terms[0].reference:", "must be a level"}},
		"term twice":        {model(&pb.QueryModelRequest{Terms: []*pb.ModelTerm{{Factor: 3}, {Factor: 3}}}), []string{"field terms[1]: lot is given twice, in terms[0] too"}},
		"nothing failed":    {model(&pb.QueryModelRequest{Kinds: []pb.IncidentKind{pb.IncidentKind_INCIDENT_KIND_STRIPPED_THREAD}, Terms: []*pb.ModelTerm{{Factor: 3}}}), []string{"field kinds:", "there is nothing to explain"}},
		"nothing at all":    {model(&pb.QueryModelRequest{StartDate: "2027-01-01", Terms: []*pb.ModelTerm{{Factor: 3}}}), []string{"InvalidArgument", "field filters: rows is 0"}},
		"model of people":   {model(&pb.QueryModelRequest{Terms: []*pb.ModelTerm{{Factor: pb.Grouping_GROUPING_PERSON}}}), []string{"field by_name"}},
		"leaks of lots":     {leaks(&pb.QueryLeaksRequest{Filters: []*pb.GroupValue{lot("M10-S-1")}}), []string{"field filters[0].grouping: a sealing has no lot"}},
		"leaks of people":   {leaks(&pb.QueryLeaksRequest{ByPerson: true}), []string{"field by_name"}},
		"leaks elsewhere":   {leaks(&pb.QueryLeaksRequest{Filters: []*pb.GroupValue{groupValue(1, "HAX")}}), []string{"NotFound", `the nearest known is "HAR"`}},
	} {
		got := render(tc.call())
		for _, part := range tc.parts {
			if !strings.Contains(got, part) {
				t.Errorf("%s: %q is missing in %s", name, part, got)
			}
		}
	}
	// Asked for by name, people are told apart.
	if _, err := c.comparisons.QueryStanding(ctx, &pb.QueryStandingRequest{Unit: pb.Grouping_GROUPING_PERSON, ByName: true}); err != nil {
		t.Errorf("by name: %s", render(err))
	}
}

// The enums of the comparisons have the domain's values under the same numbers.
func TestComparisonEnumsAreTheDomains(t *testing.T) {
	checkEnum(t, pb.ChartKind(0).Descriptor(), analysis.ChartKinds, parser(analysis.ChartKinds))
	checkEnum(t, pb.ModelFamily(0).Descriptor(), analysis.ModelFamilies, parser(analysis.ModelFamilies))
	checkEnum(t, pb.ModelCovariate(0).Descriptor(), analysis.ModelCovariates, parser(analysis.ModelCovariates))
	for i, want := range analysis.ModelPenalties() {
		if got := enumWord(pb.ModelPenalty(i+1).String(), "MODEL_PENALTY_"); got != want {
			t.Errorf("penalty %d is %s, in the domain %s", i+1, got, want)
		}
	}
	for m := stats.NewcombeHybrid; m <= stats.MiettinenNurminen; m++ {
		if got := enumWord(pb.DifferenceMethod(m).String(), "DIFFERENCE_METHOD_"); got != m.String() && !strings.HasPrefix(got, m.String()) {
			t.Errorf("%s, in stats %s", got, m)
		}
	}
	for m := stats.Katz; m <= stats.MiettinenNurminenRatio; m++ {
		if got := enumWord(pb.RelativeRiskMethod(m).String(), "RELATIVE_RISK_METHOD_"); got != m.String() && !strings.HasPrefix(got, m.String()) {
			t.Errorf("%s, in stats %s", got, m)
		}
	}
	for f := stats.Fitted; f <= stats.EndlessSpread; f++ {
		if got := enumWord(pb.PriorSource(f+1).String(), "PRIOR_SOURCE_"); got != f.String() {
			t.Errorf("%s, in stats %s", got, f)
		}
	}
	for b, want := range map[analysis.StandingBand]pb.StandingBand{
		analysis.BandUnknown: pb.StandingBand_STANDING_BAND_UNSPECIFIED, analysis.AboveThreeSigma: pb.StandingBand_STANDING_BAND_ABOVE_THREE_SIGMA,
		analysis.AboveTwoSigma: pb.StandingBand_STANDING_BAND_ABOVE_TWO_SIGMA, analysis.WithinFunnel: pb.StandingBand_STANDING_BAND_WITHIN,
		analysis.BelowTwoSigma: pb.StandingBand_STANDING_BAND_BELOW_TWO_SIGMA, analysis.BelowThreeSigma: pb.StandingBand_STANDING_BAND_BELOW_THREE_SIGMA,
	} {
		if int(b) != int(want) {
			t.Errorf("%s is %d, %s is %d", b, b, want, want)
		}
	}
}

func enumWord(name, prefix string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(name, prefix)), "_", "-")
}
