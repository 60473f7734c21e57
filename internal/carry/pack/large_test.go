package pack_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/carry/pack"
	"jointledger/internal/carry/section"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// A large site: 20,000 joints in cells of 100, each tightened in a first and a final
// pass, sixty tools with their calibrations and a quarter's custody, forty lots.
const (
	largeCells   = 200
	largeInCell  = 100
	largeTools   = 60
	largeLots    = 40
	largeMost    = 5_000_000 // bytes on the device
	largeCustody = 90
)

// madeID is a UUIDv7 of a moment, its other bits from r: they can't be compressed.
func madeID(r *rand.Rand, at time.Time) uuid.UUID {
	var id uuid.UUID
	ms := uint64(at.UnixMilli())
	for i := range 6 {
		id[i] = byte(ms >> (40 - 8*i))
	}
	for i := 6; i < 16; i++ {
		id[i] = byte(r.UintN(256))
	}
	id[6], id[8] = 0x70|id[6]&0xf, 0x80|id[8]&0x3f
	return id
}

func largeCell(r *rand.Rand, n int) known.CellPast {
	name := fmt.Sprintf("RVB/CT%d/C%d", n/10+1, n%10+1)
	c := known.CellPast{Cell: ledger.Cell{Place: place(name), Revision: ledger.Revision{Version: 1, CreateTime: moment, UpdateTime: moment}}}
	at := moment.Add(time.Duration(n) * 8 * time.Hour)
	for i := range largeInCell {
		j := known.JointWork{JointPast: known.JointPast{Joint: ledger.Joint{
			Place: place(fmt.Sprintf("%s/J%03d", name, i+1)), Kind: ledger.JointKind(i%3 + 1), Critical: i%4 == 0,
			PartA: fmt.Sprintf("column %c%d", 'A'+i%6, i/12), PartB: fmt.Sprintf("beam level %d", i%5), Specification: fmt.Sprintf("S%d", i%6), Fasteners: 8 + 4*(i%5),
		}}}
		j.Work = ledger.JointWork{Fasteners: j.Joint.Fasteners, TightenedFirst: int64(j.Joint.Fasteners), Inspections: map[ledger.InspectionKind]ledger.InspectionResult{}}
		for pass := range 2 {
			at = at.Add(time.Duration(60+r.IntN(600)) * time.Second).Add(time.Duration(r.IntN(1_000_000)) * time.Microsecond)
			j.Tightenings = append(j.Tightenings, known.Tightened{ID: madeID(r, at), At: at, Treatment: ledger.TreatmentAntiSeize, Fasteners: j.Joint.Fasteners * (1 - pass)})
		}
		c.Joints = append(c.Joints, j)
	}
	return c
}

func largeTool(r *rand.Rand, n int) known.ToolPast {
	t := known.ToolPast{Home: time.UTC, Tool: ledger.Tool{
		Serial: fmt.Sprintf("TW-%04d", n), Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20, MaximumNewtonMetres: 100, HomeSite: "RVB",
		IntervalMonths: 12, IntervalCycles: 5000, DueAfterEvent: true,
	}}
	for year := range 4 {
		at := moment.AddDate(-year, 0, -n)
		c := ledger.Calibration{Entry: ledger.Entry{ID: madeID(r, at), OccurTime: at}, Tool: t.Tool.Serial, Site: "RVB", Laboratory: "Torque Laboratory 3", Certificate: fmt.Sprintf("C-%d-%d", year, n)}
		for _, target := range []float64{20, 60, 100} {
			p := ledger.CalibrationPoint{Phase: ledger.AsFound, TargetNewtonMetres: target, ExpandedUncertaintyNewtonMetres: target / 100, CoverageFactor: 2}
			for range 5 {
				p.ReadingsNewtonMetres = append(p.ReadingsNewtonMetres, float64(int(target*(97+6*r.Float64())))/100)
			}
			c.Points = append(c.Points, p)
		}
		t.Calibrations = append([]ledger.Calibration{c}, t.Calibrations...)
	}
	for d := range largeCustody {
		at := moment.AddDate(0, 0, d-largeCustody)
		t.Custody = append(t.Custody,
			ledger.Custody{Entry: ledger.Entry{ID: madeID(r, at), OccurTime: at}, Tool: t.Tool.Serial, Site: "RVB", Kind: ledger.CustodyIssued, Holder: "ab"},
			ledger.Custody{Entry: ledger.Entry{ID: madeID(r, at), OccurTime: at.Add(9 * time.Hour)}, Tool: t.Tool.Serial, Site: "RVB", Kind: ledger.CustodyReturned})
	}
	for n := range 300 {
		t.Uses = append(t.Uses, analysis.Use{At: moment.Add(time.Duration(n-300)*time.Hour + time.Duration(r.IntN(1e9))), Fasteners: int64(1 + r.IntN(24))})
	}
	return t
}

// large keeps the carried data of the large site, or of one part of so many, in a
// folder and gives their size.
func large(tb testing.TB, folder string, parts int) int64 {
	tb.Helper()
	r := rand.New(rand.NewPCG(20, 26))
	d := &data{asOf: moment}
	d.add(tb)(section.OfPlan(ledger.Site{Code: "RVB", TimeZone: "America/Denver", Status: ledger.SiteActive, Units: ledger.UnitsSI}, nil))
	d.add(tb)(section.OfBatches([]ledger.Batch{{Number: "AS-19", Kind: ledger.ConsumableAntiSeize}}))
	people := make([]ledger.Person, 200/parts)
	for i := range people {
		people[i] = ledger.Person{ID: fmt.Sprintf("p%03d", i), Name: fmt.Sprintf("Person %d", i), Qualifications: []ledger.Qualification{{Task: "bolting", ExpireDate: "2027-06-30"}}}
	}
	d.add(tb)(section.OfPeople(append(people, ledger.Person{ID: "zz", Qualifications: []ledger.Qualification{{Task: "bolting"}}})))
	stud := ledger.Fastener{Thread: "M10x1.5", LengthMillimetres: 40, Material: ledger.Stainless316, PropertyClass: "A4-70"}
	for i := range 6 {
		d.add(tb)(section.OfSpecification(known.SpecificationPast{Revisions: []ledger.Specification{{Code: fmt.Sprintf("S%d", i), Fastener: stud, Treatment: ledger.TreatmentAntiSeize,
			TorqueNewtonMetres: 32, TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisLubricated}}, Code: fmt.Sprintf("S%d", i)}))
	}
	for i := range largeCells / parts {
		d.add(tb)(section.OfCell(largeCell(r, i)))
	}
	for i := range largeLots / parts {
		d.add(tb)(section.OfLot(known.LotPast{Lot: ledger.Lot{Number: fmt.Sprintf("L-%03d", i), Supplier: "Alder", Fastener: stud, State: ledger.LotReleased}, MovedAnywhere: true, Received: true, OnHand: 4000}))
	}
	for i := range largeTools / parts {
		d.add(tb)(section.OfTool(largeTool(r, i)))
	}
	if err := d.keep(folder); err != nil {
		tb.Fatal(err)
	}
	info, err := os.Stat(pack.Path(folder, "RVB"))
	if err != nil {
		tb.Fatal(err)
	}
	return info.Size()
}

// entryAtLarge is one tightening at the large site, in order in every way.
func entryAtLarge() *ledger.Tightening {
	torque := 32.0
	return &ledger.Tightening{
		Entry: ledger.Entry{ID: uuid.UUID{6: 0x70, 8: 0x80, 15: 1}, OccurTime: moment.Add(time.Hour), Person: "zz"}, Joint: place("RVB/CT2/C4/J050"), Lot: "L-003",
		Treatment: ledger.TreatmentAntiSeize, CompoundBatch: "AS-19", Tool: "TW-0004", TorqueNewtonMetres: &torque, Fasteners: 1, Pass: ledger.PassRetightening, Method: ledger.DrivenByHand,
	}
}

// A tenth of the site is measured, since cells and tools weigh alike; the benchmark
// below reports the whole.
func TestLargeSiteIsSmallEnough(t *testing.T) {
	const parts = 10
	folder := t.TempDir()
	size := large(t, folder, parts)
	t.Logf("carried data of %d joints: %d bytes", largeCells*largeInCell/parts, size)
	if size > largeMost/parts {
		t.Errorf("the carried data of a tenth of 20,000 joints have %d bytes; expected at most %d", size, largeMost/parts)
	}
	p := open(t, folder)
	found, err := known.Findings(p, entryAtLarge(), nil, time.Time{})
	if err != nil || p.Err() != nil {
		t.Fatalf("%v, %v", err, p.Err())
	}
	for _, f := range found {
		if f.Rule != "tool-elsewhere" { // the evening before, it was handed back
			t.Errorf("%s: %s", f.Rule, f.Message)
		}
	}
}

// BenchmarkOpenAndJudge opens the carried data of the large site and judges one
// entry, as each run of the client does.
func BenchmarkOpenAndJudge(b *testing.B) {
	folder := b.TempDir()
	size := large(b, folder, 1)
	r := entryAtLarge()
	for b.Loop() {
		p, err := pack.Open(folder, "RVB")
		if err != nil {
			b.Fatal(err)
		}
		if _, err := known.Findings(p, r, nil, time.Time{}); err != nil || p.Err() != nil {
			b.Fatal(err, p.Err())
		}
		p.Close() // it was only read
	}
	b.ReportMetric(float64(size), "bytes-on-disk")
}

// BenchmarkFindJoint looks a joint up by its tag alone on the whole site, which reads
// all cells.
func BenchmarkFindJoint(b *testing.B) {
	folder := b.TempDir()
	large(b, folder, 1)
	for b.Loop() {
		p, err := pack.Open(folder, "RVB")
		if err != nil {
			b.Fatal(err)
		}
		if found := p.Find(place("RVB"), "J050", 4); len(found) != largeCells {
			b.Fatalf("%d joints found", len(found))
		}
		p.Close() // it was only read
	}
}
