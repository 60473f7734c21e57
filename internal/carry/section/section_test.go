package section_test

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the zones, whatever machine runs the test

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/carry/section"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

var moment = time.Date(2026, 3, 2, 15, 4, 5, 123_456_000, time.UTC)

func id(n uint64) uuid.UUID {
	var u uuid.UUID
	r := rand.New(rand.NewPCG(7, n))
	for i := range u {
		u[i] = byte(r.UintN(256))
	}
	u[6], u[8] = 0x70|u[6]&0xf, 0x80|u[8]&0x3f
	return u
}

func revision(n int) ledger.Revision {
	return ledger.Revision{Version: n, CreateTime: moment.AddDate(-1, 0, 0), UpdateTime: moment.AddDate(0, 0, n)}
}

func pointer[T any](v T) *T { return &v }

// same checks that what was read is what was written.
func same[T any](t *testing.T, what string, want, got T) {
	t.Helper()
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty(), cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })); diff != "" {
		t.Errorf("%s (-written +read):\n%s", what, diff)
	}
}

// written gives the content of a section after a way through its frame.
func written(t *testing.T, name string, s section.Section, err error) []byte {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	if s.Name != name {
		t.Fatalf("the section is named %q; expected %q", s.Name, name)
	}
	back, err := section.Unpack(s.Name, s.Packed(), s.Sum())
	if err != nil || !bytes.Equal(back.Content, s.Content) {
		t.Fatalf("unpacked: %v", err)
	}
	return back.Content
}

func cellPast() known.CellPast {
	cell := ledger.Place{Site: "RVB", Tower: "CT2", Cell: "C3"}
	c := known.CellPast{Cell: ledger.Cell{Place: cell, Description: "north", Revision: revision(3)}}
	for i, tag := range []string{"J001", "J002", "J003"} {
		place := cell
		place.Joint = tag
		j := known.JointWork{
			JointPast: known.JointPast{Joint: ledger.Joint{Place: place, Kind: ledger.JointKind(i + 1), Critical: i == 1, PartA: "column", PartB: []string{"beam", "deck", ""}[i], Specification: "S1", Fasteners: 12 + i}},
			Work:      ledger.JointWork{SealRequired: i == 2, Fasteners: 12 + i, TightenedFirst: int64(5 * i), Sealed: i == 2, SignedOff: i == 1, OnHold: true, Inspections: map[ledger.InspectionKind]ledger.InspectionResult{}},
		}
		for n := range i {
			j.Tightenings = append(j.Tightenings, known.Tightened{ID: id(uint64(10*i + n)), At: moment.Add(-time.Duration(n*i) * time.Hour), Treatment: ledger.TreatmentAntiSeize, Fasteners: 5 * n,
				Driven: 5 + n, Lot: []string{"L-1", "L-2"}[n], Tool: []string{"", "TW-1"}[n]})
		}
		c.Joints = append(c.Joints, j)
	}
	c.Joints[1].Work.Inspections[ledger.VisualInspection] = ledger.InspectionFail
	c.Joints[1].Work.Inspections[ledger.TorqueAudit] = ledger.InspectionPass
	c.Holds = []*ledger.Hold{{
		Entry: ledger.Entry{ID: id(90), OccurTime: moment, OffsetMinutes: -420, Person: "ab"}, Action: ledger.HoldPlaced,
		Place: cell, Site: "RVB", Reason: "it is cold", Rule: "seal-cold", Cause: id(91),
	}}
	return c
}

func toolPast(t *testing.T) known.ToolPast {
	home, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	return known.ToolPast{
		Tool: ledger.Tool{Serial: "TW-1", Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20, MaximumNewtonMetres: 100, HomeSite: "RVB",
			IntervalMonths: 12, IntervalCycles: 5000, Policies: []ledger.Policy{{Action: ledger.ActionPreUseCheck, EachShift: true}}, Revision: revision(1)},
		Home: home,
		Calibrations: []ledger.Calibration{{
			Entry: ledger.Entry{ID: id(1), OccurTime: moment, Person: "ab", ReceiveTime: moment.Add(time.Hour), Sequence: 4}, Tool: "TW-1", Site: "RVB",
			Laboratory: "Lab 3", Certificate: "C-1", Document: ledger.CalibrationCertificate, Rule: ledger.RuleGuardBand, StatedVerdict: ledger.VerdictPass,
			AirCelsius: pointer(21.5), DeviceUncertaintyPercent: 0.3,
			Points: []ledger.CalibrationPoint{{Phase: ledger.AsFound, TargetNewtonMetres: 20, ReadingsNewtonMetres: []float64{19.9, 20.1}, ExpandedUncertaintyNewtonMetres: 0.2, CoverageFactor: 2}},
			Verdict: &ledger.CalibrationVerdict{Rule: ledger.RuleGuardBand, Edition: "2017", LimitPercent: 4, AsFound: ledger.VerdictPass,
				WorstAsFoundPercent: pointer(-0.5), ConformityProbability: pointer(0.99), TestUncertaintyRatio: pointer(4.2), Deficiencies: []string{"No humidity is stated."}},
		}},
		Custody: []ledger.Custody{
			{Entry: ledger.Entry{ID: id(2), OccurTime: moment}, Tool: "TW-1", Site: "RVB", Kind: ledger.CustodyIssued, Holder: "ab"},
			{Entry: ledger.Entry{ID: id(3), OccurTime: moment.Add(time.Hour)}, Tool: "TW-1", Site: "KVR", Kind: ledger.CustodyDropped},
		},
		Dropped: []time.Time{moment.Add(2 * time.Hour)},
		Checks:  []analysis.ActionDone{{Action: ledger.ActionPreUseCheck, At: moment, Failed: true}},
		Holds:   []known.Span{{From: moment, To: moment.Add(time.Minute), ID: id(4)}, {From: moment.Add(time.Hour)}},
		Uses:    []analysis.Use{{At: moment, Fasteners: 7}, {At: moment, Fasteners: 1}, {At: moment.Add(time.Microsecond), Fasteners: 12}},
	}
}

// What a section says is read back as it was written, nothing more and nothing less.
func TestRoundTrip(t *testing.T) {
	site := ledger.Site{Code: "RVB", Name: "Riverbend", Region: "mountain", TimeZone: "America/Denver", Status: ledger.SitePlanned, Units: ledger.UnitsUSCustomary, Revision: revision(2)}
	towers := []ledger.Tower{{Place: ledger.Place{Site: "RVB", Tower: "CT2"}, Material: ledger.Stainless316, Drawing: "D-2", PlannedStart: "2026-01-12", PlannedFinish: "2026-11-30", Revision: revision(1)}}
	s, err := section.OfPlan(site, towers)
	plan, err := section.ReadPlan(written(t, "site", s, err))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "plan", section.PlanRead{Site: site, Towers: towers}, plan)

	c := cellPast()
	s, err = section.OfCell(c)
	cell, err := section.ReadCell(s.Name, written(t, "cells/CT2/C3", s, err))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "cell", c, cell)
	if place, ok := section.CellPlace("RVB", s.Name); !ok || place != c.Cell.Place {
		t.Errorf("the place of %s is %v", s.Name, place)
	}

	spec := known.SpecificationPast{Code: "S1", Revisions: []ledger.Specification{
		{Code: "S1", Fastener: ledger.Fastener{Thread: "M10x1.5", LengthMillimetres: 40, Material: ledger.Stainless316}, Treatment: ledger.TreatmentAntiSeize, Locking: ledger.LockingNone,
			TorqueNewtonMetres: 32, TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisLubricated, TorqueToolRequired: true, Revision: revision(1)},
		{Code: "S1", Treatment: ledger.TreatmentNone, Sealant: "butyl", SealWidthMillimetres: 9.5, MinimumSurfaceCelsius: pointer(0.0), Revision: revision(2)},
	}, Substitutions: []ledger.Substitution{{Code: "B1", Specification: "S1", Permitted: ledger.Fastener{Thread: "M10"}, Needs: "washers", TorqueNewtonMetres: 30, ApprovedBy: "q", Revision: revision(1)}}}
	s, err = section.OfSpecification(spec)
	gotSpec, err := section.ReadSpecification(s.Name, written(t, "specifications/S1", s, err))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "specification", spec, gotSpec)

	lot := known.LotPast{Lot: ledger.Lot{Number: "L-1", Supplier: "Alder", Heat: "H", State: ledger.LotUsedUp, Fastener: ledger.Fastener{Thread: "M16"}, Revision: revision(5)},
		Holds: []known.Span{{From: moment, ID: id(5)}}, MovedAnywhere: true, Received: true, OnHand: -12, CountTime: moment.Add(time.Microsecond)}
	s, err = section.OfLot(lot)
	gotLot, err := section.ReadLot(s.Name, written(t, "lots/L-1", s, err))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "lot", lot, gotLot)

	tool := toolPast(t)
	s, err = section.OfTool(tool)
	gotTool, err := section.ReadTool(s.Name, written(t, "tools/TW-1", s, err))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "tool", tool, gotTool)

	people := []ledger.Person{{ID: "ab", Name: "A. B.", Employer: "N", HomeSite: "RVB", Roles: []ledger.Role{ledger.RoleTechnician, ledger.RoleCrib},
		Qualifications: []ledger.Qualification{{Task: "bolting", ExpireDate: "2027-06-30"}}, Revision: revision(1)}, {ID: "jt4", Revision: revision(1)}}
	s, err = section.OfPeople(people)
	gotPeople, err := section.ReadPeople(written(t, "people", s, err))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "people", people, gotPeople)

	batches := []ledger.Batch{{Number: "AS-19", Kind: ledger.ConsumableAntiSeize, Product: "nickel", ExpireDate: "2027-01-01", MinimumCelsius: pointer(-20.0), Revision: revision(1)}}
	s, err = section.OfBatches(batches)
	gotBatches, err := section.ReadBatches(written(t, "batches", s, err))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "batches", batches, gotBatches)
}

// The same data give the same bytes, and any change gives others: on this rests what
// a device is sent.
func TestSumFollowsContent(t *testing.T) {
	base, err := section.OfCell(cellPast())
	if err != nil {
		t.Fatal(err)
	}
	for range 20 {
		again, err := section.OfCell(cellPast())
		if err != nil || again.Sum() != base.Sum() {
			t.Fatal("the same cell has another sum")
		}
	}
	for name, change := range map[string]func(*known.CellPast){
		"a fastener":      func(c *known.CellPast) { c.Joints[2].Joint.Fasteners++ },
		"a part":          func(c *known.CellPast) { c.Joints[0].Joint.PartA = "stringer" },
		"an inspection":   func(c *known.CellPast) { c.Joints[1].Work.Inspections[ledger.VisualInspection] = ledger.InspectionPass },
		"a tightening":    func(c *known.CellPast) { c.Joints[2].Tightenings = c.Joints[2].Tightenings[:1] },
		"a microsecond":   func(c *known.CellPast) { c.Joints[2].Tightenings[0].At = moment.Add(time.Microsecond) },
		"a released hold": func(c *known.CellPast) { c.Holds = nil },
	} {
		c := cellPast()
		change(&c)
		if s, err := section.OfCell(c); err != nil || s.Sum() == base.Sum() {
			t.Errorf("%s changes nothing (%v)", name, err)
		}
	}
}

// A section that is damaged anywhere is told as damaged; one with the right sum that
// says what can't be is told too.
func TestDamage(t *testing.T) {
	s, err := section.OfCell(cellPast())
	if err != nil {
		t.Fatal(err)
	}
	frame := s.Packed()
	for i := range frame {
		bad := bytes.Clone(frame)
		bad[i] ^= 0x10
		if got, err := section.Unpack(s.Name, bad, s.Sum()); err == nil && !bytes.Equal(got.Content, s.Content) {
			t.Fatalf("a flipped bit in byte %d of %d went unnoticed", i, len(frame))
		}
	}
	for n := range len(frame) {
		if _, err := section.Unpack(s.Name, frame[:n], s.Sum()); err == nil {
			t.Fatalf("a frame cut to %d of %d bytes went unnoticed", n, len(frame))
		}
	}
	if _, err := section.ReadCell(s.Name, s.Content[:len(s.Content)-1]); err == nil || !strings.Contains(err.Error(), s.Name) {
		t.Errorf("a content cut short: %v", err)
	}
	if _, err := section.ReadTool("tools/X", s.Content); err == nil {
		t.Error("a cell was read as a tool")
	}
}

func TestRulesSumIsStable(t *testing.T) {
	first := section.RulesSum()
	if again := section.RulesSum(); again != first || first == (section.Sum{}) {
		t.Errorf("the sum of the rules is %x, then %x", first, again)
	}
}
