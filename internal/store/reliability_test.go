package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

func TestCalibratedTools(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		hour := func(n int) time.Time { return storetest.Occurred.Truncate(time.Hour).Add(time.Duration(n) * time.Hour) }
		calibrated := func(tool string, at time.Time) *ledger.Calibration {
			return storetest.NewCalibration(tool, func(r *ledger.Calibration) { r.OccurTime = at })
		}
		used := func(at time.Time, n int, pass ledger.Pass) ledger.Record {
			return storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.OccurTime, r.Fasteners, r.Pass = at, n, pass })
		}
		mistaken := calibrated(storetest.DenverWrench, hour(15))
		storetest.Record(t, s,
			calibrated(storetest.DenverWrench, hour(20)), calibrated(storetest.DenverWrench, hour(0)), mistaken, // not in the order of time
			calibrated(storetest.DenverWrench, hour(40)), calibrated(storetest.KolkataWrench, hour(3)),
			used(hour(-1), 5, ledger.PassFirst),
			used(hour(1), 7, ledger.PassFirst), used(hour(19), 8, ledger.PassRetightening), // any pass turns the tool
			used(hour(21), 9, ledger.PassFirst), used(hour(41), 6, ledger.PassFirst),
			&ledger.Correction{Entry: storetest.NewTightening(storetest.DenverJoint).Entry, Corrects: mistaken.ID, Reason: "the wrong day"},
		)
		read := func(q analysis.ReliabilityQuery) map[string][]analysis.CalibrationSeen {
			t.Helper()
			got := map[string][]analysis.CalibrationSeen{}
			err := s.CalibratedTools(ctx, q, func(c analysis.CalibratedTool) error {
				register, err := s.Tool(ctx, c.Tool.Serial)
				if err != nil || c.Tool.TypeClass != register.TypeClass || c.Tool.MaximumNewtonMetres != register.MaximumNewtonMetres || c.Tool.IntervalMonths != register.IntervalMonths {
					t.Errorf("%+v in the register, %+v here (%v)", register, c.Tool, err)
				}
				got[c.Tool.Serial] = c.Calibrations
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			return got
		}
		times := func(list []analysis.CalibrationSeen) []time.Time {
			return mapped(list, func(c analysis.CalibrationSeen) time.Time { return c.At })
		}
		all := read(analysis.ReliabilityQuery{AsOf: hour(50)})
		denver := all[storetest.DenverWrench]
		if diff := cmp.Diff([]time.Time{hour(0), hour(20), hour(40)}, times(denver)); diff != "" || len(all) != 2 {
			t.Fatalf("%d tools (-want +got):\n%s", len(all), diff)
		}
		if got := mapped(denver, func(c analysis.CalibrationSeen) int64 { return c.CyclesToNext }); !cmp.Equal([]int64{15, 9, 0}, got) {
			t.Errorf("cycles %v; expected 15, 9 and none since the newest", got)
		}
		if p := denver[0].Points; len(p) != 2 || p[0].Phase != ledger.AsFound || p[0].TargetNewtonMetres != 20 || !cmp.Equal(p[0].ReadingsNewtonMetres, []float64{19.9, 20.1, 20}) {
			t.Errorf("%+v", p)
		}
		for what, c := range map[string]struct {
			q    analysis.ReliabilityQuery
			want map[string]int
		}{
			"as of then":    {analysis.ReliabilityQuery{AsOf: hour(20)}, map[string]int{storetest.DenverWrench: 2, storetest.KolkataWrench: 1}},
			"by class":      {analysis.ReliabilityQuery{AsOf: hour(50), TypeClasses: []string{"I-C"}}, map[string]int{storetest.KolkataWrench: 1}},
			"no such class": {analysis.ReliabilityQuery{AsOf: hour(50), TypeClasses: []string{"II-G"}}, map[string]int{}},
			"by kind":       {analysis.ReliabilityQuery{AsOf: hour(50), Kinds: []ledger.ToolKind{ledger.ToolHoist, ledger.ToolImpactWrench}}, map[string]int{}},
			"by serial":     {analysis.ReliabilityQuery{AsOf: hour(50), Serials: []string{storetest.DenverWrench}}, map[string]int{storetest.DenverWrench: 3}},
		} {
			got := map[string]int{}
			for serial, list := range read(c.q) {
				got[serial] = len(list)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("%s (-want +got):\n%s", what, diff)
			}
		}
		calibratedPages(t, s, hour(50))
		// A declaration of conformance begins the record of a new tool, and counts nowhere
		// else: cycles run on to the next calibration.
		declared := func(tool string, at time.Time) *ledger.Calibration {
			c := calibrated(tool, at)
			c.Document = ledger.DeclarationOfConformance
			return c
		}
		storetest.Record(t, s, declared(storetest.DenverWrench, hour(10)), declared(storetest.KolkataWrench, hour(1)), declared(storetest.KolkataWrench, hour(2)))
		all = read(analysis.ReliabilityQuery{AsOf: hour(50)})
		if got := all[storetest.DenverWrench]; !cmp.Equal(denver, got) {
			t.Errorf("with a declaration between two calibrations (-want +got):\n%s", cmp.Diff(denver, got))
		}
		if diff := cmp.Diff([]time.Time{hour(1), hour(3)}, times(all[storetest.KolkataWrench])); diff != "" {
			t.Errorf("with two before the first calibration (-want +got):\n%s", diff)
		}
		stop := errors.New("enough")
		if err := s.CalibratedTools(ctx, analysis.ReliabilityQuery{AsOf: hour(50)}, func(analysis.CalibratedTool) error { return stop }); !errors.Is(err, stop) {
			t.Errorf("%v; expected what ended the reading", err)
		}
		err := s.CalibratedTools(ctx, analysis.ReliabilityQuery{AsOf: hour(50), Serials: []string{"TW-0108"}}, nil)
		wantUnknown(t, err, "tools/TW-0108", storetest.DenverWrench)
	})
}

func calibratedPages(t *testing.T, s *store.Store, asOf time.Time) {
	t.Helper()
	var got []string
	page := store.Page{Size: 1}
	for range 5 {
		items, next, err := s.CalibratedPage(context.Background(), analysis.ReliabilityQuery{AsOf: asOf}, page)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range items {
			got = append(got, c.Tool.Serial)
		}
		if page.After = next; next == "" {
			break
		}
	}
	if diff := cmp.Diff([]string{storetest.DenverWrench, storetest.KolkataWrench}, got); diff != "" {
		t.Errorf("pages (-want +got):\n%s", diff)
	}
}
