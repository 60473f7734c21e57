package cli

import (
	"bytes"

	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/report"
	picture "jointledger/internal/report/figure"
	pb "jointledger/proto/jointledger/v1"
)

// updateFigures is set to have testdata/report_figures.golden written anew.
var updateFigures = os.Getenv("UPDATE_FIGURES") != ""

func of[T any](v T) *T { return &v }

var reportDay = time.Date(2026, 6, 17, 12, 0, 0, 0, time.UTC) // a Wednesday, ISO week 25

// reportFixture are answers in which lot B is bad, site RVB is worst by the crude rate
// and MSG at equal mix, and a site without a ratio, a gap and old holds occur.
func reportFixture() *reportAnswers {
	unit := func(name string, x, n int64, crude int32, expected float64, ratio *float64, rank int32, band pb.StandingBand) *pb.StandingUnit {
		return &pb.StandingUnit{Unit: name, Failures: x, Attempts: n, RatePer_1000: 1000 * float64(x) / float64(n), CrudeRank: crude, Expected: expected, Ratio: ratio,
			RatioLower: of(valueOr(ratio, 0) / 2), RatioUpper: of(valueOr(ratio, 0) * 2), StandardisedRank: rank, Band: band}
	}
	r := &reportAnswers{
		options: reportOptions{all: true, since: "2026-04-01"}, program: "trackctl test", begun: reportDay, ended: reportDay.Add(300 * time.Millisecond), asOf: reportDay,
		sites: []*pb.Site{{Name: "sites/MSG"}, {Name: "sites/RVB"}, {Name: "sites/TLW"}, {Name: "sites/NEW"}}, refused: map[report.Part]string{}, progress: map[string]*progress{},
		siteStanding: &pb.QueryStandingResponse{OverDispersion: of(1.2), Headlines: []string{"Crude and standardised order differ: RVB is worst by the crude rate, MSG at equal mix.", "Worse than chance and mix explain (outside 2 sigma): MSG."},
			Units: []*pb.StandingUnit{
				unit("MSG", 40, 4000, 2, 20, of(2.0), 1, pb.StandingBand_STANDING_BAND_ABOVE_THREE_SIGMA),
				unit("RVB", 60, 3000, 1, 55, of(60.0/55), 2, pb.StandingBand_STANDING_BAND_WITHIN),
				unit("TLW", 5, 2000, 3, 12, of(5.0/12), 3, pb.StandingBand_STANDING_BAND_BELOW_TWO_SIGMA),
				unit("NEW", 1, 30, 3, 0, nil, 0, pb.StandingBand_STANDING_BAND_UNSPECIFIED),
			}, Method: "indirect standardisation", Assumption: "alike"},
	}
	r.lotStanding = &pb.QueryStandingResponse{Units: []*pb.StandingUnit{
		unit("A", 10, 5000, 2, 20, of(0.5), 2, pb.StandingBand_STANDING_BAND_WITHIN), unit("B", 50, 1000, 1, 20, of(2.5), 1, pb.StandingBand_STANDING_BAND_ABOVE_THREE_SIGMA),
		unit("C", 0, 100, 3, 1, of(0.0), 3, pb.StandingBand_STANDING_BAND_WITHIN)}}
	compared := func(x, n int64, risk *pb.RatioEstimate, p float64, headline string) *pb.QueryComparisonResponse {
		return &pb.QueryComparisonResponse{Headline: headline, A: &pb.ArmRate{Failures: x, Attempts: n}, Stratified: &pb.StratifiedComparison{RelativeRisk: risk, Cmh: &pb.TestResult{PValue: p}}, Method: "Mantel-Haenszel"}
	}
	r.lots = []lotComparison{
		{lot: "A", got: compared(10, 5000, &pb.RatioEstimate{Estimate: of(0.2), Lower: 0.1, Upper: of(0.4)}, 1e-6, "A fails 0.2 times as often.")},
		{lot: "B", got: compared(50, 1000, &pb.RatioEstimate{Estimate: of(5.0), Lower: 3, Upper: of(8.0)}, 1e-9, "B fails 5 times as often as the others; 95 % interval 3 to 8. But the effect differs."), onHand: 200},
		{lot: "C", got: compared(0, 100, &pb.RatioEstimate{Lower: 0, UpperUnbounded: true}, 1, "No difference can be shown.")},
	}
	r.trends = []trendOf{{of: "failures, all sites", got: chartAnswer()}}
	r.incidents = []*pb.IncidentCount{{Kind: pb.IncidentKind_INCIDENT_KIND_GALLING, Incidents: 80, Fasteners: 95}, {Kind: pb.IncidentKind_INCIDENT_KIND_LEAK, Incidents: 20}}
	r.heads = []*pb.ChainHead{{Site: "sites/MSG", Sequence: 48211, Link: []byte{0xab, 0xcd}}}
	r.failed = []*pb.FailedCalibration{
		{Tool: "tools/W-9", Site: "sites/MSG", Joints: 2, WorstPercent: of(-8.2), OccurTime: timestamppb.New(reportDay.AddDate(0, 0, -3)), StartTime: timestamppb.New(reportDay.AddDate(0, -6, 0))},
		{Tool: "tools/W-8", Site: "sites/MSG", GoneOver: 12, OccurTime: timestamppb.New(reportDay)},
	}
	addWork(r)
	return r
}

func chartAnswer() *pb.QueryTrendResponse {
	t := &pb.QueryTrendResponse{Headline: "The rate rose. 105 failures in 9,000 attempts.", Chart: pb.ChartKind_CHART_KIND_P, Unit: "failures per 1,000 attempts", Centre: 11}
	for i, v := range []float64{6, 7, 5, 20, 31} {
		p := &pb.TrendPoint{Label: "2026-W" + string(rune('1'+i)) + "0", Value: v, Upper: of(25.0)}
		if v > 25 {
			p.Beyond = 1
		}
		t.Points = append(t.Points, p)
	}
	t.Change = &pb.TrendChange{LastBefore: "2026-W30", FirstAfter: "2026-W40", BeforePer_1000: 6, AfterPer_1000: 25, BeyondChance: true}
	return t
}

func addWork(r *reportAnswers) {
	r.coverage = &pb.QueryCoverageResponse{Method: "spread evenly",
		Cells: []*pb.CoverageCell{
			{Site: "sites/RVB", Week: "2026-W25", Joints: 12, OpenNewtonMetres: []float64{70}}, {Site: "sites/RVB", Week: "2026-W25", Joints: 3},
			{Site: "sites/RVB", Week: "2026-W26", Joints: 4}, {Site: "sites/MSG", Week: "2026-W99", Joints: 9},
		},
		Gaps: []*pb.CoverageGap{{Site: "sites/RVB", FirstDay: "2026-06-18", LastDay: "2026-06-20", Joints: 12, Fasteners: 144, OpenNewtonMetres: []float64{70},
			Calibrations: []*pb.GapRemedy{{Tool: "tools/TW-1", LatestDay: "2026-06-17"}}}}}
	r.due = &pb.ListDueItemsResponse{Items: []*pb.DueItem{
		{Tool: "tools/TW-1", Site: "sites/RVB", DueTime: timestamppb.New(reportDay.AddDate(0, 0, -9)), PastDue: true},
		// Monday 22 June at the site, still Sunday in UTC.
		{Tool: "tools/TW-2", Site: "sites/MSG", DueTime: timestamppb.New(time.Date(2026, 6, 21, 20, 0, 0, 0, time.UTC)), UtcOffsetMinutes: 330},
	}}
	r.spares = &pb.QuerySparesResponse{ServiceLevel: 0.95, Headline: "One runs out.", Items: []*pb.SparesItem{
		{Fastener: "M10 x 40 mm", Site: "sites/RVB", Remaining: 300, OnHand: 250, MeanLosses: of(12.5), Need: of(int64(320)), RunOut: of(0.99), Short: of(int64(70)), Order: of(int64(100)), OrderByDate: "2026-06-20"},
		{Fastener: "M8 x 20 mm", Site: "sites/MSG", Remaining: 10, OnHand: 50, MeanLosses: of(0.1), Need: of(int64(11)), RunOut: of(0.0), Short: of(int64(0)), Order: of(int64(0))}}}
	hold := func(place, rule string, days int) *pb.Hold {
		return &pb.Hold{Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: ledger.Place{Site: "RVB", Tower: "CT1", Cell: "C1", Joint: place}.Resource(), Site: "sites/RVB", Rule: rule,
			Entry: &pb.Entry{OccurTime: timestamppb.New(reportDay.AddDate(0, 0, -days))}}
	}
	r.holds = []*pb.Hold{hold("J1", "seal-cold", 6), hold("J1", "torque-window", 7), hold("J2", "torque-window", 30), hold("J3", "", 45)}
	r.progress["RVB"] = &progress{place: ledger.Place{Site: "RVB"}, got: &pb.GetProgressResponse{Joints: 10, PlannedFinish: "2026-06-30"}, asOf: dayOf("2026-06-17"), finished: 4,
		days: []progressDay{{day: dayOf("2026-06-01"), joints: 4, sum: 4}}, confidence: 0.95}
	r.progress["MSG"] = &progress{place: ledger.Place{Site: "MSG"}, got: &pb.GetProgressResponse{Joints: 5}, asOf: dayOf("2026-06-17"), finished: 5, days: []progressDay{{day: dayOf("2026-06-02"), joints: 5, sum: 5}}}
}

func validDocument(t *testing.T, r *reportAnswers) *report.QualityDocument {
	t.Helper()
	d := r.document()
	if err := d.Validate(); err != nil {
		t.Fatal(err)
	}
	if err := report.Quality(&bytes.Buffer{}, d); err != nil {
		t.Fatal(err)
	}
	return d
}

func TestReportOfLots(t *testing.T) {
	d := validDocument(t, reportFixture())
	if d.Lots.Finding != "B fails 5 times as often as the others; 95 % interval 3 to 8." || d.Lots.Cautions[0] != "But the effect differs." {
		t.Errorf("%q, %q", d.Lots.Finding, d.Lots.Cautions)
	}
	if len(d.Lots.Rows) != 2 || d.Lots.Rows[0].Name != "B" || !d.Lots.Rows[0].StandsOut || !strings.Contains(strings.Join(d.Lots.LeftOut, " "), ": C.") {
		t.Errorf("%+v, left out %q", d.Lots.Rows, d.Lots.LeftOut)
	}
	// 4 of 5 failures of B are more than the others would have: (1 - 1/5) of 50 in the
	// 1,000 tried and as many in a thousand of the 200 left.
	a := d.Actions[0]
	if a.Name != "RVB" || a.AtStake != 70 || !strings.HasPrefix(a.Sentence, "Order 100 of M10 x 40 mm for RVB by 2026-06-20") {
		t.Errorf("first to act on: %+v", a)
	}
	if a = d.Actions[1]; a.Name != "B" || math.Abs(a.AtStake-0.8*0.05*1200) > 1e-9 || !strings.Contains(a.Sentence, "5 times as often") || !strings.Contains(a.Sentence, "3 to 8; 50 of 1,000 failed") {
		t.Errorf("second: %+v", a)
	}
}

func TestReportOfSites(t *testing.T) {
	d := validDocument(t, reportFixture())
	bands := map[string]int{}
	for _, p := range d.Sites.Points {
		bands[p.Name] = p.Sigma
	}
	if len(bands) != 3 || bands["MSG"] != 3 || bands["RVB"] != 0 || bands["TLW"] != -2 {
		t.Errorf("%v", bands)
	}
	if !strings.Contains(strings.Join(d.Sites.LeftOut, " "), "NEW (1 of 30 failed)") {
		t.Errorf("left out %q", d.Sites.LeftOut)
	}
	for _, want := range []string{"Crude and standardised order differ", "by the crude rate: RVB, MSG, TLW", "material: MSG, RVB, TLW"} {
		if !strings.Contains(string(d.OrdersDiffer), want) {
			t.Errorf("no %q in %q", want, d.OrdersDiffer)
		}
	}
	// The limits are those of the same over-dispersion, at the least and greatest
	// number expected.
	want, err := picture.RatioLimits(12*0.9, 55*1.1, 1.2)
	if err != nil || len(d.Sites.Limits) != len(want) || d.Sites.Limits[0] != want[0] {
		t.Errorf("limits %v", d.Sites.Limits[:1])
	}
	// 20 more failures than expected in 11 weeks make 14.5 in the 8 to come.
	for _, a := range d.Actions {
		if a.Name == "MSG" && math.Abs(a.AtStake-20/(77.5/7)*8) > 1e-9 {
			t.Errorf("at stake at MSG %g", a.AtStake)
		}
	}
	r := reportFixture()
	r.siteStanding.Units[0].CrudeRank, r.siteStanding.Units[1].CrudeRank = 1, 2
	if d := validDocument(t, r); d.OrdersDiffer != "" {
		t.Errorf("the orders agree, and it says %q", d.OrdersDiffer)
	}
}

func TestReportOfTrends(t *testing.T) {
	d := validDocument(t, reportFixture())
	if c := d.Trends[0].Change; c == nil || c.FirstAfter != "2026-W40" || c.Before != 6 || c.After != 25 || d.Trends[0].Finding != "The rate rose." {
		t.Errorf("%+v, %q", d.Trends[0].Change, d.Trends[0].Finding)
	}
	for name, change := range map[string]func(*pb.QueryTrendResponse){
		"no such point": func(t *pb.QueryTrendResponse) { t.Change.FirstAfter = "2026-W41" },
		"first point":   func(t *pb.QueryTrendResponse) { t.Change.FirstAfter = "2026-W10" },
		"g chart":       func(t *pb.QueryTrendResponse) { t.Chart = pb.ChartKind_CHART_KIND_G },
		"by chance":     func(t *pb.QueryTrendResponse) { t.Change.BeyondChance = false },
	} {
		r := reportFixture()
		change(r.trends[0].got)
		if d := validDocument(t, r); d.Trends[0].Change != nil {
			t.Errorf("%s: %+v", name, d.Trends[0].Change)
		}
	}
	// 10 attempts a row: 6 in 1,000 are 0.06 of a row.
	r := reportFixture()
	r.trends[0].got.Chart, r.trends[0].got.Attempts = pb.ChartKind_CHART_KIND_NP, 50
	if c := validDocument(t, r).Trends[0].Change; c == nil || math.Abs(c.Before-0.06) > 1e-12 || math.Abs(c.After-0.25) > 1e-12 {
		t.Errorf("np chart: %+v", c)
	}
	for kind := analysis.ChartP; kind <= analysis.ChartEWMA; kind++ {
		if chartNames[kind] == "" {
			t.Errorf("chart %d has no name", kind)
		}
	}
}

func TestReportOfWork(t *testing.T) {
	d := validDocument(t, reportFixture())
	if w := d.Coverage.Weeks[0]; w.Name != "2026-W25" || w.Monday != "2026-06-15" {
		t.Errorf("%+v", w)
	}
	rvb, msg := d.Coverage.Sites[0], d.Coverage.Sites[1]
	if rvb.Name != "RVB" || rvb.Overdue != 1 || rvb.Weeks[0] != (picture.CoverageCell{Joints: 15, Gap: true, Open: 12}) || rvb.Weeks[1].Joints != 4 || msg.Weeks[1].Due != 1 || msg.Weeks[0].Due != 0 {
		t.Errorf("%+v\n%+v", rvb, msg)
	}
	if m := d.Spares.Items[0].MeanNeed; m == nil || *m != 312.5 {
		t.Errorf("mean need %v", m)
	}
	if r := d.Holds.Rules[0]; len(d.Holds.Rules) != 3 || r.Name != "torque window" || r.ByAge[0] != 0 || r.ByAge[1] != 1 || r.ByAge[2] != 1 || r.OldestDays != 30 || r.OldestPlace != "RVB/CT1/C1/J2" {
		t.Errorf("%+v", d.Holds.Rules)
	}
	if !strings.HasPrefix(d.Holds.Finding, "4 holds are open on 3 joints, cells, lots and tools, 2 of them for 30 days or more; the most by the rule torque window (2)") {
		t.Error(d.Holds.Finding)
	}
	if len(d.Progress.Sites) != 1 || d.Progress.Sites[0].Planned[1] != (picture.ProgressPoint{Day: "2026-06-30", Total: 10}) || !strings.Contains(strings.Join(d.Progress.LeftOut, " "), "MSG") {
		t.Errorf("%+v", d.Progress)
	}
	if d.Incidents.Finding != "Galling makes up 80 % of the 100 incidents." {
		t.Error(d.Incidents.Finding)
	}
}

// Whoever holds the page in hand must see what was counted, and until when.
func TestReportSaysWhatWasAskedFor(t *testing.T) {
	r := reportFixture()
	r.options.until, r.options.kinds = "2026-06-17", []pb.IncidentKind{pb.IncidentKind(ledger.Galling), pb.IncidentKind(ledger.Seized)}
	all := strings.Join(validDocument(t, r).Cautions, "\n")
	for _, want := range []string{"galling and seized alone", "Counted through 2026-06-17", "one after another within 300ms"} {
		if !strings.Contains(all, want) {
			t.Errorf("no %q in\n%s", want, all)
		}
	}
}

// What can't be had is named with the reason, each part by itself and all at once.
func TestReportWithoutAnswers(t *testing.T) {
	r := &reportAnswers{options: reportOptions{site: "RVB", since: "2026-04-01"}, program: "trackctl test", begun: reportDay, ended: reportDay, asOf: reportDay, refused: map[report.Part]string{}}
	err := status.Error(codes.InvalidArgument, "nothing is on record")
	if r.unanswerable(report.PartTrends, err) != nil || r.unanswerable(report.PartTrends, status.Error(codes.Unavailable, "down")) == nil {
		t.Error("what is no answer and what is an error are mixed up")
	}
	d := validDocument(t, r)
	if len(d.Figures()) != 0 || len(d.LeftOut) != len(report.Parts()) || len(d.Actions) != 0 || d.OrdersDiffer != "" {
		t.Errorf("%d figures, left out %+v", len(d.Figures()), d.LeftOut)
	}
	for _, l := range d.LeftOut {
		if l.Part == report.PartTrends && l.Why != "nothing is on record" {
			t.Errorf("%+v", l)
		}
	}
}

func TestFirstSentence(t *testing.T) {
	for text, want := range map[string][2]string{
		"One. Two. Three.":                     {"One.", "Two. Three."},
		"L. 4 fails 4.9 times; N.m. of it. So": {"L. 4 fails 4.9 times; N.m. of it.", "So"},
		"Only one.":                            {"Only one.", ""},
		"":                                     {"", ""},
	} {
		if first, rest := firstSentence(text); first != want[0] || rest != want[1] {
			t.Errorf("%q: %q, %q", text, first, rest)
		}
	}
}

// The figures for the terminal: no line is wider, and what is drawn stays as it is
// until somebody means to change it.
func TestReportFiguresInTerminal(t *testing.T) {
	var b bytes.Buffer
	a := &app{out: &b, err: &bytes.Buffer{}, getenv: func(name string) string { return map[string]string{"COLUMNS": "72"}[name] }}
	if err := a.drawReport(validDocument(t, reportFixture()), &reportOptions{ascii: true}); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join("testdata", "report_figures.golden")
	if updateFigures {
		if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil || !bytes.Equal(want, b.Bytes()) {
		t.Errorf("%v; go test ./internal/cli -run TestReportFiguresInTerminal with UPDATE_FIGURES=1 writes it anew\n%s", err, b.String())
	}
}

func TestReportRefusesFlags(t *testing.T) {
	for want, args := range map[string][]string{
		"expected one of --site SITE":                     {"--since", "2026-05-01", "--out", "x.html"},
		"got 2 of them":                                   {"--all", "--site", "rvb", "--since", "2026-05-01", "--out", "x.html"},
		"--since":                                         {"--all", "--out", "x.html"},
		"--until: expected a day not before":              {"--all", "--since", "2026-05-01", "--until", "2026-04-30", "--out", "x.html"},
		"--figures draws in the terminal":                 {"--all", "--since", "2026-05-01", "--figures", "--out", "x.html"},
		"--ascii belongs to --figures":                    {"--all", "--since", "2026-05-01", "--ascii", "--out", "x.html"},
		"--output: a report is a page":                    {"--all", "--since", "2026-05-01", "--output", "csv"},
		"--lead-days: ":                                   {"--all", "--since", "2026-05-01", "--lead-days", "-1", "--out", "x.html"},
		"--export: expected the name of a file that ends": {"--all", "--since", "2026-05-01", "--export", "x.txt"},
	} {
		code, _, errOut := run(t, "", nil, append([]string{"report"}, args...)...)
		if code != exitUsage || !strings.Contains(strings.Join(strings.Fields(errOut), " "), want) {
			t.Errorf("%v: exit %d, %s; want %s", args, code, errOut, want)
		}
	}
}

// A tool that came back failed is acted on while joints are in question, and no more
// once all were gone over; the page carries the heads of the chains.
func TestReportActsOnFailedCalibrations(t *testing.T) {
	r := reportFixture()
	var sentences []string
	for _, a := range r.failedActions() {
		if a.Kind != "tool" || !strings.Contains(a.Sentence, a.Name) || a.AtStake != 2 {
			t.Errorf("%+v", a)
		}
		sentences = append(sentences, a.Sentence)
	}
	if len(sentences) != 1 || !strings.Contains(sentences[0], "2 joints that W-9 of MSG tightened since 2025-12-17: at its calibration on 2026-06-14 it was out by −8.2 %") {
		t.Errorf("%q", sentences)
	}
	d := r.document()
	if len(d.Chains) != 1 || d.Chains[0].Site != "MSG" || d.Chains[0].Sequence != 48211 || d.Chains[0].Link != "abcd" {
		t.Errorf("%+v", d.Chains)
	}
	// Incidents without a fastener count too.
	if d.Incidents.Total() != 100 || !strings.Contains(strings.Join(d.Incidents.Cautions, " "), "these name 95 fasteners together") {
		t.Errorf("%+v", d.Incidents)
	}
}

// Without a shortage a few items are drawn and the rest are counted; what may run out is
// always drawn.
func TestSparesShown(t *testing.T) {
	safe := func(n int) []picture.SparesItem {
		items := make([]picture.SparesItem, n)
		for i := range items {
			items[i] = picture.SparesItem{OnHand: 500, Remaining: 10, RunOut: of(0.0), Order: of(int64(0))}
		}
		return items
	}
	if n := sparesShown(safe(18)); n != fewestSpares {
		t.Errorf("%d drawn", n)
	}
	items := safe(18)
	items[8].RunOut = of(0.4)
	if n := sparesShown(items); n != 9 {
		t.Errorf("%d drawn, the ninth may run out", n)
	}
}

// What is not there is named with what is, and the next number is no slip of the pen.
func TestValueIn(t *testing.T) {
	source := &fileSource{name: "c.csv"}
	for _, tc := range []struct {
		g           analysis.Grouping
		typed       string
		values      []string
		want, wrong string
	}{
		{analysis.ByTreatment, "Anti Seize", []string{"anti-seize", "none"}, "anti-seize", ""},
		{analysis.ByTreatment, "(none)", []string{"", "none"}, "", ""},
		{analysis.ByTreatment, "none", []string{"", "anti-seize"}, "", `some cells are empty, which says nothing of a treatment: type "(none)"`},
		{analysis.ByTreatment, "(none)", []string{"anti-seize", "none"}, "", "no row of c.csv has an empty cell in column treatment; it has anti-seize, none"},
		{analysis.BySite, "S4", []string{"S1", "S2"}, "", "it has S1, S2"},
		{analysis.BySite, "RVC", []string{"QLT", "RVB"}, "", "did you mean RVB?"},
		{analysis.ByLot, "M10-ST-2668A", []string{"M10-ST-2688A", "X"}, "", "did you mean M10-ST-2688A?"},
	} {
		got, err := valueIn(source, tc.g, "B", tc.typed, tc.values)
		if tc.wrong == "" && (err != nil || got != tc.want) || tc.wrong != "" && (err == nil || !strings.Contains(err.Error(), tc.wrong)) {
			t.Errorf("%q among %q: %q, %v", tc.typed, tc.values, got, err)
		}
	}
}
