package metrology_test

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"jointledger/internal/metrology"
)

func TestTestPoints(t *testing.T) {
	tests := []struct {
		name    string
		class   string
		edition metrology.Edition
		r       metrology.TorqueRange
		want    []float64
	}{
		// Seen: a 10-100 tool formerly tested at 20 must be tested at 10.
		{"10-100 in 2003", "II-A", metrology.Edition2003, metrology.TorqueRange{Lowest: 10, Maximum: 100, Graduation: 1}, []float64{20, 60, 100}},
		{"10-100 in 2017", "II-A", metrology.Edition2017, metrology.TorqueRange{Lowest: 10, Maximum: 100, Graduation: 1}, []float64{10, 60, 100}},
		// Seen: the nearest mark below 20 % when 20 % is not marked.
		{"20 % unmarked", "II-A", metrology.Edition2003, metrology.TorqueRange{Lowest: 10, Maximum: 90, Graduation: 5}, []float64{15, 54, 90}},
		{"20 % marked, uneven binary step", "II-A", metrology.Edition2003, metrology.TorqueRange{Lowest: 0.1, Maximum: 3, Graduation: 0.1}, []float64{0.6, 1.8, 3}},
		{"scale starts above 20 %", "II-A", metrology.Edition2003, metrology.TorqueRange{Lowest: 40, Maximum: 100, Graduation: 1}, []float64{40, 60, 100}},
		{"scale starts at 60 %", "II-A", metrology.Edition2017, metrology.TorqueRange{Lowest: 60, Maximum: 100, Graduation: 1}, []float64{60, 100}},
		// From memory: a fixed tool is tested where it is fixed.
		{"fixed", "II-B", metrology.Edition2017, metrology.TorqueRange{Lowest: 80, Maximum: 80}, []float64{80}},
	}
	for _, tt := range tests {
		got, err := class(t, tt.class).TestPoints(tt.edition, tt.r)
		if err != nil || len(got) != len(tt.want) {
			t.Errorf("%s: %v, %v; want %v", tt.name, got, err, tt.want)
			continue
		}
		for i := range got {
			closeTo(t, tt.name, got[i], tt.want[i], 1e-9)
		}
	}
	_, err := class(t, "II-A").TestPoints(metrology.Edition2017, metrology.TorqueRange{Maximum: 100})
	wantRangeError(t, err, "lowest torque of the tool")
	_, err = class(t, "II-A").TestPoints("1992", metrology.TorqueRange{Maximum: 100})
	var unknown *metrology.UnknownEditionError
	if !errors.As(err, &unknown) {
		t.Errorf("edition 1992: %v", err)
	}
}

func TestMissingTestPoints(t *testing.T) {
	required := []float64{20, 60, 100}
	tests := []struct {
		name   string
		r      metrology.TorqueRange
		tested []float64
		want   []float64
	}{
		{"all there", metrology.TorqueRange{Maximum: 100, Graduation: 1}, []float64{100, 60, 20}, nil},
		{"one graduation off", metrology.TorqueRange{Maximum: 100, Graduation: 5}, []float64{25, 60, 100}, nil},
		{"two graduations off", metrology.TorqueRange{Maximum: 100, Graduation: 1}, []float64{22, 60, 100}, []float64{20}},
		{"1 % off, graduation unknown", metrology.TorqueRange{Maximum: 100}, []float64{21, 61.5, 100}, []float64{60}},
		{"nothing tested", metrology.TorqueRange{Maximum: 100}, nil, required},
	}
	for _, tt := range tests {
		if got := tt.r.MissingTestPoints(required, tt.tested); !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

// 2003: ±1 % (seen). 2017: a quarter of the tool's limit (from memory).
func TestDeviceLimit(t *testing.T) {
	for _, tt := range []struct {
		edition metrology.Edition
		limit   float64
		want    float64
	}{
		{metrology.Edition2003, 4, 1}, {metrology.Edition2003, 6, 1},
		{metrology.Edition2017, 4, 1}, {metrology.Edition2017, 6, 1.5},
	} {
		got, err := metrology.DeviceLimitPercent(tt.edition, tt.limit)
		if err != nil || got != tt.want {
			t.Errorf("%s, %g %%: %g, %v; want %g", tt.edition, tt.limit, got, err, tt.want)
		}
	}
}

// readings60 is a constructed test point whose deviations, mean and standard
// deviation were worked out by hand.
var readings60 = metrology.TestPoint{Target: 60, References: []float64{58.6, 58.9, 59.2, 58.4, 58.8}}

func goodPoint(target float64) metrology.TestPoint {
	return metrology.TestPoint{Target: target, References: []float64{target, target, target, target, target}}
}

func wrench(t *testing.T) metrology.Calibration {
	t.Helper()
	return metrology.Calibration{
		Class:                    class(t, "II-A"),
		Range:                    metrology.TorqueRange{Lowest: 20, Maximum: 100, Graduation: 0.5},
		Edition:                  metrology.Edition2017,
		Rule:                     metrology.SimpleAcceptance,
		DeviceUncertaintyPercent: 1,
	}
}

func TestAssessPointFigures(t *testing.T) {
	c := wrench(t)
	c.AsLeft = []metrology.TestPoint{goodPoint(20), readings60, goodPoint(100)}
	a, err := c.Assess()
	if err != nil {
		t.Fatal(err)
	}
	point := a.AsLeft.Points[1]
	closeTo(t, "mean", point.MeanPercent, 2.0777, 0.00005)
	closeTo(t, "standard deviation", point.StandardDeviationPercent, 0.5264, 0.00005)
	closeTo(t, "worst", point.WorstPercent, 2.740, 0.0005)
	if a.LimitPercent != 4 || !a.AsLeft.Conforms() || !a.Device.Adequate {
		t.Errorf("assessment %+v does not conform", a)
	}
	if a.AsFound.Taken || a.AsFound.Conforms() || a.AsFound.Outcome != metrology.Fail {
		t.Errorf("as-found was not taken, yet: %+v", a.AsFound)
	}
	if got := a.AsFound.Deficiencies(); !reflect.DeepEqual(got, []string{"no readings"}) {
		t.Errorf("deficiencies %q", got)
	}
}

func TestEveryReadingMustPass(t *testing.T) {
	c := wrench(t)
	// The mean deviation is well inside 4 %; one reading is not.
	bad := metrology.TestPoint{Target: 60, References: []float64{60, 60, 60, 60, 57.6}}
	c.AsFound = []metrology.TestPoint{goodPoint(20), bad, goodPoint(100)}
	c.AsLeft = []metrology.TestPoint{goodPoint(20), goodPoint(60), goodPoint(100)}
	a, err := c.Assess()
	if err != nil {
		t.Fatal(err)
	}
	if a.AsFound.Outcome != metrology.Fail || a.AsFound.Conforms() {
		t.Errorf("one reading of +4.17 %% passed: %+v", a.AsFound)
	}
	if !a.AsLeft.Conforms() {
		t.Error("as-left must be judged apart from as-found")
	}
	if got := strings.Join(a.AsFound.Deficiencies(), "; "); got != "fail at 60 N·m: worst deviation +4.17 %" {
		t.Errorf("deficiencies %q", got)
	}
}

// A deviation of exactly the limit conforms, also where floating point puts it
// a hair above: (10.4 − 10)/10 computes as 4.000000000000004 %.
func TestDeviationOnTheLimitConforms(t *testing.T) {
	for _, reading := range []struct{ target, reference float64 }{{10.4, 10}, {104, 100}, {52, 50}, {96, 100}} {
		a, err := metrology.Reading{Target: reading.target, Reference: reading.reference}.DeviationPercent()
		if err != nil {
			t.Fatal(err)
		}
		got, err := metrology.Result{Deviation: a, Limit: 4}.Decide(metrology.SimpleAcceptance)
		if err != nil || got != metrology.Pass {
			t.Errorf("%g against %g (%.17g %%): %v, %v", reading.target, reading.reference, a, got, err)
		}
	}
}

func TestIncompleteCalibrationDoesNotConform(t *testing.T) {
	c := wrench(t)
	short := metrology.TestPoint{Target: 60, References: []float64{60, 60, 60}}
	c.AsLeft = []metrology.TestPoint{short, goodPoint(100)}
	a, err := c.Assess()
	if err != nil {
		t.Fatal(err)
	}
	if a.AsLeft.Outcome != metrology.Pass {
		t.Errorf("outcome %v, want pass: the readings that there are do pass", a.AsLeft.Outcome)
	}
	if a.AsLeft.Conforms() {
		t.Error("a missing test point and two missing readings conform")
	}
	want := []string{"2 of 5 readings missing at 60 N·m", "no test point at 20 N·m"}
	if got := a.AsLeft.Deficiencies(); !reflect.DeepEqual(got, want) {
		t.Errorf("deficiencies %q, want %q", got, want)
	}
}

func TestAssessUnderGuardBand(t *testing.T) {
	c := wrench(t)
	c.Rule = metrology.GuardBand
	point := goodPoint(60)
	point.References = []float64{60, 60, 60, 60, 60 / 1.036} // a = 3.6 %
	point.ExpandedUncertainty = 0.9                          // k = 3: 0.6 at k = 2, 1.0 % of 60
	point.CoverageFactor = 3
	c.AsLeft = []metrology.TestPoint{point}
	a, err := c.Assess()
	if err != nil {
		t.Fatal(err)
	}
	if got := a.AsLeft.Points[0].Outcome; got != metrology.ConditionalPass {
		t.Errorf("3.6 %% with U 1 %% under a guard band: %v", got)
	}
	closeTo(t, "uncertainty", a.AsLeft.Points[0].UncertaintyPercent, 1.0, 0.01)

	c.AsLeft = []metrology.TestPoint{goodPoint(60)}
	_, err = c.Assess()
	wantRangeError(t, err, "expanded uncertainty")
}

func TestDeviceUncertaintyAgainstLimit(t *testing.T) {
	for _, tt := range []struct {
		percent  float64
		stated   bool
		adequate bool
	}{{0, false, false}, {0.99, true, true}, {1, true, true}, {1.01, true, false}} {
		c := wrench(t)
		c.DeviceUncertaintyPercent = tt.percent
		a, err := c.Assess()
		if err != nil {
			t.Fatal(err)
		}
		if a.Device.Stated != tt.stated || a.Device.Adequate != tt.adequate || a.Device.AllowedPercent != 1 {
			t.Errorf("device at %g %%: %+v", tt.percent, a.Device)
		}
	}
}

func TestAssessRefusesNonsense(t *testing.T) {
	c := wrench(t)
	c.AsLeft = []metrology.TestPoint{{Target: 60}}
	_, err := c.Assess()
	wantRangeError(t, err, "number of readings")
	c.AsLeft = []metrology.TestPoint{{Target: 60, References: []float64{60, math.Inf(1)}}}
	_, err = c.Assess()
	wantRangeError(t, err, "reference torque")
	c.AsLeft = nil
	c.Range.Maximum = 0
	_, err = c.Assess()
	wantRangeError(t, err, "maximum torque of the tool")
}

// Constructed example, 20 N·m point (components after ISO 6789-2:2017, from
// memory): resolution 0.7217, device 0.25, reproducibility 0.2887, output drive
// 0.2309, interface 0.1155, loading point 0.1732 and repeatability 0.21 % give
// w = 0.8986 %, W = 1.797 %, and W′ = 3.88 % with a mean deviation of 2.08 %.
func TestUncertaintyBudget(t *testing.T) {
	budget := metrology.UncertaintyBudget{
		TargetNewtonMetres: 20, Resolution: 0.5, Reproducibility: 0.20, OutputDrive: 0.16,
		DriveInterface: 0.08, LoadingPoint: 0.12, RepeatabilityPercent: 0.21, DeviceExpandedPercent: 0.5,
	}
	u, err := budget.Combine()
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "w", u.StandardPercent, 0.8986, 0.00005)
	closeTo(t, "W", u.ExpandedPercent, 1.797, 0.0005)
	closeTo(t, "W'", u.IntervalForUsePercent(2.08, 0), 3.88, 0.005)
	closeTo(t, "W' of a negative deviation", u.IntervalForUsePercent(-2.08, 0), 3.88, 0.005)

	// The same step at 60 N·m weighs 0.2406 %.
	at60, err := metrology.UncertaintyBudget{TargetNewtonMetres: 60, Resolution: 0.5}.Combine()
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "resolution at 60", at60.StandardPercent, 0.2406, 0.00005)

	budget.LoadingPoint = -1
	_, err = budget.Combine()
	wantRangeError(t, err, "loading point")
}
