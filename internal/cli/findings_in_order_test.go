package cli

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	packed "jointledger/internal/carry/section"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/wire"
)

// jointsInCell is how many joints each cell of carryingCells has.
const jointsInCell = 100

// carryingCells makes a device that carries ASH with so many cells, a lot, a wrench that
// is due by cycles, and whoever reports.
func carryingCells(tb testing.TB, cells int) (folder string) {
	tb.Helper()
	folder = tb.TempDir()
	head := pack.Head{Site: "ASH", AsOf: runClock.Add(-time.Hour), RulesSum: packed.RulesSum()}
	frames := map[packed.Sum][]byte{}
	add := func(s packed.Section, err error) {
		tb.Helper()
		if err != nil {
			tb.Fatal(err)
		}
		head.Sections = append(head.Sections, pack.Named{Name: s.Name, Sum: s.Sum()})
		frames[s.Sum()] = s.Packed()
	}
	made := ledger.Revision{Version: 1, CreateTime: runClock.AddDate(-1, 0, 0), UpdateTime: runClock.AddDate(-1, 0, 0)}
	bolt := ledger.Fastener{Thread: "M10x1.5", LengthMillimetres: 40, Material: ledger.Stainless316, PropertyClass: "A4-70"}
	add(packed.OfPlan(ledger.Site{Code: "ASH", TimeZone: "Europe/Dublin", Status: ledger.SiteActive, Units: ledger.UnitsSI}, []ledger.Tower{{Place: ledger.Place{Site: "ASH", Tower: "CT1"}, Material: ledger.Stainless316, Revision: made}}))
	for c := range cells {
		cell := known.CellPast{Cell: ledger.Cell{Place: ledger.Place{Site: "ASH", Tower: "CT1", Cell: fmt.Sprintf("C%d", c+1)}, Revision: made}}
		for j := range jointsInCell {
			place := cell.Cell.Place
			place.Joint = fmt.Sprintf("J%03d", j+1)
			cell.Joints = append(cell.Joints, known.JointWork{
				JointPast: known.JointPast{Joint: ledger.Joint{Place: place, Kind: ledger.JointStructural, Specification: "S1", Fasteners: 12, Revision: made}},
				Work:      ledger.JointWork{Fasteners: 12, Inspections: map[ledger.InspectionKind]ledger.InspectionResult{}},
			})
		}
		add(packed.OfCell(cell))
	}
	add(packed.OfSpecification(known.SpecificationPast{Code: "S1", Revisions: []ledger.Specification{{Code: "S1", Fastener: bolt, Treatment: ledger.TreatmentAntiSeize,
		TorqueNewtonMetres: 32, TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisLubricated, Revision: made}}}))
	add(packed.OfLot(known.LotPast{Lot: ledger.Lot{Number: "L1", Fastener: bolt, State: ledger.LotReleased, Revision: made}, MovedAnywhere: true, Received: true, OnHand: 300}))
	add(packed.OfTool(known.ToolPast{Home: time.UTC, Tool: ledger.Tool{Serial: "W1", Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20,
		MaximumNewtonMetres: 100, HomeSite: "ASH", IntervalMonths: 12, IntervalCycles: 100, Revision: made}}))
	add(packed.OfPeople([]ledger.Person{{ID: "ab", Name: "A B", Revision: made}}))
	add(packed.OfBatches(nil))
	if _, err := pack.Replace(filepath.Join(folder, "carried"), head, frames); err != nil {
		tb.Fatal(err)
	}
	return folder
}

// sheetOf writes a sheet of so many tightenings.
func sheetOf(tb testing.TB, lines int) (file string) {
	tb.Helper()
	var text strings.Builder
	text.WriteString("record,place,at,fasteners,lot,treatment,tool,torque_n_m\n")
	for i := range lines {
		fmt.Fprintf(&text, "tightening,ASH/CT1/C%d/J%03d,2026-03-01 %02d:%02d,%d,L1,%s,W1,32\n", i/jointsInCell%60+1, i%jointsInCell+1, i/60%24, i%60, 1+i%12, []string{"anti-seize", "none"}[i%5/4])
	}
	file = filepath.Join(tb.TempDir(), "sheet.csv")
	if err := os.WriteFile(file, []byte(text.String()), 0o600); err != nil {
		tb.Fatal(err)
	}
	return file
}

// A sheet is judged in one go as line by line, whatever else was entered before it and
// between its lines.
func TestASheetIsJudgedAsItsLines(t *testing.T) {
	folder := carryingCells(t, 2)
	env := map[string]string{envFolder: folder, envPerson: "ab"}
	enter := func(words ...string) {
		t.Helper()
		var out, errOut strings.Builder
		a := &app{in: strings.NewReader(""), err: &errOut, getenv: func(n string) string { return env[n] }, now: func() time.Time { return runClock }, newID: uuid.NewV7}
		if code := a.run(t.Context(), append([]string{"--server", "127.0.0.1:9", "--offline-only"}, words...), &out); code != exitDone {
			t.Fatalf("%s: exit %d\n%s%s", words, code, out.String(), errOut.String())
		}
	}
	enter("tighten", "ash/ct1/c1/j001", "3", "--lot", "L1", "--treatment", "thread-locking-compound", "--tool", "W1")
	enter("undo")
	enter("enter", sheetOf(t, 60))
	enter("hold", "place", "--lot", "L1", "--site", "ash", "--reason", "galls", "--at", "2026-03-01T00:30:00Z")
	enter("enter", sheetOf(t, 120))

	box := outbox.In(outboxIn(folder))
	entries, err := box.Entries()
	if err != nil {
		t.Fatal(err)
	}
	a := &app{getenv: func(n string) string { return env[n] }, now: func() time.Time { return runClock }}
	p, ok, err := a.carriedFor("ASH")
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	defer p.Close() // it was only read
	past := entriesAsOf(entries, p.AsOf())
	inOrder, oneByOne := past.inOrder(p), past.oneByOne(p)
	broken := map[string]int{}
	for i, e := range entries {
		m, err := readPending(e)
		if err != nil {
			t.Fatal(err)
		}
		domain, _ := wire.RecordFrom(m.record)
		want, err := oneByOne(m.record, domain, e.KeptAt)
		if err != nil {
			t.Fatal(err)
		}
		got, err := inOrder(m.record, domain, e.KeptAt)
		if d := cmp.Diff(want, got); d != "" || err != nil {
			t.Fatalf("entry %d, %s: %v (-one by one +in order)\n%s", i, e.Summary, err, d)
		}
		for _, f := range want {
			broken[f.Rule]++
		}
	}
	if len(entries) < 120 || len(broken) < 4 || broken[rules.CodeLotHeld] == 0 || broken[rules.CodeLotHeld] > 120 {
		t.Errorf("%d entries break %v: too little to show anything", len(entries), broken)
	}
}

// An evening's sheet of 6,000 lines on a device without a signal.
func BenchmarkEnterASheet(b *testing.B) {
	file := sheetOf(b, 6000)
	for b.Loop() {
		env := map[string]string{envFolder: carryingCells(b, 60), envPerson: "ab"}
		a := &app{in: strings.NewReader(""), err: io.Discard, getenv: func(n string) string { return env[n] }, now: func() time.Time { return runClock }, newID: uuid.NewV7}
		if code := a.run(b.Context(), []string{"--offline-only", "enter", file}, io.Discard); code != exitDone {
			b.Fatalf("exit %d", code)
		}
	}
}
