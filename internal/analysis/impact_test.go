package analysis

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	"jointledger/internal/stats"
)

var (
	impactTool  = ledger.Tool{Serial: "TW-7", Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MaximumNewtonMetres: 200}
	impactStart = time.Date(2025, 3, 1, 9, 0, 0, 0, time.UTC)
	impactEnd   = time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
)

// testPoint has five readings whose deviations are deviation + {-s, 0, 0, 0, s}
// in percent.
func testPoint(phase ledger.CalibrationPhase, target, deviation, s, expanded float64) ledger.CalibrationPoint {
	p := ledger.CalibrationPoint{Phase: phase, TargetNewtonMetres: target, ExpandedUncertaintyNewtonMetres: expanded, CoverageFactor: 2}
	for _, d := range []float64{-s, 0, 0, 0, s} {
		p.ReadingsNewtonMetres = append(p.ReadingsNewtonMetres, target/(1+(deviation+d)/100))
	}
	return p
}

func calibrated(at time.Time, points ...ledger.CalibrationPoint) ledger.Calibration {
	return ledger.Calibration{Entry: ledger.Entry{ID: uuid.New(), OccurTime: at}, Tool: impactTool.Serial, Points: points}
}

func jointNamed(name string) ledger.Place {
	return ledger.Place{Site: "RVB", Tower: "CT2", Cell: "C3", Joint: name}
}

func tightened(joint string, day int, torque float64, fasteners int) ImpactTightening {
	t := ImpactTightening{ID: uuid.New(), Joint: jointNamed(joint), At: impactStart.AddDate(0, 0, day), Pass: ledger.PassFinal, Fasteners: fasteners}
	if torque > 0 {
		t.TorqueNewtonMetres = &torque
	}
	return t
}

func window(lower, upper float64) *TorqueWindow {
	return &TorqueWindow{LowerNewtonMetres: lower, UpperNewtonMetres: upper, Basis: "specification BT-12, revision 3"}
}

// impactCase: good within 1 % at both ends, +7 % in the middle as found.
func impactCase() ImpactInput {
	good := calibrated(impactStart,
		testPoint(ledger.AsFound, 40, 9, 0.5, 0.2),
		testPoint(ledger.AsLeft, 40, 0, 0.5, 0.2), testPoint(ledger.AsLeft, 120, 1, 0.5, 0.6), testPoint(ledger.AsLeft, 200, 0, 0.5, 1))
	return ImpactInput{
		Tool: impactTool, LastGood: &good,
		Failed: calibrated(impactEnd,
			testPoint(ledger.AsFound, 200, 1, 0.5, 1), testPoint(ledger.AsFound, 40, 1, 0.5, 0.2), testPoint(ledger.AsFound, 120, 7, 0.5, 0.6),
			testPoint(ledger.AsLeft, 120, 0, 0.5, 0.6)),
	}
}

func mustImpact(t *testing.T, in ImpactInput) ImpactAnswer {
	t.Helper()
	a, err := Impact(in)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func about(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

// Trade reference, G: set 88 N·m with +7 % as found gave 82.24 N·m (−6.54 %).
func TestImpactWorkedExample(t *testing.T) {
	in := impactCase()
	in.Failed = calibrated(impactEnd, testPoint(ledger.AsFound, 88, 7, 0.5, 0.44))
	in.Tightenings = []ImpactTightening{tightened("J1", 30, 88, 8)}
	in.Joints = []ImpactJoint{{Joint: jointNamed("J1"), Fasteners: 8, Window: window(83.6, 92.4)}}
	a := mustImpact(t, in)
	if len(a.Joints) != 1 {
		t.Fatalf("%d joints", len(a.Joints))
	}
	e := a.Joints[0].UnknownDrift
	about(t, "delivered", e.DeliveredNewtonMetres, 82.24, 0.005)
	// By hand: spread s = √(2·0.5²/4) = 0.353553 %; U/k = 0.22/mean reading
	// (82.2443) = 0.26750 %; u = √(s²·(1 + 1/5) + 0.26750²) = 0.47058 %;
	// × 82.243/107 = 0.36170 N·m; z = (83.6 − 82.2430)/0.36170 = 3.752, and the
	// upper tail of the normal beyond 3.752 is 8.8e-5.
	about(t, "uncertainty", *e.StandardUncertaintyNewtonMetres, 0.3617, 0.0002)
	about(t, "probability inside", 1-*e.OutsideProbability, 8.8e-5, 2e-6)
	if a.Joints[0].LinearDrift == nil {
		t.Fatal("no linear drift")
	}
	// The only cycles: the whole way to as found, from +0.6 % as left at 88.
	about(t, "linear", a.Joints[0].LinearDrift.DeliveredNewtonMetres, 82.24, 0.005)
}

func TestImpactBands(t *testing.T) {
	in := impactCase()
	a := mustImpact(t, in)
	if len(a.Points) != 3 || !a.Points[1].Failed || a.Points[0].Failed || a.Points[2].Failed {
		t.Fatalf("points %+v", a.Points)
	}
	about(t, "mean", *a.Points[1].MeanPercent, 7, 1e-9)
	about(t, "as left", *a.Points[1].LastGoodPercent, 1, 1e-9)
	if len(a.Bands) != 1 || *a.Bands[0].LowerNewtonMetres != 40 || *a.Bands[0].UpperNewtonMetres != 200 {
		t.Fatalf("bands %+v", a.Bands)
	}
	for torque, inside := range map[float64]bool{40: false, 40.1: true, 120: true, 199: true, 200: false, 20: false} {
		if a.Bands[0].Contains(torque) != inside {
			t.Errorf("%g N·m inside: %v", torque, !inside)
		}
	}
	in.Failed = calibrated(impactEnd, testPoint(ledger.AsFound, 40, 7, 0, 0), testPoint(ledger.AsFound, 120, 0, 0, 0), testPoint(ledger.AsFound, 200, -7, 0, 0))
	a = mustImpact(t, in)
	if len(a.Bands) != 2 || a.Bands[0].LowerNewtonMetres != nil || *a.Bands[0].UpperNewtonMetres != 120 ||
		*a.Bands[1].LowerNewtonMetres != 120 || a.Bands[1].UpperNewtonMetres != nil {
		t.Errorf("bands %+v", a.Bands)
	}
	if !slices.ContainsFunc(a.Cautions, func(c string) bool { return strings.Contains(c, "overtightened") }) {
		t.Error("nothing said of overtightening")
	}
}

// As left +1 %, as found +7 % at 120 N·m; after 3 of 4 cycles +5.5 %. At 80 N·m,
// half way from 40 (0 and +1 %), as found is +4 %.
func TestImpactDriftModels(t *testing.T) {
	in := impactCase()
	in.Tightenings = []ImpactTightening{
		tightened("J2", 20, 120, 10), tightened("J1", 10, 80, 20), tightened("J3", 40, 0, 10),
	}
	a := mustImpact(t, in)
	if a.Cycles != 40 || len(a.Joints) != 2 || len(a.Apart) != 1 || a.Apart[0].Reason != ApartNoTorque {
		t.Fatalf("%d cycles, joints %+v, apart %+v", a.Cycles, a.Joints, a.Apart)
	}
	j1, j2 := a.Joints[0], a.Joints[1]
	about(t, "J2 unknown", j2.UnknownDrift.DeviationPercent, 7, 1e-9)
	about(t, "J2 linear", j2.LinearDrift.DeviationPercent, 1+0.75*6, 1e-9)
	about(t, "J1 unknown", j1.UnknownDrift.DeviationPercent, 4, 1e-9)
	about(t, "J1 linear", j1.LinearDrift.DeviationPercent, 0.5+0.5*3.5, 1e-9)
	if j1.OutsideProbability != nil || !strings.Contains(j1.Sentence, "No specification") {
		t.Errorf("a probability without a window, or nothing said: %q", j1.Sentence)
	}
}

func TestImpactOrderAndSorting(t *testing.T) {
	in := impactCase()
	in.Tightenings = []ImpactTightening{
		tightened("MILD", 5, 60, 4), tightened("BAD", 6, 120, 4), tightened("AGAIN", 7, 120, 4),
		tightened("FAR", 8, 30, 4), tightened("CURED", 9, 110, 4), tightened("BARE", 9, 110, 4),
		tightened("PART", 10, 115, 4),
		tightened("BEFORE", -1, 120, 4), tightened("AFTER", 366, 120, 4),
	}
	in.Tightenings[4].LockingCured = true
	again := &GoneOver{ID: uuid.New(), At: impactEnd.AddDate(0, 0, -2), Tool: "TW-9", Fasteners: 4}
	partly := &GoneOver{ID: uuid.New(), At: impactEnd.AddDate(0, 0, -2), Tool: "TW-9", Fasteners: 2}
	in.Joints = []ImpactJoint{
		{Joint: jointNamed("MILD"), Fasteners: 4, Window: window(54, 66)},
		{Joint: jointNamed("BAD"), Fasteners: 4, Window: window(114, 126)},
		{Joint: jointNamed("AGAIN"), Fasteners: 4, Window: window(114, 126), GoneOver: again},
		{Joint: jointNamed("PART"), Fasteners: 4, Window: window(110, 120), GoneOver: partly},
		{Joint: jointNamed("CURED"), Fasteners: 4, Window: window(103, 117)},
	}
	a := mustImpact(t, in)
	order := func(js []JointImpact) (names []string) {
		for _, j := range js {
			names = append(names, j.Joint.Joint)
		}
		return names
	}
	if got := order(a.Joints); !slices.Equal(got, []string{"PART", "BAD", "CURED", "MILD", "BARE"}) {
		t.Errorf("joints %v", got)
	}
	if got := order(a.GoneOver); !slices.Equal(got, []string{"AGAIN"}) || !strings.Contains(a.GoneOver[0].Sentence, "TW-9 on 2026-02-27") {
		t.Errorf("gone over %v", got)
	}
	if len(a.Apart) != 1 || a.Apart[0].Joint.Joint != "FAR" || a.Apart[0].Reason != ApartOutsideBand {
		t.Errorf("apart %+v", a.Apart)
	}
	i := slices.IndexFunc(a.Joints, func(j JointImpact) bool { return j.Joint.Joint == "CURED" })
	if !strings.Contains(a.Joints[i].Sentence, "cannot be audited by turning") {
		t.Errorf("sentence %q", a.Joints[i].Sentence)
	}
	slices.Reverse(in.Tightenings)
	slices.Reverse(in.Joints)
	b := mustImpact(t, in)
	if !slices.Equal(order(a.Joints), order(b.Joints)) || a.Headline != b.Headline {
		t.Error("the answer depends on the order of the input")
	}
}

func TestImpactWhichTighteningCounts(t *testing.T) {
	in := impactCase()
	first, final, again := tightened("J1", 5, 60, 8), tightened("J1", 6, 120, 6), tightened("J1", 7, 90, 8)
	first.Pass, again.Pass = ledger.PassFirst, ledger.PassRetightening
	in.Tightenings = []ImpactTightening{again, final, first}
	counted := func(fasteners int) (ids []uuid.UUID) {
		in.Joints = []ImpactJoint{{Joint: jointNamed("J1"), Fasteners: fasteners}}
		a := mustImpact(t, in)
		if len(a.Joints) != 1 || len(a.Joints[0].Records) != 3 {
			t.Fatalf("joints %+v", a.Joints)
		}
		for _, r := range a.Joints[0].Records {
			if r.Counts {
				ids = append(ids, r.ID)
			}
		}
		return ids
	}
	if got := counted(6); !slices.Equal(got, []uuid.UUID{final.ID}) {
		t.Errorf("of 6 fasteners %d records count", len(got))
	}
	if got := counted(8); !slices.Equal(got, []uuid.UUID{first.ID, final.ID}) {
		t.Errorf("of 8 fasteners %d records count", len(got))
	}
}

func TestImpactWithLittleOnRecord(t *testing.T) {
	in := impactCase()
	in.LastGood = nil
	in.Failed = calibrated(impactEnd, ledger.CalibrationPoint{Phase: ledger.AsFound, TargetNewtonMetres: 120, ReadingsNewtonMetres: []float64{112}})
	in.Tightenings = []ImpactTightening{tightened("J1", -400, 120, 4), tightened("J2", 5, 150, 4)}
	in.Joints = []ImpactJoint{{Joint: jointNamed("J1"), Window: window(114, 126)}}
	a := mustImpact(t, in)
	if a.StartKnown || !a.Start.Equal(in.Tightenings[0].At) || len(a.Joints) != 2 {
		t.Fatalf("start %v, %d joints", a.Start, len(a.Joints))
	}
	j := a.Joints[0]
	about(t, "delivered", j.UnknownDrift.DeliveredNewtonMetres, 112, 1e-9)
	if j.LinearDrift != nil || j.OutsideProbability != nil || j.UnknownDrift.StandardUncertaintyNewtonMetres != nil {
		t.Errorf("figures out of nothing: %+v", j)
	}
	for _, want := range []string{"first use", "Uncertainty is not stated", "single reading"} {
		if !slices.ContainsFunc(a.Cautions, func(c string) bool { return strings.Contains(c, want) }) {
			t.Errorf("no caution says %q", want)
		}
	}
	// No torque at all: nothing to estimate, first in the list.
	in.Failed.Points = append(in.Failed.Points, ledger.CalibrationPoint{Phase: ledger.AsFound, TargetNewtonMetres: 180, ReadingsNewtonMetres: []float64{0}})
	a = mustImpact(t, in)
	if !a.Joints[0].NoTorqueFound || a.Joints[0].Joint.Joint != "J2" || a.Points[1].MeanPercent != nil {
		t.Errorf("joints %+v", a.Joints)
	}
	in = impactCase()
	in.Failed = *in.LastGood
	in.Failed.Points, in.Failed.OccurTime = in.Failed.Points[1:], impactEnd
	for i := range in.Failed.Points {
		in.Failed.Points[i].Phase = ledger.AsFound
	}
	in.LastGood = nil
	in.Tightenings = []ImpactTightening{tightened("J1", 5, 120, 4)}
	if a = mustImpact(t, in); len(a.Bands) != 0 || len(a.Joints) != 0 || len(a.Apart) != 1 || !strings.Contains(a.Headline, "no joint is in question") {
		t.Errorf("a good tool has an impact: %+v", a)
	}
}

func TestImpactRefuses(t *testing.T) {
	for name, spoil := range map[string]func(*ImpactInput){
		"no class":        func(in *ImpactInput) { in.Tool.TypeClass = "" },
		"no maximum":      func(in *ImpactInput) { in.Tool.MaximumNewtonMetres = 0 },
		"rule":            func(in *ImpactInput) { in.Rule = "coin" },
		"order":           func(in *ImpactInput) { in.LastGood.OccurTime = impactEnd },
		"no as-found":     func(in *ImpactInput) { in.Failed.Points = in.Failed.Points[3:] },
		"no good points":  func(in *ImpactInput) { in.LastGood.Points = nil },
		"no readings":     func(in *ImpactInput) { in.Failed.Points[0].ReadingsNewtonMetres = nil },
		"reading":         func(in *ImpactInput) { in.Failed.Points[0].ReadingsNewtonMetres[0] = math.NaN() },
		"target":          func(in *ImpactInput) { in.Failed.Points[0].TargetNewtonMetres = 0 },
		"torque":          func(in *ImpactInput) { *in.Tightenings[0].TorqueNewtonMetres = math.Inf(1) },
		"fasteners":       func(in *ImpactInput) { in.Tightenings[0].Fasteners = -1 },
		"window":          func(in *ImpactInput) { in.Joints[0].Window = window(90, 80) },
		"window's number": func(in *ImpactInput) { in.Joints[0].Window = window(math.NaN(), 80) },
	} {
		in := impactCase()
		in.Tightenings = []ImpactTightening{tightened("J1", 5, 120, 4)}
		in.Joints = []ImpactJoint{{Joint: jointNamed("J1")}}
		spoil(&in)
		var bad *stats.ArgumentError
		if _, err := Impact(in); !errors.As(err, &bad) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

func TestLatestFailure(t *testing.T) {
	at := func(month int) time.Time { return impactStart.AddDate(0, month, 0) }
	inside, outside := testPoint(ledger.AsFound, 120, 1, 0, 0.6), testPoint(ledger.AsFound, 120, 5, 0, 0.6)
	near := testPoint(ledger.AsFound, 120, 3.8, 0, 3.6)
	left, leftBad := testPoint(ledger.AsLeft, 120, 0, 0, 0.6), testPoint(ledger.AsLeft, 120, 5, 0, 0.6)
	calibrations := []ledger.Calibration{
		calibrated(at(12), outside, left), // the newest failure
		calibrated(at(0), inside),         // good without adjustment
		calibrated(at(6), outside, leftBad),
		calibrated(at(3), outside, left), // the last that left it good
		calibrated(at(15), near),
	}
	f, ok, err := LatestFailure(impactTool, calibrations, "")
	if err != nil || !ok || !f.Failed.OccurTime.Equal(at(12)) || f.LastGood == nil || !f.LastGood.OccurTime.Equal(at(3)) {
		t.Fatalf("%+v %v %v", f, ok, err)
	}
	// +3.8 % is inside ±4 %, but with U = 3.6 N·m (3.1 %) not inside the managed
	// guard band: 4 − 3.1·(1.04 − exp(0.38·ln(4/3.1) − 0.54)) = 2.8 %.
	f, ok, err = LatestFailure(impactTool, calibrations, metrology.ManagedGuardBand)
	if err != nil || !ok || !f.Failed.OccurTime.Equal(at(15)) || f.LastGood == nil || !f.LastGood.OccurTime.Equal(at(12)) {
		t.Errorf("under a guard band: %+v %v %v", f, ok, err)
	}
	if _, ok, err = LatestFailure(impactTool, calibrations[1:2], ""); ok || err != nil {
		t.Errorf("a good calibration failed: %v", err)
	}
	f, err = FailureOf(impactTool, calibrations, calibrations[3], "")
	if err != nil || f.LastGood == nil || !f.LastGood.OccurTime.Equal(at(0)) {
		t.Errorf("%+v %v", f, err)
	}
	if f, err = FailureOf(impactTool, calibrations, calibrations[1], ""); err != nil || f.LastGood != nil {
		t.Errorf("%+v %v", f, err)
	}
}
