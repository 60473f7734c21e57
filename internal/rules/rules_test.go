package rules_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the zones, whatever machine runs the test

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	l, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func at(t testing.TB, text string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return v.UTC()
}

func number(v float64) *float64 { return &v }

var id = uuid.MustParse("019cad6f-a0e0-7d33-b5f5-d520a5bbb89f")

// tightened gives facts that break no rule: twelve stainless bolts with
// anti-seize, driven to the specified torque with a wrench in date.
func tightened(t testing.TB) rules.Facts {
	bolt := ledger.Fastener{Thread: "M10", LengthMillimetres: 30, Material: ledger.Stainless304, PropertyClass: "A2-70", Coating: "plain", Head: "flange"}
	happened := at(t, "2026-05-12T09:30:00Z")
	return rules.Facts{
		Record: &ledger.Tightening{
			Entry: ledger.Entry{ID: id, OccurTime: happened, OffsetMinutes: 60, Person: "ab"},
			Joint: ledger.Place{Site: "RVB", Tower: "CT1", Cell: "C1", Joint: "J001"},
			Lot:   "L1", Treatment: ledger.TreatmentAntiSeize, CompoundBatch: "AS-1", Tool: "W1",
			TorqueNewtonMetres: number(32), Fasteners: 12, Pass: ledger.PassFirst, Method: ledger.DrivenByHand,
		},
		Joint: &ledger.Joint{Place: ledger.Place{Site: "RVB", Tower: "CT1", Cell: "C1", Joint: "J001"}, Kind: ledger.JointStructural,
			Critical: true, Specification: "S1", Fasteners: 12},
		Specification: &ledger.Specification{
			Code: "S1", Fastener: bolt, Treatment: ledger.TreatmentAntiSeize, Locking: ledger.LockingPrevailingTorqueNut,
			TorqueNewtonMetres: 32, TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisLubricated, NutFactor: 0.15,
			Revision: ledger.Revision{Version: 3},
		},
		Lot: &ledger.Lot{Number: "L1", Fastener: bolt, State: ledger.LotReleased},
		Tool: &ledger.Tool{Serial: "W1", Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 8, MaximumNewtonMetres: 40,
			ResolutionNewtonMetres: 0.2, HomeSite: "RVB", IntervalMonths: 12, IntervalCycles: 5000, DueAfterEvent: true},
		Person:        &ledger.Person{ID: "ab", Qualifications: []ledger.Qualification{{Task: "bolting", ExpireDate: "2026-12-31"}}},
		Batch:         &ledger.Batch{Number: "AS-1", Kind: ledger.ConsumableAntiSeize, ExpireDate: "2027-06-30"},
		Location:      zone(t, "Europe/Dublin"),
		LotStockKnown: true, LotReceivedHere: true, LotOnHandBefore: 400,
		Calibration: &ledger.Calibration{
			Entry: ledger.Entry{OccurTime: at(t, "2025-06-30T09:00:00Z")}, Tool: "W1",
			Points: []ledger.CalibrationPoint{{Phase: ledger.AsLeft, TargetNewtonMetres: 40, ReadingsNewtonMetres: []float64{40.1, 39.9, 40, 40.2, 39.8}}},
		},
		CyclesSince: 700,
		Custody: &ledger.Custody{Entry: ledger.Entry{ID: id, OccurTime: at(t, "2026-05-01T06:30:00Z")}, Tool: "W1",
			Kind: ledger.CustodyIssued, Site: "RVB", Holder: "ab"},
		ReceiveTime: happened.Add(time.Minute),
	}
}

// sealed gives facts that break no rule: a strip seal laid in fair weather.
func sealed(t testing.TB) rules.Facts {
	f := tightened(t)
	happened := f.Record.Head().OccurTime
	f.Record = &ledger.Sealing{
		Entry: ledger.Entry{ID: id, OccurTime: happened, OffsetMinutes: 60, Person: "ab"},
		Joint: f.Joint.Place, Sealant: "strip", Batch: "ST-1", WidthMillimetres: 25.4, Solvent: "acetone",
		CleanTime: happened.Add(-20 * time.Minute), AirCelsius: number(18), SurfaceCelsius: number(18), HumidityPercent: number(50),
		Splice: ledger.SpliceCorner,
	}
	f.Specification.Sealant, f.Specification.SealWidthMillimetres = "strip", 25.4
	f.Batch = &ledger.Batch{Number: "ST-1", Kind: ledger.ConsumableStripSealant, ExpireDate: "2027-02-28"}
	return f
}

func inspected(t testing.TB) rules.Facts {
	f := tightened(t)
	f.Record = &ledger.Inspection{Entry: *f.Record.Head(), Joint: f.Joint.Place, Kind: ledger.TorqueAudit, Sample: 2,
		ReadingsNewtonMetres: []float64{31, 33}, Result: ledger.InspectionPass, Tool: "W1"}
	return f
}

func galled(t testing.TB) rules.Facts {
	f := tightened(t)
	f.Record = &ledger.Incident{Entry: *f.Record.Head(), Joint: f.Joint.Place, Kind: ledger.Galling, Fasteners: 2, Lot: "L1",
		Treatment: ledger.TreatmentAntiSeize, Tool: "W1", Method: ledger.DrivenByHand}
	return f
}

func tightening(f *rules.Facts) *ledger.Tightening { return f.Record.(*ledger.Tightening) }
func sealing(f *rules.Facts) *ledger.Sealing       { return f.Record.(*ledger.Sealing) }

type base func(testing.TB) rules.Facts

// scene is one set of facts and what one rule says of it: the severity it is
// found with, or "" for silence; figure and limit are compared where given.
type scene struct {
	name          string
	facts         base
	change        func(*rules.Facts)
	severity      string
	figure, limit float64
	says          string // part of the message
}

// run plays the scenes of one rule.
func run(t *testing.T, code string, scenes []scene) {
	t.Helper()
	for _, s := range scenes {
		t.Run(s.name, func(t *testing.T) {
			f := s.facts(t)
			if s.change != nil {
				s.change(&f)
			}
			var found []rules.Finding
			for _, finding := range rules.Check(f) {
				if finding.Rule == code {
					found = append(found, finding)
				}
			}
			if s.severity == "" {
				if len(found) != 0 {
					t.Errorf("found %q; expected silence", found[0].Message)
				}
				return
			}
			if len(found) != 1 {
				t.Fatalf("%d findings; expected 1", len(found))
			}
			compare(t, s, found[0])
		})
	}
}

func compare(t *testing.T, s scene, got rules.Finding) {
	t.Helper()
	if got.Severity.String() != s.severity {
		t.Errorf("severity %s; expected %s", got.Severity, s.severity)
	}
	if !strings.Contains(got.Message, s.says) {
		t.Errorf("message %q; expected it to say %q", got.Message, s.says)
	}
	if !strings.HasSuffix(got.Message, ".") || got.Source == "" {
		t.Errorf("message %q, source %q; expected a sentence and a source", got.Message, got.Source)
	}
	for _, v := range []struct {
		what string
		got  *float64
		want float64
	}{{"figure", got.Figure, s.figure}, {"limit", got.Limit, s.limit}} {
		if v.want == 0 {
			continue
		}
		if v.got == nil || math.Abs(*v.got-v.want) > 1e-3*math.Max(1, math.Abs(v.want)) {
			t.Errorf("%s %v; expected %v", v.what, v.got, v.want)
		}
	}
}

func TestFaultlessRecordsBreakNothing(t *testing.T) {
	for name, facts := range map[string]base{"tightening": tightened, "sealing": sealed, "inspection": inspected, "incident": galled} {
		if found := rules.Check(facts(t)); len(found) != 0 {
			t.Errorf("%s: %+v", name, found)
		}
	}
}

// With the record alone nothing is known, so nothing is said but that nothing
// shows the tool to be calibrated.
func TestBareRecordsAreSilent(t *testing.T) {
	for name, c := range map[string]struct {
		facts base
		want  []string
	}{
		"tightening": {tightened, []string{rules.CodeCalibrationUnknown}},
		"inspection": {inspected, []string{rules.CodeCalibrationUnknown}},
		"sealing":    {sealed, nil},
		"incident":   {galled, nil},
	} {
		var codes []string
		for _, finding := range rules.Check(rules.Facts{Record: c.facts(t).Record}) {
			codes = append(codes, finding.Rule)
		}
		if !slices.Equal(codes, c.want) {
			t.Errorf("%s: %v; expected %v", name, codes, c.want)
		}
	}
	if found := rules.Check(rules.Facts{}); found != nil {
		t.Errorf("no record: %v", found)
	}
}

func BenchmarkCheck(b *testing.B) {
	for name, facts := range map[string]base{"tightening": tightened, "sealing": sealed} {
		f := facts(b)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if len(rules.Check(f)) != 0 {
					b.Fatal("a faultless record broke a rule")
				}
			}
		})
	}
}
