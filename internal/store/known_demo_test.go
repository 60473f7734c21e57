package store_test

import (
	"cmp"
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// demoFolder holds the demo's files in the project's import format.
const demoFolder = "../../testdata/demo"

// demoLine is a line of a file by its column names.
type demoLine map[string]string

// demoFiles reads the demo, its times moved so that the last is an hour ago: what a
// device carries reaches back from now.
type demoFiles struct {
	testing.TB
	later time.Duration
}

func (d *demoFiles) lines(file string) (lines []demoLine) {
	d.Helper()
	text, err := os.ReadFile(filepath.Join(demoFolder, file+".csv"))
	if err != nil {
		d.Fatal(err)
	}
	cells, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(text), "\ufeff"))).ReadAll()
	if err != nil || len(cells) < 2 {
		d.Fatalf("%s: %d lines, %v", file, len(cells), err)
	}
	for _, row := range cells[1:] {
		line := demoLine{}
		for i, column := range cells[0] {
			line[column] = row[i]
		}
		lines = append(lines, line)
	}
	return lines
}

func (l demoLine) number(column string) float64 {
	v, _ := strconv.ParseFloat(l[column], 64)
	return v
}

func (l demoLine) given(column string) *float64 {
	if l[column] == "" {
		return nil
	}
	return new(l.number(column))
}

func (l demoLine) whole(column string) int { return int(l.number(column)) }

func (l demoLine) joint() ledger.Place {
	return ledger.Place{Site: l["site"], Tower: l["tower"], Cell: l["cell"], Joint: l["joint"]}
}

func (l demoLine) fastener() ledger.Fastener {
	return ledger.Fastener{Thread: l["thread"], LengthMillimetres: l.number("length_mm"), Material: said(ledger.Materials, l["material"]),
		PropertyClass: l["property_class"], Coating: l["coating"], Head: l["head"]}
}

// said reads a word; an empty cell is none.
func said[T ~uint8](words ledger.Words[T], text string) T {
	v, _ := words.Parse(text)
	return v
}

func (d *demoFiles) time(text string) time.Time {
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		d.Fatal(err)
	}
	return ledger.Microseconds(at.Add(d.later))
}

func (d *demoFiles) entry(l demoLine) ledger.Entry {
	return ledger.Entry{ID: uuid.MustParse(l["id"]), OccurTime: d.time(l["at"]), Person: l["person"], Offline: true}
}

func onceEach[K comparable, T any](lines []demoLine, key func(demoLine) K, of func(demoLine) T) (items []T) {
	seen := map[K]bool{}
	for _, l := range lines {
		if k := key(l); !seen[k] {
			seen[k] = true
			items = append(items, of(l))
		}
	}
	return items
}

func (d *demoFiles) fleet() storetest.Fleet {
	var f storetest.Fleet
	for _, l := range d.lines("sites") {
		f.Sites = append(f.Sites, ledger.Site{Code: l["code"], Name: l["name"], Region: l["region"], TimeZone: l["time_zone"], Status: ledger.SiteActive, Units: ledger.UnitsSI})
	}
	for _, l := range d.lines("specs") {
		f.Specifications = append(f.Specifications, ledger.Specification{
			Code: l["spec"], Fastener: l.fastener(), Treatment: said(ledger.Treatments, l["treatment"]), Locking: said(ledger.LockingMethods, l["locking"]),
			TorqueNewtonMetres: l.number("torque_n_m"), TorqueTolerancePercent: l.number("torque_tolerance_pct"), TorqueBasis: said(ledger.TorqueBases, l["torque_basis"]),
			NutFactor: l.number("nut_factor"), Sealant: l["sealant"], SealWidthMillimetres: l.number("seal_width_mm"), MinimumSurfaceCelsius: l.given("min_surface_c")})
	}
	for _, l := range d.lines("lots") {
		f.Lots = append(f.Lots, ledger.Lot{Number: l["lot"], Supplier: l["supplier"], Heat: l["heat"], Fastener: l.fastener(), State: ledger.LotReleased})
	}
	for _, l := range d.lines("tools") {
		f.Tools = append(f.Tools, ledger.Tool{Serial: l["serial"], Kind: said(ledger.ToolKinds, l["kind"]), TypeClass: l["type_class"],
			MinimumNewtonMetres: l.number("min_n_m"), MaximumNewtonMetres: l.number("max_n_m"), ResolutionNewtonMetres: l.number("resolution_n_m"),
			HomeSite: l["home_site"], IntervalMonths: l.whole("interval_months"), IntervalCycles: l.whole("interval_cycles"), DueAfterEvent: true})
	}
	people := d.lines("people")
	f.People = onceEach(people, func(l demoLine) string { return l["person"] }, func(l demoLine) ledger.Person {
		return ledger.Person{ID: l["person"], Name: l["name"], HomeSite: l["site"], Roles: []ledger.Role{ledger.RoleTechnician}}
	})
	for i := range f.People {
		for _, l := range people {
			if l["person"] == f.People[i].ID && l["qualification"] != "" {
				f.People[i].Qualifications = append(f.People[i].Qualifications, ledger.Qualification{Task: l["qualification"], ExpireDate: l["expires"]})
			}
		}
	}
	for _, l := range d.lines("towers") {
		f.Towers = append(f.Towers, ledger.Tower{Place: ledger.Place{Site: l["site"], Tower: l["tower"]}, Material: said(ledger.Materials, l["material"])})
	}
	joints := d.lines("joints")
	cell := func(l demoLine) ledger.Place { return l.joint().Parent() }
	f.Cells = onceEach(joints, cell, func(l demoLine) ledger.Cell { return ledger.Cell{Place: cell(l)} })
	for _, l := range joints {
		f.Joints = append(f.Joints, ledger.Joint{Place: l.joint(), Kind: said(ledger.JointKinds, l["kind"]), Critical: l["critical"] == "true",
			Specification: l["spec"], Fasteners: l.whole("fasteners")})
	}
	return f
}

// register are the records of tools and lots.
func (d *demoFiles) register() (records []ledger.Record) {
	calibrations := map[string]*ledger.Calibration{}
	for _, l := range d.lines("calibrations") {
		c := calibrations[l["id"]]
		if c == nil {
			c = &ledger.Calibration{Entry: d.entry(l), Tool: l["serial"], Laboratory: l["laboratory"], Certificate: l["certificate"]}
			calibrations[l["id"]] = c
			records = append(records, c)
		}
		p := ledger.CalibrationPoint{Phase: said(ledger.CalibrationPhases, l["phase"]), TargetNewtonMetres: l.number("target_n_m"),
			ExpandedUncertaintyNewtonMetres: l.number("expanded_uncertainty_n_m"), CoverageFactor: l.number("coverage_factor")}
		for _, reading := range strings.Split(l["readings_n_m"], ";") {
			p.ReadingsNewtonMetres = append(p.ReadingsNewtonMetres, demoLine{"": reading}.number(""))
		}
		c.Points = append(c.Points, p)
	}
	for _, l := range d.lines("lot_movements") {
		records = append(records, &ledger.LotMovement{Entry: d.entry(l), Lot: l["lot"], Site: l["site"], Kind: said(ledger.MovementKinds, l["kind"]), Quantity: int64(l.whole("quantity"))})
	}
	return records
}

// work are the records of one site and the custody of all tools, in order of time.
func (d *demoFiles) work(site string) (records []ledger.Record) {
	for _, l := range d.lines("custody") {
		c := &ledger.Custody{Entry: d.entry(l), Tool: l["serial"], Kind: said(ledger.CustodyKinds, l["kind"]), Site: l["site"], Holder: l["person"]}
		if c.Kind != ledger.CustodyIssued {
			c.Holder = ""
		}
		records = append(records, c)
	}
	for _, l := range d.lines("tightenings") {
		if l["site"] == site {
			records = append(records, &ledger.Tightening{Entry: d.entry(l), Joint: l.joint(), Lot: l["lot"], Treatment: said(ledger.Treatments, l["treatment"]),
				CompoundBatch: l["batch"], Tool: l["tool"], TorqueNewtonMetres: l.given("torque_n_m"), Fasteners: l.whole("fasteners"),
				Pass: said(ledger.Passes, l["pass"]), Method: said(ledger.DrivingMethods, l["method"])})
		}
	}
	for _, l := range d.lines("incidents") {
		if l["site"] == site {
			records = append(records, &ledger.Incident{Entry: d.entry(l), Site: site, Joint: l.joint(), Kind: said(ledger.IncidentKinds, l["kind"]), Fasteners: l.whole("fasteners"),
				Lot: l["lot"], Treatment: said(ledger.Treatments, l["treatment"]), Tool: l["tool"], Method: said(ledger.DrivingMethods, l["method"])})
		}
	}
	for _, l := range d.lines("sealings") {
		if l["site"] == site {
			s := &ledger.Sealing{Entry: d.entry(l), Joint: l.joint(), Sealant: l["sealant"], Batch: l["batch"], WidthMillimetres: l.number("width_mm"),
				AirCelsius: l.given("air_c"), SurfaceCelsius: l.given("surface_c"), HumidityPercent: l.given("humidity_pct"), Splice: said(ledger.Splices, l["splices"])}
			if l["cleaned_at"] != "" {
				s.CleanTime = d.time(l["cleaned_at"])
			}
			records = append(records, s)
		}
	}
	slices.SortStableFunc(records, func(a, b ledger.Record) int {
		return cmp.Or(a.Head().OccurTime.Compare(b.Head().OccurTime), strings.Compare(a.Head().ID.String(), b.Head().ID.String()))
	})
	return records
}

// The work of one site of the demo: what a device that carried the site after each
// third of it finds is what the server found, record by record.
func TestADeviceFindsInTheDemoWhatTheServerFinds(t *testing.T) {
	const site = "HRQ"
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := &demoFiles{TB: t}
		last := d.work(site)
		d.later = time.Since(last[len(last)-1].Head().OccurTime) - time.Hour
		s := storetest.Open(t, e.NewConfig(t))
		d.fleet().Register(t, s)
		var batches []ledger.Batch
		for _, l := range d.lines("batches") {
			batches = append(batches, ledger.Batch{Number: l["batch"], Kind: said(ledger.ConsumableKinds, l["kind"]), ExpireDate: l["expires"]})
		}
		outcomes, err := s.RegisterBatches(ctx, batches, store.Change{})
		wantStates(t, outcomes, err, slices.Repeat([]store.OutcomeState{store.Taken}, len(batches))...)
		storetest.Record(t, s, d.register()...)

		work := d.work(site)
		third := len(work)/3 + 1
		judged, broken := 0, map[string]int{}
		for part := range slices.Chunk(work, third) {
			source := carrySite(t, s, site, nil)
			kept := keep(t, s, part...)
			for i, r := range part {
				if r.SiteCode() != site || len(known.Missing(source, r)) > 0 {
					continue
				}
				found, err := known.Findings(source, r, part[:i], r.Head().ReceiveTime)
				if err != nil {
					t.Fatal(err)
				}
				if d := gocmp.Diff(kept[i], found); d != "" {
					t.Fatalf("%T %+v (-server +device):\n%s", r, r, d)
				}
				judged++
				for _, f := range found {
					broken[f.Rule]++
				}
			}
		}
		t.Logf("%d records judged: %v", judged, broken)
		if judged < 300 || len(broken) < 5 {
			t.Errorf("%d records judged and %v found: too little to show anything", judged, broken)
		}
	})
}
