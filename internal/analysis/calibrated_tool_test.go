package analysis

import (
	"maps"
	"math"
	"testing"
	"time"

	"jointledger/internal/ledger"
)

// reads makes a test point at 100 N.m whose readings have the given deviations,
// percent of the reference.
func reads(phase ledger.CalibrationPhase, percent ...float64) ledger.CalibrationPoint {
	p := ledger.CalibrationPoint{Phase: phase, TargetNewtonMetres: 100}
	for _, a := range percent {
		p.ReadingsNewtonMetres = append(p.ReadingsNewtonMetres, 100/(1+a/100))
	}
	return p
}

// years after the first calibration, in mean years of the Gregorian calendar.
func seenAfter(years float64, points ...ledger.CalibrationPoint) CalibrationSeen {
	start := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	return CalibrationSeen{At: start.Add(time.Duration(years * 365.2425 * 24 * float64(time.Hour))), Points: points}
}

// II-A above 10 N.m allows 4 % (trade reference, F).
var wrench200 = ledger.Tool{Serial: "TW", Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MaximumNewtonMetres: 200, IntervalMonths: 12}

func TestIntervalsOf(t *testing.T) {
	found, left := ledger.AsFound, ledger.AsLeft
	failed := seenAfter(1, reads(found, -1, -4.1))
	judged := seenAfter(1, reads(found, 3.9))
	judged.Verdict = &ledger.CalibrationVerdict{LimitPercent: 4, AsFound: ledger.VerdictConditionalFail}
	narrow := seenAfter(1, reads(found, 3.9))
	narrow.Verdict = &ledger.CalibrationVerdict{LimitPercent: 3, AsFound: ledger.VerdictFail}
	classless := wrench200
	classless.TypeClass = ""
	used := seenAfter(0, reads(left, 0))
	used.CyclesToNext = 77
	for _, c := range []struct {
		what    string
		tool    ledger.Tool
		seen    []CalibrationSeen
		in      []bool
		leftOut map[LeftOutReason]int64
	}{
		{"one says nothing", wrench200, []CalibrationSeen{used}, nil, nil},
		{"in tolerance", wrench200, []CalibrationSeen{used, seenAfter(1, reads(found, 3.9), reads(left, 0))}, []bool{true}, nil},
		{"one reading outside is enough", wrench200, []CalibrationSeen{used, failed}, []bool{false}, nil},
		{"an unadjusted failure starts nothing", wrench200, []CalibrationSeen{used, failed, seenAfter(2, reads(found, 0))}, []bool{false},
			map[LeftOutReason]int64{LeftOutNotGood: 1}},
		{"an adjusted one does", wrench200, []CalibrationSeen{used, seenAfter(1, reads(found, -9), reads(left, 1)), seenAfter(2, reads(found, 0))}, []bool{false, true}, nil},
		{"no readings as found", wrench200, []CalibrationSeen{used, seenAfter(1, reads(left, 0)), seenAfter(2, reads(found, 0))}, []bool{true},
			map[LeftOutReason]int64{LeftOutNotAsFound: 1}},
		{"no limit", classless, []CalibrationSeen{used, seenAfter(1, reads(found, 0))}, nil, map[LeftOutReason]int64{LeftOutNoLimit: 1}},
		{"at one moment", wrench200, []CalibrationSeen{used, seenAfter(0, reads(found, 0))}, nil, map[LeftOutReason]int64{LeftOutNoLength: 1}},
		{"the laboratory's doubt is no drift", wrench200, []CalibrationSeen{used, judged}, []bool{true}, nil},
		{"the limit that was judged by", wrench200, []CalibrationSeen{used, narrow}, []bool{false}, nil},
		{"the verdict says what was left good", wrench200, []CalibrationSeen{seenAfter(0, reads(found, 0)), judged, seenAfter(2, reads(found, 0))}, []bool{true},
			map[LeftOutReason]int64{LeftOutNotGood: 1}},
	} {
		leftOut := map[LeftOutReason]int64{}
		intervals := IntervalsOf(CalibratedTool{Tool: c.tool, Calibrations: c.seen}, leftOut)
		if len(intervals) != len(c.in) || !maps.Equal(leftOut, c.leftOut) {
			t.Errorf("%s: %d intervals, left out %v", c.what, len(intervals), leftOut)
			continue
		}
		for i, in := range c.in {
			if intervals[i].InTolerance != in || !intervals[i].End.After(intervals[i].Start) {
				t.Errorf("%s: interval %d: %+v", c.what, i, intervals[i])
			}
		}
	}
	if i := IntervalsOf(CalibratedTool{Tool: wrench200, Calibrations: []CalibrationSeen{used, failed}}, map[LeftOutReason]int64{}); i[0].Cycles != 77 {
		t.Errorf("%d cycles; expected those from the first calibration on", i[0].Cycles)
	}
}

// A wrench that loses 1 % a year and is set right every year is found at -1 %
// each time: with the adjustments undone it stands at 0, -1, -2 and -3 %.
func TestToolDriftsUndoAdjustments(t *testing.T) {
	found, left := ledger.AsFound, ledger.AsLeft
	year := func(n float64) CalibrationSeen { return seenAfter(n, reads(found, -1.5, -0.5), reads(left, 0)) }
	drifts, err := ToolDrifts(CalibratedTool{Tool: wrench200, Calibrations: []CalibrationSeen{seenAfter(0, reads(left, 0)), year(1), year(2), year(3)}}, 0.95)
	if err != nil || len(drifts) != 1 {
		t.Fatalf("%v, %v", drifts, err)
	}
	d := drifts[0]
	if d.LimitPercent != 4 || d.TargetNewtonMetres != 100 || d.Line == nil || d.Line.Points != 4 || math.Abs(d.Line.PercentPerYear+1) > 1e-6 {
		t.Fatalf("%+v, %+v", d, d.Line)
	}
	for i, want := range []float64{0, -1, -2, -3} {
		if got := d.Points[i].UndonePercent; got == nil || math.Abs(*got-want) > 1e-6 {
			t.Errorf("point %d undone: %v, expected %v", i, got, want)
		}
	}
	if i := d.Line.Interval; i == nil || math.Abs(i.Lower+1) > 1e-4 || math.Abs(i.Upper+1) > 1e-4 {
		t.Errorf("limits of a perfect line: %+v", i)
	}
}

// Where nobody looked before adjusting, the line begins anew; a reading of no
// torque has no deviation.
func TestToolDriftsBreakTheLine(t *testing.T) {
	found, left := ledger.AsFound, ledger.AsLeft
	seen := []CalibrationSeen{
		seenAfter(0, reads(found, 9), reads(left, 0)), seenAfter(1, reads(left, 0)), seenAfter(2, reads(found, 2)),
		seenAfter(3, ledger.CalibrationPoint{Phase: found, TargetNewtonMetres: 100, ReadingsNewtonMetres: []float64{0}}),
	}
	drifts, err := ToolDrifts(CalibratedTool{Tool: wrench200, Calibrations: seen}, 0.95)
	if err != nil || len(drifts) != 1 {
		t.Fatalf("%v, %v", drifts, err)
	}
	d := drifts[0]
	if len(d.Points) != 3 || d.Points[0].UndonePercent != nil || d.Line.Points != 2 || d.Line.Interval != nil || math.Abs(d.Line.PercentPerYear-2) > 1e-6 {
		t.Errorf("%+v, %+v", d, d.Line)
	}
	if drifts, err := ToolDrifts(CalibratedTool{Tool: wrench200, Calibrations: seen[:1]}, 0.95); err != nil || len(drifts) != 0 {
		t.Errorf("one calibration: %v, %v", drifts, err)
	}
	together := []CalibrationSeen{seenAfter(0, reads(found, 1)), seenAfter(0, reads(found, 2))}
	if drifts, err := ToolDrifts(CalibratedTool{Tool: wrench200, Calibrations: together}, 0.95); err != nil || len(drifts) != 1 || drifts[0].Line != nil {
		t.Errorf("two at one moment: %v, %v", drifts, err)
	}
	if _, err := ToolDrifts(CalibratedTool{Tool: wrench200, Calibrations: seen}, 1); err == nil {
		t.Error("a confidence of 1 was taken")
	}
}
