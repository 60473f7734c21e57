package cli

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/report"
	pb "jointledger/proto/jointledger/v1"
)

// reportWeeks is how far ahead the report looks for tools due and work covered.
const reportWeeks = 8

// reportLots is how many lots the forest plot shows, and so how many are compared.
const reportLots = 14

// reportCalls is how many questions are asked at a time, over one connection.
const reportCalls = 4

// partFailed is no part of the page by itself: what tools that failed put in question
// stands among the actions.
const partFailed report.Part = "failed calibrations"

// reportAnswers are what the server said. An answer that is nil could not be had;
// refused says why, by the part of the report.
type reportAnswers struct {
	options          reportOptions
	preparedBy       string
	program          string
	begun, ended     time.Time
	asOf             time.Time
	sites            []*pb.Site
	siteStanding     *pb.QueryStandingResponse
	lotStanding      *pb.QueryStandingResponse
	lots             []lotComparison
	trends           []trendOf
	incidents        []*pb.IncidentCount
	failed           []*pb.FailedCalibration
	heads            []*pb.ChainHead
	coverage         *pb.QueryCoverageResponse
	due              *pb.ListDueItemsResponse
	spares           *pb.QuerySparesResponse
	holds            []*pb.Hold
	progress         map[string]*progress
	refused          map[report.Part]string
	mutex            sync.Mutex
	allSitesStanding bool
}

// lotComparison is a lot against the others within the same site, treatment and
// material.
type lotComparison struct {
	lot    string
	got    *pb.QueryComparisonResponse
	onHand int64
}

// trendOf is the chart of something.
type trendOf struct {
	of  string
	got *pb.QueryTrendResponse
}

// asking runs questions a few at a time. The first failure that is not a plain
// "cannot be answered" ends them all.
type asking struct {
	group  sync.WaitGroup
	places chan struct{}
	once   sync.Once
	err    error
	cancel context.CancelFunc
}

func (q *asking) ask(question func() error) {
	q.group.Go(func() {
		q.places <- struct{}{}
		defer func() { <-q.places }()
		if err := question(); err != nil {
			q.once.Do(func() { q.err = err; q.cancel() })
		}
	})
}

func newAsking(ctx context.Context) (*asking, context.Context) {
	ctx, cancel := context.WithCancel(ctx)
	return &asking{places: make(chan struct{}, reportCalls), cancel: cancel}, ctx
}

func (q *asking) wait() error {
	q.group.Wait()
	q.cancel()
	return q.err
}

// unanswerable says why the record does not allow an answer; anything else is an
// error.
func (r *reportAnswers) unanswerable(part report.Part, err error) error {
	if err == nil {
		return nil
	}
	st, ok := status.FromError(err)
	switch {
	case !ok:
		return err
	case st.Code() == codes.InvalidArgument || st.Code() == codes.PermissionDenied || st.Code() == codes.Unimplemented:
		// --since was read already; what is left is what the record does not allow.
		r.mutex.Lock()
		defer r.mutex.Unlock()
		if r.refused[part] == "" {
			r.refused[part] = reasonOf(st)
		}
		return nil
	}
	return err
}

// reasonOf gives the sentence of what a field violates, where there is one. The name
// of the field is left out: who reads the report did not ask the question.
func reasonOf(st *status.Status) string {
	f := (&app{}).callFailure(st.Err(), nil)
	if len(f.lines) == 0 {
		return f.message
	}
	if _, sentence, ok := strings.Cut(f.lines[0], ": "); ok {
		return sentence
	}
	return f.lines[0]
}

// askForReport asks the server everything that the report says.
func (a *app) askForReport(ctx context.Context, o *reportOptions) (*reportAnswers, error) {
	conn, err := a.dial()
	if err != nil {
		return nil, err
	}
	now := a.now()
	r := &reportAnswers{options: *o, preparedBy: a.settings.person, program: "trackctl " + versionText(), begun: now, asOf: o.asOf(now),
		progress: map[string]*progress{}, refused: map[report.Part]string{}}
	if err := r.readSites(ctx, conn); err != nil {
		return nil, a.reportFailure(err)
	}
	q, asked := newAsking(ctx)
	r.askCounts(asked, q, conn)
	r.askWork(asked, q, conn)
	for _, s := range r.sites {
		q.ask(func() error { return a.askProgress(asked, conn, r, s.GetName()) })
	}
	if err := q.wait(); err != nil {
		return nil, a.reportFailure(err)
	}
	q, asked = newAsking(ctx)
	r.askLots(asked, q, conn)
	r.askTrends(asked, q, conn)
	if err := q.wait(); err != nil {
		return nil, a.reportFailure(err)
	}
	r.ended = a.now()
	return r, nil
}

// reportFailure words what ended the report.
func (a *app) reportFailure(err error) error {
	var f *failure
	if errors.As(err, &f) {
		return f
	}
	return a.callFailure(err, map[string]string{"start_date": "--since", "end_date": "--until", "name": "--site", "sites[0]": "--site", "filters[0].value": "--site or --region"})
}

// readSites reads the sites in the scope.
func (r *reportAnswers) readSites(ctx context.Context, conn *grpc.ClientConn) error {
	client := pb.NewStructureServiceClient(conn)
	if r.options.site != "" {
		site, err := client.GetSite(ctx, &pb.GetSiteRequest{Name: ledger.Place{Site: r.options.site}.Resource()})
		r.sites = []*pb.Site{site}
		return err
	}
	err := pages(0, func(size int32, token string) ([]*pb.Site, string, error) {
		page, err := client.ListSites(ctx, &pb.ListSitesRequest{PageSize: size, PageToken: token, Region: r.options.region})
		return page.GetSites(), page.GetNextPageToken(), err
	}, func(s *pb.Site) error {
		r.sites = append(r.sites, s)
		return nil
	})
	if err == nil && len(r.sites) == 0 {
		what := "there is no site on record"
		if r.options.region != "" {
			what = "no site is in region " + r.options.region
		}
		return &failure{code: exitUnknown, message: what + "; expected the scope of a report to hold one at least"}
	}
	return err
}

func (r *reportAnswers) siteNames() []string {
	if r.options.all {
		return nil
	}
	var names []string
	for _, s := range r.sites {
		names = append(names, s.GetName())
	}
	return names
}

// askCounts asks what failed: by site, by lot and by kind.
func (r *reportAnswers) askCounts(ctx context.Context, q *asking, conn *grpc.ClientConn) {
	o, client := r.options, pb.NewComparisonServiceClient(conn)
	q.ask(func() error {
		// One site alone can be compared with nothing: it is shown among all.
		filters := o.filters()
		if o.site != "" {
			filters, r.allSitesStanding = nil, true
		}
		got, err := client.QueryStanding(ctx, &pb.QueryStandingRequest{Kinds: o.kinds, Unit: pb.Grouping_GROUPING_SITE, Filters: filters, StartDate: o.since, EndDate: o.until})
		r.siteStanding = got
		return r.unanswerable(report.PartSites, err)
	})
	q.ask(func() error {
		got, err := client.QueryStanding(ctx, &pb.QueryStandingRequest{Kinds: o.kinds, Unit: pb.Grouping_GROUPING_LOT, Filters: o.filters(), StartDate: o.since, EndDate: o.until})
		r.lotStanding = got
		return r.unanswerable(report.PartLots, err)
	})
	q.ask(func() error { return r.askIncidents(ctx, conn) })
	q.ask(func() error { return r.askHeads(ctx, conn) })
}

// askIncidents counts the incidents of each kind, those that name no fastener included.
func (r *reportAnswers) askIncidents(ctx context.Context, conn *grpc.ClientConn) error {
	got, err := pb.NewAnalysisServiceClient(conn).CountIncidents(ctx, &pb.CountIncidentsRequest{Sites: r.siteNames(), StartDate: r.options.since, EndDate: r.options.until})
	r.incidents = got.GetKinds()
	return r.unanswerable(report.PartIncidents, err)
}

// askHeads reads the heads of the chains, which go on the page so that a printed copy
// shows whether the record was made anew since.
func (r *reportAnswers) askHeads(ctx context.Context, conn *grpc.ClientConn) error {
	got, err := pb.NewProgressServiceClient(conn).ListChainHeads(ctx, &pb.ListChainHeadsRequest{Sites: r.siteNames()})
	r.heads = got.GetHeads()
	return r.unanswerable("", err)
}

// askFailed asks which tools came back failed, and how many joints that puts in
// question.
func (r *reportAnswers) askFailed(ctx context.Context, conn *grpc.ClientConn) error {
	request := &pb.ListFailedCalibrationsRequest{Sites: r.siteNames(), AsOfTime: timestamppb.New(r.asOf)}
	client := pb.NewImpactServiceClient(conn)
	err := pages(0, func(size int32, token string) ([]*pb.FailedCalibration, string, error) {
		request.PageSize, request.PageToken = size, token
		page, err := client.ListFailedCalibrations(ctx, request)
		return page.GetFailedCalibrations(), page.GetNextPageToken(), err
	}, func(f *pb.FailedCalibration) error {
		r.failed = append(r.failed, f)
		return nil
	})
	return r.unanswerable(partFailed, err)
}

// askWork asks what lies ahead: tools, spares and holds.
func (r *reportAnswers) askWork(ctx context.Context, q *asking, conn *grpc.ClientConn) {
	sites, asOf := r.siteNames(), timestamppb.New(r.asOf)
	q.ask(func() error { return r.askFailed(ctx, conn) })
	q.ask(func() error {
		weeks := int32(reportWeeks)
		got, err := pb.NewReadinessServiceClient(conn).QueryCoverage(ctx, &pb.QueryCoverageRequest{Sites: sites, Weeks: &weeks, AsOfTime: asOf})
		r.coverage = got
		return r.unanswerable(report.PartCoverage, err)
	})
	q.ask(func() error {
		got, err := pb.NewAnalysisServiceClient(conn).ListDueItems(ctx, &pb.ListDueItemsRequest{Sites: sites, AsOfTime: asOf, Within: durationpb.New(reportWeeks * 7 * 24 * time.Hour)})
		r.due = got
		return r.unanswerable(report.PartCoverage, err)
	})
	q.ask(func() error {
		got, err := pb.NewComparisonServiceClient(conn).QuerySpares(ctx, &pb.QuerySparesRequest{Sites: sites, AsOfTime: asOf, LeadTimeDays: r.options.lead, PackSize: r.options.pack})
		r.spares = got
		return r.unanswerable(report.PartSpares, err)
	})
	q.ask(func() error {
		client, inScope := pb.NewControlServiceClient(conn), map[string]bool{}
		for _, s := range r.sites {
			inScope[s.GetName()] = true
		}
		request := &pb.ListHoldsRequest{OpenOnly: true}
		if r.options.site != "" {
			request.Place = r.sites[0].GetName()
		}
		err := pages(0, func(size int32, token string) ([]*pb.Hold, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListHolds(ctx, request)
			return page.GetHolds(), page.GetNextPageToken(), err
		}, func(h *pb.Hold) error {
			// A server from before open_only sends the closed ones too.
			if holdOpen(h) && (inScope[h.GetSite()] || h.GetSite() == "" && inScope[siteOfPlace(h.GetPlace())]) {
				r.holds = append(r.holds, h)
			}
			return nil
		})
		return r.unanswerable(report.PartHolds, err)
	})
}

// askProgress asks how far a site has come.
func (a *app) askProgress(ctx context.Context, conn *grpc.ClientConn, r *reportAnswers, site string) error {
	got, err := pb.NewProgressServiceClient(conn).GetProgress(ctx, &pb.GetProgressRequest{Place: site})
	if err != nil {
		return r.unanswerable(report.PartProgress, err)
	}
	code := ledger.ShortName(site)
	p, err := a.reckonProgress(ledger.Place{Site: code}, got, progressOptions{asOf: r.asOf.Format(time.DateOnly), confidence: 0.95})
	if err != nil {
		return err
	}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	r.progress[code] = p
	return nil
}

// askLots compares the lots that stand worst with the others, like with like, and
// asks what is left of those that stand out.
func (r *reportAnswers) askLots(ctx context.Context, q *asking, conn *grpc.ClientConn) {
	worst := worstLots(r.lotStanding)
	r.lots = make([]lotComparison, len(worst))
	client, lots, o := pb.NewComparisonServiceClient(conn), pb.NewProgressServiceClient(conn), r.options
	for i, u := range worst {
		r.lots[i].lot = u.GetUnit()
		q.ask(func() error {
			got, err := client.QueryComparison(ctx, &pb.QueryComparisonRequest{
				Kinds: o.kinds, A: &pb.GroupValue{Grouping: pb.Grouping_GROUPING_LOT, Value: u.GetUnit()}, Filters: o.filters(), StartDate: o.since, EndDate: o.until,
				StratifyBy: []pb.Grouping{pb.Grouping_GROUPING_SITE, pb.Grouping_GROUPING_TREATMENT, pb.Grouping_GROUPING_MATERIAL},
			})
			r.lots[i].got = got
			return r.unanswerable(report.PartLots, err)
		})
		if u.GetBand() != pb.StandingBand_STANDING_BAND_ABOVE_THREE_SIGMA && u.GetBand() != pb.StandingBand_STANDING_BAND_ABOVE_TWO_SIGMA {
			continue
		}
		q.ask(func() error {
			got, err := lots.FindLot(ctx, &pb.FindLotRequest{Lot: "lots/" + u.GetUnit()})
			for _, s := range got.GetStocks() {
				if names := r.siteNames(); names == nil || slices.Contains(names, s.GetSite()) {
					r.lots[i].onHand += max(0, s.GetOnHand())
				}
			}
			if err != nil && status.Code(err) == codes.NotFound {
				return nil // counted under a number that is not registered: there is no stock of it
			}
			return err
		})
	}
}

// worstLots are those that stand worst by the shrunk ratio, which does not put a lot of
// a few fasteners first.
func worstLots(standing *pb.QueryStandingResponse) []*pb.StandingUnit {
	lots := slices.DeleteFunc(slices.Clone(standing.GetUnits()), func(u *pb.StandingUnit) bool { return u.GetUnit() == "" || u.Ratio == nil })
	slices.SortStableFunc(lots, func(a, b *pb.StandingUnit) int {
		switch x, y := a.GetShrunkRatio(), b.GetShrunkRatio(); {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	return lots[:min(reportLots, len(lots))]
}

// askTrends charts the scope, and the sites that stand out in it.
func (r *reportAnswers) askTrends(ctx context.Context, q *asking, conn *grpc.ClientConn) {
	of := []trendOf{{of: "failures, " + r.options.scope()}}
	filters := [][]*pb.GroupValue{r.options.filters()}
	for _, u := range r.siteStanding.GetUnits() {
		if r.options.site == "" && len(r.sites) > 1 && len(of) < 3 && u.GetUnit() != "" && aboveLimits(u) {
			of = append(of, trendOf{of: "failures at site " + u.GetUnit()})
			filters = append(filters, []*pb.GroupValue{{Grouping: pb.Grouping_GROUPING_SITE, Value: u.GetUnit()}})
		}
	}
	r.trends = of
	client := pb.NewComparisonServiceClient(conn)
	for i := range of {
		q.ask(func() error {
			request := &pb.QueryTrendRequest{Kinds: r.options.kinds, Period: pb.Grouping_GROUPING_WEEK, Filters: filters[i], StartDate: r.options.since, EndDate: r.options.until}
			got, err := client.QueryTrend(ctx, request)
			if err == nil && len(got.GetRows()) < fewestWeeks {
				// A few weeks make no chart; their days may.
				request.Period = pb.Grouping_GROUPING_DAY
				got, err = client.QueryTrend(ctx, request)
			}
			r.trends[i].got = got
			return r.unanswerable(report.PartTrends, err)
		})
	}
}

// fewestWeeks is how many weeks make a chart by week; below, it is one by day.
const fewestWeeks = 6

func aboveLimits(u *pb.StandingUnit) bool {
	return analysis.StandingBand(u.GetBand()) == analysis.AboveTwoSigma || analysis.StandingBand(u.GetBand()) == analysis.AboveThreeSigma
}

// siteOfPlace is the resource name of the site of a place.
func siteOfPlace(place string) string {
	p, err := ledger.ParsePlaceResource(place)
	if err != nil {
		return ""
	}
	return ledger.Place{Site: p.Site}.Resource()
}
