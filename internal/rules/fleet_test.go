package rules_test

import (
	"encoding/csv"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// fleetFolder is a folder of CSV files in the project's import format.
var fleetFolder = flag.String("fleet", "../../testdata/demo", "folder of CSV files to recount")

// row is a line of a file by its column names.
type row map[string]string

// files are the lines of a folder's files, by the file's name without .csv.
type files map[string][]row

func readFiles(t testing.TB, folder string) files {
	t.Helper()
	all := files{}
	for _, name := range []string{"sites", "specs", "joints", "lots", "tools", "people", "batches", "custody", "calibrations",
		"lot_movements", "tightenings", "incidents", "sealings", "inspections"} {
		text, err := os.ReadFile(filepath.Join(folder, name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		lines, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(text), "\ufeff"))).ReadAll()
		if err != nil || len(lines) < 2 {
			t.Fatalf("%s: %d lines, %v", name, len(lines), err)
		}
		for _, cells := range lines[1:] {
			r := row{}
			for i, column := range lines[0] {
				r[column] = cells[i]
			}
			all[name] = append(all[name], r)
		}
	}
	return all
}

func (r row) number(column string) float64 {
	v, _ := strconv.ParseFloat(r[column], 64)
	return v
}

func (r row) given(column string) *float64 {
	if r[column] == "" {
		return nil
	}
	return number(r.number(column))
}

// time reads an RFC 3339 column; the files hold no other.
func (r row) time(column string) time.Time {
	v, err := time.Parse(time.RFC3339, r[column])
	if err != nil {
		panic(err)
	}
	return v.UTC()
}

func (r row) joint() ledger.Place {
	return ledger.Place{Site: r["site"], Tower: r["tower"], Cell: r["cell"], Joint: r["joint"]}
}

// said reads a word; an empty cell is none.
func said[T ~uint8](w ledger.Words[T], text string) T {
	v, _ := w.Parse(text)
	return v
}

// fleet is the folder as the domain has it: what somebody who fills in facts
// would look things up in.
type fleet struct {
	joints       map[ledger.Place]*ledger.Joint
	specs        map[string]*ledger.Specification
	lots         map[string]*ledger.Lot
	tools        map[string]*ledger.Tool
	people       map[string]*ledger.Person
	batches      map[string]*ledger.Batch
	zones        map[string]*time.Location
	calibrations map[string][]*ledger.Calibration // by tool, in order of time
	custody      map[string][]*ledger.Custody     // the same
	records      []ledger.Record                  // in order of time
}

func load(t testing.TB, all files) *fleet {
	t.Helper()
	f := &fleet{
		joints: map[ledger.Place]*ledger.Joint{}, specs: map[string]*ledger.Specification{}, lots: map[string]*ledger.Lot{},
		tools: map[string]*ledger.Tool{}, people: map[string]*ledger.Person{}, batches: map[string]*ledger.Batch{},
		zones: map[string]*time.Location{}, calibrations: map[string][]*ledger.Calibration{}, custody: map[string][]*ledger.Custody{},
	}
	f.loadThings(t, all)
	for _, r := range all["custody"] {
		f.custody[r["serial"]] = append(f.custody[r["serial"]], &ledger.Custody{
			Entry: ledger.Entry{OccurTime: r.time("at")}, Tool: r["serial"], Kind: said(ledger.CustodyKinds, r["kind"]), Site: r["site"], Holder: r["person"]})
	}
	points := map[string]*ledger.Calibration{}
	for _, r := range all["calibrations"] {
		c := points[r["id"]]
		if c == nil {
			c = &ledger.Calibration{Entry: ledger.Entry{OccurTime: r.time("at")}, Tool: r["serial"]}
			points[r["id"]], f.calibrations[c.Tool] = c, append(f.calibrations[c.Tool], c)
		}
		p := ledger.CalibrationPoint{Phase: said(ledger.CalibrationPhases, r["phase"]), TargetNewtonMetres: r.number("target_n_m")}
		for _, reading := range strings.Split(r["readings_n_m"], ";") {
			p.ReadingsNewtonMetres = append(p.ReadingsNewtonMetres, row{"": reading}.number(""))
		}
		c.Points = append(c.Points, p)
	}
	for _, list := range f.calibrations {
		slices.SortStableFunc(list, func(a, b *ledger.Calibration) int { return a.OccurTime.Compare(b.OccurTime) })
	}
	for _, list := range f.custody {
		slices.SortStableFunc(list, func(a, b *ledger.Custody) int { return a.OccurTime.Compare(b.OccurTime) })
	}
	f.loadRecords(all)
	return f
}

func fastener(r row) ledger.Fastener {
	return ledger.Fastener{Thread: r["thread"], LengthMillimetres: r.number("length_mm"), Material: said(ledger.Materials, r["material"]),
		PropertyClass: r["property_class"], Coating: r["coating"], Head: r["head"]}
}

func (f *fleet) loadThings(t testing.TB, all files) {
	for _, r := range all["sites"] {
		f.zones[r["code"]] = zone(t, r["time_zone"])
	}
	for _, r := range all["specs"] {
		f.specs[r["spec"]] = &ledger.Specification{
			Code: r["spec"], Fastener: fastener(r), Treatment: said(ledger.Treatments, r["treatment"]), Locking: said(ledger.LockingMethods, r["locking"]),
			TorqueNewtonMetres: r.number("torque_n_m"), TorqueTolerancePercent: r.number("torque_tolerance_pct"),
			TorqueBasis: said(ledger.TorqueBases, r["torque_basis"]), NutFactor: r.number("nut_factor"),
			Sealant: r["sealant"], SealWidthMillimetres: r.number("seal_width_mm"), MinimumSurfaceCelsius: r.given("min_surface_c"),
		}
	}
	for _, r := range all["joints"] {
		f.joints[r.joint()] = &ledger.Joint{Place: r.joint(), Critical: r["critical"] == "true", Specification: r["spec"], Fasteners: int(r.number("fasteners"))}
	}
	for _, r := range all["lots"] {
		f.lots[r["lot"]] = &ledger.Lot{Number: r["lot"], Fastener: fastener(r), State: ledger.LotReleased}
	}
	for _, r := range all["tools"] {
		f.tools[r["serial"]] = &ledger.Tool{
			Serial: r["serial"], Kind: said(ledger.ToolKinds, r["kind"]), TypeClass: r["type_class"], HomeSite: r["home_site"],
			MinimumNewtonMetres: r.number("min_n_m"), MaximumNewtonMetres: r.number("max_n_m"), ResolutionNewtonMetres: r.number("resolution_n_m"),
			IntervalMonths: int(r.number("interval_months")), IntervalCycles: int(r.number("interval_cycles")),
		}
	}
	for _, r := range all["people"] {
		p := f.people[r["person"]]
		if p == nil {
			p = &ledger.Person{ID: r["person"]}
			f.people[p.ID] = p
		}
		if r["qualification"] != "" {
			p.Qualifications = append(p.Qualifications, ledger.Qualification{Task: r["qualification"], ExpireDate: r["expires"]})
		}
	}
	for _, r := range all["batches"] {
		f.batches[r["batch"]] = &ledger.Batch{Number: r["batch"], Kind: said(ledger.ConsumableKinds, r["kind"]), ExpireDate: r["expires"]}
	}
}

func (f *fleet) loadRecords(all files) {
	for _, r := range all["tightenings"] {
		f.records = append(f.records, &ledger.Tightening{
			Entry: ledger.Entry{OccurTime: r.time("at"), Person: r["person"]}, Joint: r.joint(), Lot: r["lot"],
			Treatment: said(ledger.Treatments, r["treatment"]), CompoundBatch: r["batch"], Tool: r["tool"], TorqueNewtonMetres: r.given("torque_n_m"),
			Fasteners: int(r.number("fasteners")), Pass: said(ledger.Passes, r["pass"]), Method: said(ledger.DrivingMethods, r["method"]),
		})
	}
	for _, r := range all["sealings"] {
		s := &ledger.Sealing{
			Entry: ledger.Entry{OccurTime: r.time("at"), Person: r["person"]}, Joint: r.joint(), Sealant: r["sealant"], Batch: r["batch"],
			WidthMillimetres: r.number("width_mm"), AirCelsius: r.given("air_c"), SurfaceCelsius: r.given("surface_c"),
			HumidityPercent: r.given("humidity_pct"), Splice: said(ledger.Splices, r["splices"]),
		}
		if r["cleaned_at"] != "" {
			s.CleanTime = r.time("cleaned_at")
		}
		f.records = append(f.records, s)
	}
	for _, r := range all["inspections"] {
		f.records = append(f.records, &ledger.Inspection{
			Entry: ledger.Entry{OccurTime: r.time("at"), Person: r["person"]}, Joint: r.joint(), Kind: said(ledger.InspectionKinds, r["kind"])})
	}
	slices.SortStableFunc(f.records, func(a, b ledger.Record) int { return a.Head().OccurTime.Compare(b.Head().OccurTime) })
}

// findings runs the rules over every record and counts what they find by code.
func (f *fleet) findings() map[string]int {
	counts := map[string]int{}
	treatments := map[ledger.Place][]ledger.Treatment{}
	uses := map[string][]*ledger.Tightening{}
	for _, record := range f.records {
		facts := rules.Facts{Record: record, Person: f.people[record.Head().Person], Location: f.zones[record.SiteCode()]}
		switch r := record.(type) {
		case *ledger.Tightening:
			f.fillTightening(&facts, r, uses[r.Tool])
			facts.EarlierTreatments = treatments[r.Joint]
			treatments[r.Joint] = append(treatments[r.Joint], r.Treatment)
			uses[r.Tool] = append(uses[r.Tool], r)
		case *ledger.Sealing:
			facts.Joint, facts.Batch = f.joints[r.Joint], f.batches[r.Batch]
			facts.Specification = f.specs[facts.Joint.Specification]
		case *ledger.Inspection:
			facts.Joint = f.joints[r.Joint]
		}
		for _, finding := range rules.Check(facts) {
			counts[finding.Rule]++
		}
	}
	return counts
}

func (f *fleet) fillTightening(facts *rules.Facts, r *ledger.Tightening, uses []*ledger.Tightening) {
	facts.Joint, facts.Lot, facts.Batch = f.joints[r.Joint], f.lots[r.Lot], f.batches[r.CompoundBatch]
	facts.Specification = f.specs[facts.Joint.Specification]
	facts.Tool = f.tools[r.Tool]
	if facts.Tool != nil {
		facts.HomeLocation = f.zones[facts.Tool.HomeSite]
	}
	for _, c := range f.calibrations[r.Tool] {
		if !c.OccurTime.After(r.OccurTime) {
			facts.Calibration = c
		}
	}
	for _, c := range f.custody[r.Tool] {
		if !c.OccurTime.After(r.OccurTime) {
			facts.Custody = c
		}
	}
	for _, u := range uses {
		if facts.Calibration != nil && u.OccurTime.After(facts.Calibration.OccurTime) && u.OccurTime.Before(r.OccurTime) {
			facts.CyclesSince += int64(u.Fasteners)
		}
	}
}
