package pack_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
	_ "time/tzdata" // the zones, whatever machine runs the test

	"github.com/google/uuid"

	"jointledger/internal/carry/pack"
	"jointledger/internal/carry/section"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

var moment = time.Date(2026, 3, 2, 15, 4, 5, 123_456_000, time.UTC)

// data are carried data of a small site.
type data struct {
	asOf     time.Time
	sections []section.Section
}

func (d *data) add(t testing.TB) func(section.Section, error) {
	return func(s section.Section, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		d.sections = append(d.sections, s)
	}
}

func place(text string) ledger.Place {
	p, err := ledger.ParsePlace(text)
	if err != nil {
		panic(err)
	}
	return p
}

func cell(name string, joints int, note string) known.CellPast {
	c := known.CellPast{Cell: ledger.Cell{Place: place(name), Description: note, Revision: ledger.Revision{Version: 1}}}
	for i := range joints {
		c.Joints = append(c.Joints, known.JointWork{
			JointPast: known.JointPast{
				Joint:       ledger.Joint{Place: place(fmt.Sprintf("%s/J%03d", name, i+1)), Kind: ledger.JointStructural, PartA: "column", Specification: "S1", Fasteners: 12},
				Tightenings: []known.Tightened{{ID: uuid.UUID{15: byte(i)}, At: moment, Treatment: ledger.TreatmentAntiSeize, Fasteners: 12}},
			},
			Work: ledger.JointWork{Fasteners: 12, TightenedFirst: 12},
		})
	}
	return c
}

// site makes carried data; note differs from one state of them to the next.
func site(t testing.TB, note string) *data {
	t.Helper()
	d := &data{asOf: moment}
	d.add(t)(section.OfPlan(ledger.Site{Code: "RVB", TimeZone: "America/Denver", Status: ledger.SiteActive, Units: ledger.UnitsSI}, []ledger.Tower{{Place: place("RVB/CT1")}, {Place: place("RVB/CT2")}}))
	d.add(t)(section.OfPeople([]ledger.Person{{ID: "ab", Name: "A. B."}, {ID: "cd"}}))
	d.add(t)(section.OfBatches([]ledger.Batch{{Number: "AS-19", Kind: ledger.ConsumableAntiSeize}}))
	d.add(t)(section.OfCell(cell("RVB/CT1/C1", 3, note)))
	d.add(t)(section.OfCell(cell("RVB/CT2/C1", 2, "")))
	d.add(t)(section.OfCell(cell("RVB/CT2/C3", 20, "")))
	d.add(t)(section.OfSpecification(known.SpecificationPast{Code: "S1", Revisions: []ledger.Specification{{Code: "S1", TorqueNewtonMetres: 32}}, Substitutions: []ledger.Substitution{{Code: "B1", Specification: "S1"}}}))
	d.add(t)(section.OfLot(known.LotPast{Lot: ledger.Lot{Number: "L-1", State: ledger.LotReleased}, OnHand: 40, Received: true, MovedAnywhere: true}))
	d.add(t)(section.OfTool(known.ToolPast{Tool: ledger.Tool{Serial: "TW-1", HomeSite: "RVB"}, Home: time.UTC}))
	return d
}

// keep puts the data into a folder.
func (d *data) keep(folder string) error {
	h := pack.Head{Site: "RVB", AsOf: d.asOf, RulesSum: section.RulesSum()}
	frames := map[section.Sum][]byte{}
	for _, s := range d.sections {
		h.Sections = append(h.Sections, pack.Named{Name: s.Name, Sum: s.Sum()})
		frames[s.Sum()] = s.Packed()
	}
	_, err := pack.Replace(folder, h, frames)
	return err
}

func open(t testing.TB, folder string) *pack.Pack {
	t.Helper()
	p, err := pack.Open(folder, "RVB")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

func TestSource(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "carried")
	if err := site(t, "").keep(folder); err != nil {
		t.Fatal(err)
	}
	p := open(t, folder)
	if !p.AsOf().Equal(moment) || p.Location().String() != "America/Denver" || !p.SameRules() || p.Sections() != 9 {
		t.Errorf("as of %v in %v, %d sections, same rules %t", p.AsOf(), p.Location(), p.Sections(), p.SameRules())
	}
	if j, ok := p.Joint(place("RVB/CT2/C3/J014")); !ok || j.Joint.Fasteners != 12 || len(j.Tightenings) != 1 || j.Tightenings[0].ID != (uuid.UUID{15: 13}) {
		t.Errorf("J014: %t, %+v", ok, j)
	}
	for _, unknown := range []string{"RVB/CT2/C3/J099", "RVB/CT9/C1/J001", "KVR/CT2/C3/J014", "RVB/CT2/C3"} {
		if _, ok := p.Joint(place(unknown)); ok {
			t.Errorf("the joint %s is known", unknown)
		}
	}
	if l, ok := p.Lot("L-1"); !ok || l.OnHand != 40 {
		t.Errorf("lot: %t, %+v", ok, l)
	}
	if v, ok := p.Tool("TW-1"); !ok || v.Home != time.UTC {
		t.Errorf("tool: %t, %+v", ok, v)
	}
	if v, ok := p.Person("ab"); !ok || v.Name != "A. B." {
		t.Errorf("person: %t, %+v", ok, v)
	}
	if _, ok := p.Batch("AS-19"); !ok || len(p.Revisions("S1")) != 1 || len(p.Substitutions("S1")) != 1 {
		t.Error("the batch, the specification or its substitution is not known")
	}
	_, lot := p.Lot("L-2")
	_, tool := p.Tool("TW-2")
	_, person := p.Person("zz")
	_, batch := p.Batch("X")
	if lot || tool || person || batch || p.Revisions("S2") != nil || p.Err() != nil {
		t.Errorf("something is known that is not there, or %v", p.Err())
	}
}

// A record that is carried is given with what its correction takes back.
func TestRecord(t *testing.T) {
	folder := t.TempDir()
	d := &data{asOf: moment}
	d.add(t)(section.OfPlan(ledger.Site{Code: "RVB", TimeZone: "America/Denver", Status: ledger.SiteActive, Units: ledger.UnitsSI}, nil))
	c := cell("RVB/CT1/C1", 2, "")
	first, final, hold, calibration, issue := uuid.UUID{15: 101}, uuid.UUID{15: 102}, uuid.UUID{15: 103}, uuid.UUID{15: 104}, uuid.UUID{15: 105}
	c.Joints[1].Tightenings = []known.Tightened{
		{ID: first, At: moment, Treatment: ledger.TreatmentNone, Fasteners: 8, Driven: 8, Lot: "L-1", Tool: "TW-1"},
		{ID: final, At: moment.Add(time.Hour), Driven: 4, Lot: "L-1"},
	}
	c.Holds = []*ledger.Hold{{Entry: ledger.Entry{ID: hold, OccurTime: moment, Person: "ab"}, Action: ledger.HoldPlaced, Place: c.Cell.Place, Site: "RVB", Reason: "wet"}}
	d.add(t)(section.OfCell(c))
	d.add(t)(section.OfTool(known.ToolPast{Tool: ledger.Tool{Serial: "TW-1", Kind: ledger.ToolTorqueWrench, HomeSite: "RVB"}, Home: time.UTC,
		Calibrations: []ledger.Calibration{{Entry: ledger.Entry{ID: calibration, OccurTime: moment, Person: "ab"}, Tool: "TW-1", Site: "RVB", Laboratory: "Lab 3"}},
		Custody:      []ledger.Custody{{Entry: ledger.Entry{ID: issue, OccurTime: moment}, Tool: "TW-1", Site: "RVB", Kind: ledger.CustodyIssued, Holder: "ab"}}}))
	if err := d.keep(folder); err != nil {
		t.Fatal(err)
	}
	p := open(t, folder)
	for id, want := range map[uuid.UUID]ledger.RecordKind{first: ledger.KindTightening, final: ledger.KindTightening, hold: ledger.KindHold, calibration: ledger.KindCalibration, issue: ledger.KindCustody} {
		if r, ok := p.Record(id); !ok || r.RecordKind() != want || r.Head().ID != id {
			t.Errorf("record %v: %t, %+v; expected one of kind %v", id, ok, r, want)
		}
	}
	r, _ := p.Record(first)
	if v, ok := r.(*ledger.Tightening); !ok || v.Lot != "L-1" || v.Tool != "TW-1" || v.Fasteners != 8 || v.Pass != ledger.PassFirst || v.Joint != place("RVB/CT1/C1/J002") || !v.OccurTime.Equal(moment) {
		t.Errorf("first pass: %+v", r)
	}
	r, _ = p.Record(final)
	if v, ok := r.(*ledger.Tightening); !ok || known.UsedUp(v) != 0 || v.Fasteners != 4 || v.Tool != "" {
		t.Errorf("final pass: %+v; it tightened 4 and used none up", r)
	}
	if r, ok := p.Record(uuid.UUID{15: 99}); ok || p.Err() != nil {
		t.Errorf("a record that is not carried: %+v, %v", r, p.Err())
	}
}

func names(places []ledger.Place) []string {
	var all []string
	for _, p := range places {
		all = append(all, p.String())
	}
	return all
}

func TestPlaces(t *testing.T) {
	folder := t.TempDir()
	if err := site(t, "").keep(folder); err != nil {
		t.Fatal(err)
	}
	p := open(t, folder)
	for _, c := range []struct {
		in, tail string
		depths   []int
		want     []string
	}{
		{"RVB/CT2/C3", "J014", nil, []string{"RVB/CT2/C3/J014"}},
		{"RVB/CT2", "j014", nil, []string{"RVB/CT2/C3/J014"}},
		{"RVB", "J001", nil, []string{"RVB/CT1/C1/J001", "RVB/CT2/C1/J001", "RVB/CT2/C3/J001"}},
		{"RVB", "c3/j001", nil, []string{"RVB/CT2/C3/J001"}},
		{"RVB", "C1", []int{3}, []string{"RVB/CT1/C1", "RVB/CT2/C1"}},
		{"RVB", "C1", []int{4}, nil},
		{"RVB/CT1", "CT1", nil, []string{"RVB/CT1"}},
		{"RVB/CT1/C1", "J014", nil, nil},
		{"KVR", "J001", nil, nil},
	} {
		if got := names(p.Find(place(c.in), c.tail, c.depths...)); !slices.Equal(got, c.want) {
			t.Errorf("%s below %s at %v: %v; expected %v", c.tail, c.in, c.depths, got, c.want)
		}
	}
	for in, want := range map[string][]string{
		"RVB": {"RVB/CT1", "RVB/CT2"}, "RVB/CT2": {"RVB/CT2/C1", "RVB/CT2/C3"}, "RVB/CT2/C1": {"RVB/CT2/C1/J001", "RVB/CT2/C1/J002"}, "RVB/CT2/C1/J001": nil,
	} {
		if got := names(p.Children(place(in))); !slices.Equal(got, want) {
			t.Errorf("in %s: %v; expected %v", in, got, want)
		}
	}
	if got := names(p.Children(ledger.Place{})); !slices.Equal(got, []string{"RVB"}) {
		t.Errorf("in no place: %v", got)
	}
	for text, want := range map[string]bool{"RVB": true, "RVB/CT2": true, "RVB/CT2/C3": true, "RVB/CT2/C3/J020": true, "RVB/CT3": false, "RVB/CT2/C2": false, "RVB/CT2/C3/J021": false, "KVR": false} {
		if p.Has(place(text)) != want {
			t.Errorf("%s: %t; expected %t", text, !want, want)
		}
	}
}

func TestFolder(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "none", "yet")
	if sites, err := pack.Sites(folder); err != nil || sites != nil {
		t.Errorf("a folder that is not there: %v, %v", sites, err)
	}
	if _, err := pack.Open(folder, "RVB"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("opened: %v", err)
	}
	if err := site(t, "").keep(folder); err != nil {
		t.Fatal(err)
	}
	left := filepath.Join(folder, "RVB.1.part")
	if err := os.WriteFile(left, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(left, time.Time{}, time.Now().Add(-2*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := site(t, "again").keep(folder); err != nil {
		t.Fatal(err)
	}
	if sites, err := pack.Sites(folder); err != nil || !slices.Equal(sites, []string{"RVB"}) {
		t.Errorf("sites: %v, %v", sites, err)
	}
	if entries, _ := os.ReadDir(folder); len(entries) != 1 {
		t.Errorf("%d files in the folder; what an interrupted run left should be gone", len(entries))
	}
	if err := pack.Drop(folder, "RVB"); err != nil {
		t.Error(err)
	}
	if err := pack.Drop(folder, "RVB"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("dropped twice: %v", err)
	}
}

// Whoever reads while the data are replaced has all of one state: the old one for as
// long as it has it open.
func TestReplacedWhileRead(t *testing.T) {
	folder := t.TempDir()
	if err := site(t, "0").keep(folder); err != nil {
		t.Fatal(err)
	}
	first := open(t, folder)
	var writer sync.WaitGroup
	writer.Go(func() {
		for n := range 50 {
			if err := site(t, fmt.Sprint(n+1)).keep(folder); err != nil {
				t.Error(err)
			}
		}
	})
	for range 200 {
		p, err := pack.Open(folder, "RVB")
		if err != nil {
			t.Fatal(err)
		}
		_, ok := p.Cell(place("RVB/CT1/C1"))
		if _, lot := p.Lot("L-1"); !ok || !lot || p.Err() != nil {
			t.Fatalf("half of the data: %t, %t, %v", ok, lot, p.Err())
		}
		p.Close() // it was only read
	}
	writer.Wait()
	if c, ok := first.Cell(place("RVB/CT1/C1")); !ok || c.Cell.Description != "0" {
		t.Errorf("the pack that was open from the beginning gives %q", c.Cell.Description)
	}
}

// Every flipped bit and every cut is either met with the sentence that says what to
// do, or changes nothing; nothing is ever told wrong, and no program ends.
func TestDamagedFile(t *testing.T) {
	folder := t.TempDir()
	if err := site(t, "").keep(folder); err != nil {
		t.Fatal(err)
	}
	file := pack.Path(folder, "RVB")
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	try := func(what string, b []byte, harmless bool) {
		t.Helper()
		if err := os.WriteFile(file, b, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := pack.Open(folder, "RVB")
		if err == nil {
			for _, c := range p.Cells() {
				p.Cell(c)
			}
			for _, l := range p.Lots() {
				p.Lot(l)
			}
			for _, v := range p.Tools() {
				p.Tool(v)
			}
			p.Revisions("S1")
			p.People()
			p.Batches()
			err = p.Err()
			frames := p.Frames()
			p.Close() // it was only read
			if err != nil && len(frames) >= 9 {
				t.Errorf("%s: all %d sections are said to be whole", what, len(frames))
			}
			if err == nil && len(frames) == 9 && harmless {
				return
			}
		}
		var damaged *pack.Damaged
		if !errors.As(err, &damaged) || !strings.Contains(err.Error(), "run trackctl carry RVB again") {
			t.Errorf("%s: %v", what, err)
		}
	}
	for i := 0; i < len(whole); i += 5 {
		b := bytes.Clone(whole)
		b[i] ^= 1 << (i % 8)
		// A few bits of a frame decide nothing: the content is then as its sum says.
		try(fmt.Sprintf("a flipped bit in byte %d of %d", i, len(whole)), b, true)
	}
	for n := 0; n < len(whole); n += 11 {
		try(fmt.Sprintf("cut to %d of %d bytes", n, len(whole)), whole[:n], false)
	}
	try("a byte too many", append(bytes.Clone(whole), 0), false)
	other := bytes.Replace(whole, []byte("JLCARRY1"), []byte("JLCARRY2"), 1)
	if err := os.WriteFile(file, other, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := pack.Open(folder, "RVB"); err == nil || !strings.Contains(err.Error(), "another version") {
		t.Errorf("a file of another version: %v", err)
	}
	if err := os.Rename(file, pack.Path(folder, "KVR")); err != nil {
		t.Fatal(err)
	}
	if err := site(t, "").keep(folder); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(file, pack.Path(folder, "KVR")); err != nil {
		t.Fatal(err)
	}
	if _, err := pack.Open(folder, "KVR"); err == nil || !strings.Contains(err.Error(), `holds those of "RVB"`) {
		t.Errorf("a file under another site's name: %v", err)
	}
}

func TestReplaceWantsAllSections(t *testing.T) {
	folder := t.TempDir()
	d := site(t, "")
	h := pack.Head{Site: "RVB", AsOf: moment, Sections: []pack.Named{{Name: "site", Sum: d.sections[0].Sum()}}}
	if _, err := pack.Replace(folder, h, nil); err == nil || !strings.Contains(err.Error(), "site") {
		t.Errorf("without the section: %v", err)
	}
	h.Sections = append(h.Sections, h.Sections[0])
	if _, err := pack.Replace(folder, h, map[section.Sum][]byte{d.sections[0].Sum(): d.sections[0].Packed()}); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("with one twice: %v", err)
	}
	if sites, _ := pack.Sites(folder); len(sites) != 0 {
		t.Errorf("sites %v were made of nothing", sites)
	}
}

// A process that is killed while it replaces the data leaves those before or those
// after it.
func TestKilledWhileReplacing(t *testing.T) {
	if folder := os.Getenv("PACK_TEST_FOLDER"); folder != "" {
		for n := 0; ; n++ {
			d := site(t, fmt.Sprint(n))
			d.asOf = moment.Add(time.Duration(n) * time.Minute)
			if err := d.keep(folder); err != nil {
				t.Fatal(err)
			}
		}
	}
	folder := t.TempDir()
	if err := site(t, "").keep(folder); err != nil {
		t.Fatal(err)
	}
	asOf, replaced := moment, false
	for n := range 8 {
		cmd := exec.Command(os.Args[0], "-test.run", "^TestKilledWhileReplacing$")
		cmd.Env = append(os.Environ(), "PACK_TEST_FOLDER="+folder)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// Once it is at work it replaces them without end.
		begun := time.Now()
		for last := asOf; asOf.Equal(last) && time.Since(begun) < 20*time.Second; {
			time.Sleep(time.Millisecond)
			p, err := pack.Open(folder, "RVB")
			if err != nil {
				t.Fatalf("while it is replaced: %v", err)
			}
			asOf = p.AsOf()
			replaced = replaced || !asOf.Equal(last)
			p.Close() // it was only read
		}
		time.Sleep(time.Duration(3*n) * time.Millisecond)
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait()
		p, err := pack.Open(folder, "RVB")
		if err != nil {
			t.Fatalf("after kill %d: %v", n, err)
		}
		if len(p.Frames()) != p.Sections() {
			t.Fatalf("after kill %d: %d whole sections of %d", n, len(p.Frames()), p.Sections())
		}
		p.Close() // it was only read
	}
	if !replaced {
		t.Error("no run came to replace anything: the test proves nothing")
	}
}
