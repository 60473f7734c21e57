package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) comparisons() (pb.ComparisonServiceClient, error) {
	conn, err := a.dial()
	if err != nil {
		return nil, err
	}
	return pb.NewComparisonServiceClient(conn), nil
}

func apiGroupings(by []analysis.Grouping) []pb.Grouping {
	var list []pb.Grouping
	for _, g := range by {
		list = append(list, pb.Grouping(g))
	}
	return list
}

// armArg reads a value to compare.
func armArg(name string, g analysis.Grouping, typed string) (*pb.GroupValue, error) {
	if typed == noneText {
		return &pb.GroupValue{Grouping: pb.Grouping(g)}, nil
	}
	value, err := filterValue(pb.Grouping(g), typed)
	if err != nil {
		return nil, usage("%s: %v", name, err)
	}
	return &pb.GroupValue{Grouping: pb.Grouping(g), Value: value}, nil
}

func (a *app) compareOnServer(ctx context.Context, args []string, o *compareOptions) error {
	g, err := groupingArg(args[0])
	if err != nil {
		return err
	}
	if slices.Contains(o.strata, g) {
		return usage("--strata: %s is what is compared; expected other groupings", analysis.Groupings.Name(g))
	}
	if err := checkByName(o.byName, append(o.strata, g)...); err != nil {
		return err
	}
	if o.Verb != "" {
		return usage("--verb belongs to --from; on the server the kinds of incident say what a failure does")
	}
	request := &pb.QueryComparisonRequest{
		Kinds: o.scope.kinds, Filters: o.scope.filters, StartDate: o.scope.since, EndDate: o.scope.until, StratifyBy: apiGroupings(o.strata),
		Confidence: o.Confidence, Uncorrected: o.Uncorrected, ByJoint: o.byJoint, ByName: o.byName,
		DifferenceMethod: pb.DifferenceMethod(o.Difference), RelativeRiskMethod: pb.RelativeRiskMethod(o.RelativeRisk), OddsRatioMethod: pb.OddsRatioMethod(o.OddsRatio),
	}
	if request.A, err = armArg("A", g, args[1]); err != nil {
		return err
	}
	if !strings.EqualFold(args[2], othersWord) {
		if request.B, err = armArg("B", g, args[2]); err != nil {
			return err
		}
	}
	client, err := a.comparisons()
	if err != nil {
		return err
	}
	got, err := client.QueryComparison(ctx, request)
	if err != nil {
		names := o.scope.f.names()
		names["a"], names["a.value"], names["b"], names["b.value"] = "A", "A", "B", "B"
		return a.callFailure(err, names)
	}
	return a.tellComparison(&comparisonAnswer{CompareAnswer: comparisonFrom(got), byJoint: jointComparisonFrom(got.GetByJoint()),
		grouping: g, by: o.strata, confidence: orDefault(o.Confidence, 0.95)})
}

// byJointNote is the comparison that allows for fasteners of one joint failing
// together; null where there is none.
func byJointNote(j *analysis.CompareClusterAnswer) output.Note {
	n := output.Note{Key: "by_joint"}
	if j == nil {
		return n
	}
	n.Value = output.Object{
		{Key: "headline", Value: j.Headline}, {Key: "joints_a", Value: j.ClustersA}, {Key: "joints_b", Value: j.ClustersB},
		{Key: "relative_risk", Value: pointed(j.Robust.Estimate)}, {Key: "relative_risk_unbounded", Value: j.Robust.Unbounded},
		{Key: "relative_risk_lower", Value: j.Robust.Lower}, {Key: "relative_risk_upper", Value: pointed(j.Robust.Upper)},
		{Key: "naive_lower", Value: j.Naive.Lower}, {Key: "naive_upper", Value: pointed(j.Naive.Upper)},
		{Key: "difference_per_1000", Value: j.RobustDifference.Per1000},
		{Key: "difference_lower_per_1000", Value: pointed(j.RobustDifference.LowerPer1000)}, {Key: "difference_upper_per_1000", Value: pointed(j.RobustDifference.UpperPer1000)},
		{Key: "design_effect", Value: pointed(j.DesignEffect)}, {Key: "design_effect_a", Value: pointed(j.DesignEffectA)}, {Key: "design_effect_b", Value: pointed(j.DesignEffectB)},
		{Key: "method", Value: j.Method}, {Key: "assumption", Value: j.Assumption}, {Key: "cautions", Value: j.Cautions},
	}
	n.Text = []string{fmt.Sprintf("by joint (%d and %d joints): %s", j.ClustersA, j.ClustersB, j.Headline)}
	for _, c := range j.Cautions {
		n.Text = append(n.Text, "by joint, caution: "+c)
	}
	return n
}

func (a *app) standingOnServer(ctx context.Context, typed string, o *standingOptions) error {
	g, err := groupingArg(typed)
	if err != nil {
		return err
	}
	if slices.Contains(o.mix, g) {
		return usage("--mix: %s is what is ranked; expected other groupings", analysis.Groupings.Name(g))
	}
	if err := checkByName(o.byName, append(o.mix, g)...); err != nil {
		return err
	}
	client, err := a.comparisons()
	if err != nil {
		return err
	}
	got, err := client.QueryStanding(ctx, &pb.QueryStandingRequest{
		Kinds: o.scope.kinds, Unit: pb.Grouping(g), Mix: apiGroupings(o.mix), CrudeOnly: o.mixGiven && len(o.mix) == 0,
		Filters: o.scope.filters, StartDate: o.scope.since, EndDate: o.scope.until,
		Confidence: o.Confidence, RatioLimit: o.RatioLimit, LimitPer_1000: o.LimitPer1000, Seed: o.Seed, ByName: o.byName,
	})
	if err != nil {
		return a.callFailure(err, o.scope.f.names())
	}
	var mix []analysis.Grouping
	for _, m := range got.GetMix() {
		mix = append(mix, analysis.Grouping(m))
	}
	return a.tellStanding(&standingShown{StandingAnswer: standingFrom(got), grouping: g, mix: mix,
		confidence: orDefault(o.Confidence, 0.95), ratioLimit: orDefault(o.RatioLimit, 1), limitPer1000: o.LimitPer1000})
}

// trendPeriods are what a row of a trend on the server may be.
var trendPeriods = []string{"month", "week", "day"}

func (a *app) trendOnServer(ctx context.Context, f *fields, o *trendOptions) error {
	if f.isGiven("unit") {
		return usage("--unit belongs to an exposure, and the server counts attempts")
	}
	request := &pb.QueryTrendRequest{
		Kinds: o.scope.kinds, Filters: o.scope.filters, StartDate: o.scope.since, EndDate: o.scope.until,
		Chart: pb.ChartKind(o.Kind), Weight: o.Weight,
	}
	if o.period > 0 {
		request.Period = pb.Grouping(slices.Index(groupings, trendPeriods[o.period-1]) + 1)
	}
	if f.isGiven("standard") {
		centre := 1000 * o.standard
		request.CentrePer_1000 = &centre
	}
	client, err := a.comparisons()
	if err != nil {
		return err
	}
	got, err := client.QueryTrend(ctx, request)
	if err != nil {
		names := f.names()
		names["chart"], names["weight"], names["centre_per_1000"] = "--chart", "--weight", "--standard"
		return a.callFailure(err, names)
	}
	return a.tellTrend(trendFrom(got), false, len(got.GetRows()))
}

// site adds a site to those that are asked about.
func (s *scope) site(typed string) error {
	name, err := siteOf(typed)
	if err == nil {
		s.filters = append(s.filters, &pb.GroupValue{Grouping: pb.Grouping_GROUPING_SITE, Value: name})
	}
	return err
}

func (a *app) sparesOnServer(ctx context.Context, f *fields, o *sparesOptions) error {
	asOf := a.now()
	if o.asOf != "" {
		asOf = dayOf(o.asOf)
	}
	request := &pb.QuerySparesRequest{ServiceLevel: o.level, LeadTimeDays: int64(o.lead), PackSize: int64(o.pack), AsOfTime: timestamppb.New(asOf)}
	for _, v := range o.scope.filters {
		request.Sites = append(request.Sites, v.GetValue())
	}
	client, err := a.comparisons()
	if err != nil {
		return err
	}
	got, err := client.QuerySpares(ctx, request)
	if err != nil {
		names := f.names()
		names["service_level"] = "--service-level"
		return a.callFailure(err, names)
	}
	return a.tellSpares(sparesFrom(got), got.GetAsOfTime().AsTime())
}
