package main

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// As the client's report has them: lots compared, charts of sites besides that of all,
// weeks ahead, questions at a time.
const (
	questionLots   = 14
	questionCharts = 2
	questionWeeks  = 8
	questionCalls  = 4
)

// reportQuestions are what `trackctl report --all` asks.
type reportQuestions struct {
	since     string
	asOf      time.Time
	rates     pb.AnalysisServiceClient
	compare   pb.ComparisonServiceClient
	ready     pb.ReadinessServiceClient
	control   pb.ControlServiceClient
	progress  pb.ProgressServiceClient
	structure pb.StructureServiceClient
	impact    pb.ImpactServiceClient

	sites []string
	// worst are the lots, and standing the sites, that the second round is about.
	worst, standing []string
}

// question is one analysis of the report, or the same one of several things.
type question struct {
	what string
	ask  func(context.Context) error
}

func newReportQuestions(conn *grpc.ClientConn, since string) *reportQuestions {
	return &reportQuestions{since: since, asOf: time.Now(), rates: pb.NewAnalysisServiceClient(conn), compare: pb.NewComparisonServiceClient(conn),
		ready: pb.NewReadinessServiceClient(conn), control: pb.NewControlServiceClient(conn), progress: pb.NewProgressServiceClient(conn), structure: pb.NewStructureServiceClient(conn), impact: pb.NewImpactServiceClient(conn)}
}

// askAll asks everything as the client does: the sites, then what needs nothing else,
// then the lots and sites that stand out.
func (q *reportQuestions) askAll(ctx context.Context) error {
	if err := q.listSites(ctx); err != nil {
		return err
	}
	if err := together(ctx, append(q.first(), q.eachSite()...)); err != nil {
		return err
	}
	return together(ctx, append(q.eachLot(), q.eachChart()...))
}

// each gives every kind of question to be asked alone, after askAll.
func (q *reportQuestions) each() []question {
	row := func(what string, all []question) question {
		return question{what, func(ctx context.Context) error {
			for _, one := range all {
				if err := one.ask(ctx); err != nil {
					return err
				}
			}
			return nil
		}}
	}
	return append(q.first(), row("progress of each site, one after another", q.eachSite()),
		row("the worst lots against the others, one after another", q.eachLot()), row("charts, one after another", q.eachChart()))
}

// together asks a few at a time.
func together(ctx context.Context, all []question) error {
	places := make(chan struct{}, questionCalls)
	errs := make([]error, len(all))
	var wg sync.WaitGroup
	for i, one := range all {
		places <- struct{}{}
		wg.Go(func() {
			defer func() { <-places }()
			errs[i] = one.ask(ctx)
		})
	}
	wg.Wait()
	return cmp.Or(errs...)
}

func (q *reportQuestions) listSites(ctx context.Context) error {
	got, err := q.structure.ListSites(ctx, &pb.ListSitesRequest{PageSize: 1000})
	q.sites = nil
	for _, s := range got.GetSites() {
		q.sites = append(q.sites, s.GetName())
	}
	return err
}

// first are the questions that need no other's answer.
func (q *reportQuestions) first() []question {
	asOf := timestamppb.New(q.asOf)
	return []question{
		{"standing of sites", func(ctx context.Context) error {
			got, err := q.compare.QueryStanding(ctx, &pb.QueryStandingRequest{Unit: pb.Grouping_GROUPING_SITE, StartDate: q.since})
			q.standing = worstOf(got, questionCharts)
			return err
		}},
		{"standing of lots", func(ctx context.Context) error {
			got, err := q.compare.QueryStanding(ctx, &pb.QueryStandingRequest{Unit: pb.Grouping_GROUPING_LOT, StartDate: q.since})
			q.worst = worstOf(got, questionLots)
			return err
		}},
		{"incidents by kind", q.askKinds},
		{"coverage", func(ctx context.Context) error {
			weeks := int32(questionWeeks)
			_, err := q.ready.QueryCoverage(ctx, &pb.QueryCoverageRequest{Weeks: &weeks, AsOfTime: asOf})
			return err
		}},
		{"tools due", func(ctx context.Context) error {
			_, err := q.rates.ListDueItems(ctx, &pb.ListDueItemsRequest{AsOfTime: asOf, Within: durationpb.New(questionWeeks * 7 * 24 * time.Hour)})
			return err
		}},
		{"spares", func(ctx context.Context) error {
			_, err := q.compare.QuerySpares(ctx, &pb.QuerySparesRequest{AsOfTime: asOf})
			return err
		}},
		{"open holds", q.askHolds},
		{"failed calibrations", func(ctx context.Context) error {
			_, err := q.impact.ListFailedCalibrations(ctx, &pb.ListFailedCalibrationsRequest{PageSize: 1000, AsOfTime: asOf})
			return err
		}},
		{"heads of the chains", func(ctx context.Context) error {
			_, err := q.progress.ListChainHeads(ctx, &pb.ListChainHeadsRequest{})
			return err
		}},
	}
}

func (q *reportQuestions) askKinds(ctx context.Context) error {
	_, err := q.rates.CountIncidents(ctx, &pb.CountIncidentsRequest{StartDate: q.since})
	return err
}

func (q *reportQuestions) askHolds(ctx context.Context) error {
	request := &pb.ListHoldsRequest{OpenOnly: true, PageSize: 1000}
	for {
		page, err := q.control.ListHolds(ctx, request)
		if request.PageToken = page.GetNextPageToken(); err != nil || request.PageToken == "" {
			return err
		}
	}
}

func (q *reportQuestions) eachSite() (all []question) {
	for _, site := range q.sites {
		all = append(all, question{site, func(ctx context.Context) error {
			_, err := q.progress.GetProgress(ctx, &pb.GetProgressRequest{Place: site})
			return err
		}})
	}
	return all
}

func (q *reportQuestions) eachLot() (all []question) {
	for _, lot := range q.worst {
		all = append(all, question{lot, func(ctx context.Context) error {
			_, err := q.compare.QueryComparison(ctx, &pb.QueryComparisonRequest{
				A: &pb.GroupValue{Grouping: pb.Grouping_GROUPING_LOT, Value: lot}, StartDate: q.since,
				StratifyBy: []pb.Grouping{pb.Grouping_GROUPING_SITE, pb.Grouping_GROUPING_TREATMENT, pb.Grouping_GROUPING_MATERIAL},
			})
			return err
		}}, question{lot, func(ctx context.Context) error {
			_, err := q.progress.FindLot(ctx, &pb.FindLotRequest{Lot: "lots/" + lot})
			return err
		}})
	}
	return all
}

func (q *reportQuestions) eachChart() []question {
	filters := [][]*pb.GroupValue{nil}
	for _, site := range q.standing {
		filters = append(filters, []*pb.GroupValue{{Grouping: pb.Grouping_GROUPING_SITE, Value: site}})
	}
	var all []question
	for _, f := range filters {
		all = append(all, question{"chart", func(ctx context.Context) error {
			_, err := q.compare.QueryTrend(ctx, &pb.QueryTrendRequest{Period: pb.Grouping_GROUPING_WEEK, Filters: f, StartDate: q.since})
			return err
		}})
	}
	return all
}

// worstOf are the units that stand worst by the shrunk ratio.
func worstOf(got *pb.QueryStandingResponse, most int) (names []string) {
	units := slices.DeleteFunc(slices.Clone(got.GetUnits()), func(u *pb.StandingUnit) bool { return u.Ratio == nil })
	slices.SortStableFunc(units, func(a, b *pb.StandingUnit) int { return cmp.Compare(b.GetShrunkRatio(), a.GetShrunkRatio()) })
	for _, u := range units[:min(most, len(units))] {
		names = append(names, u.GetUnit())
	}
	return names
}
