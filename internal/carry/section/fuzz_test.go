package section_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/klauspost/compress/zstd"

	"jointledger/internal/carry/section"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// kindOfSection reads a section and writes what it has read.
type kindOfSection struct {
	name  string
	read  func(name string, content []byte) (any, error)
	write func(any) (section.Section, error)
}

func kindOf[T any](name string, read func(string, []byte) (T, error), write func(T) (section.Section, error)) kindOfSection {
	return kindOfSection{name,
		func(name string, content []byte) (any, error) { return read(name, content) },
		func(v any) (section.Section, error) { return write(v.(T)) }}
}

func unnamed[T any](read func([]byte) (T, error)) func(string, []byte) (T, error) {
	return func(_ string, content []byte) (T, error) { return read(content) }
}

var kindsOfSections = []kindOfSection{
	kindOf("cells/CT2/C3", section.ReadCell, section.OfCell),
	kindOf("tools/TW-1", section.ReadTool, section.OfTool),
	kindOf("lots/L-1", section.ReadLot, section.OfLot),
	kindOf("specifications/S1", section.ReadSpecification, section.OfSpecification),
	kindOf("site", unnamed(section.ReadPlan), func(p section.PlanRead) (section.Section, error) { return section.OfPlan(p.Site, p.Towers) }),
	kindOf("people", unnamed(section.ReadPeople), section.OfPeople),
	kindOf("batches", unnamed(section.ReadBatches), section.OfBatches),
}

// sections of each kind, to begin with.
func sectionsToBegin(f *testing.F) [][]byte {
	plan := section.PlanRead{Site: ledger.Site{Code: "RVB", TimeZone: "America/Denver", Status: ledger.SiteActive}, Towers: []ledger.Tower{{Place: ledger.Place{Site: "RVB", Tower: "CT1"}}}}
	tool := known.ToolPast{Tool: ledger.Tool{Serial: "TW-1", HomeSite: "RVB"}}
	specification := known.SpecificationPast{Revisions: []ledger.Specification{{Code: "S1", Revision: revision(1)}}, Substitutions: []ledger.Substitution{{Code: "B1", Specification: "S1"}}}
	var contents [][]byte
	for i, v := range []any{
		cellPast(), tool, known.LotPast{Lot: ledger.Lot{Number: "L-1"}, Holds: []known.Span{{From: moment, ID: id(5)}}}, specification, plan,
		[]ledger.Person{{ID: "ab", Roles: []ledger.Role{ledger.RoleCrib}}}, []ledger.Batch{{Number: "AS-19", MinimumCelsius: pointer(-20.0)}},
	} {
		s, err := kindsOfSections[i].write(v)
		if err != nil {
			f.Fatal(err)
		}
		contents = append(contents, s.Content)
	}
	return contents
}

var sameZone = cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })

// FuzzRead: whatever bytes come as any section, columns that do not fit together never
// index past their ends, what is refused names its section, and what is read writes as
// bytes that read the same.
func FuzzRead(f *testing.F) {
	for i, content := range sectionsToBegin(f) {
		f.Add(uint8(i), content)
		f.Add(uint8(i+1), content)
		f.Add(uint8(i), content[:len(content)-1])
	}
	f.Add(uint8(0), []byte{})
	f.Fuzz(func(t *testing.T, which uint8, content []byte) {
		k := kindsOfSections[int(which)%len(kindsOfSections)]
		got, err := k.read(k.name, content)
		if err != nil {
			if !strings.Contains(err.Error(), k.name) {
				t.Errorf("%s: %v", k.name, err)
			}
			return
		}
		if c, ok := got.(known.CellPast); ok && c.Cell.Place.Depth() != 3 {
			t.Fatalf("read a cell named %v", c.Cell.Place)
		}
		s, err := k.write(got)
		if err != nil {
			t.Fatalf("%s was read and can't be written: %v", k.name, err)
		}
		again, err := k.read(k.name, s.Content)
		if diff := cmp.Diff(got, again, cmpopts.EquateEmpty(), cmpopts.EquateNaNs(), sameZone); err != nil || diff != "" {
			t.Errorf("%s is written so that it reads otherwise: %v\n%s", k.name, err, diff)
		}
	})
}

// Frames one after another unpack to no more than one may.
func TestUnpackIsBounded(t *testing.T) {
	s := section.Section{Name: "x", Content: make([]byte, 80<<20)}
	frames := bytes.Repeat(section.Section{Content: make([]byte, 1<<20)}.Packed(), 80)
	if _, err := section.Unpack("x", frames, s.Sum()); err == nil {
		t.Error("80 MiB were unpacked")
	}
}

// FuzzUnpack: no frame unpacks to more than a section may have, nor to a content that its
// sum does not say.
func FuzzUnpack(f *testing.F) {
	for _, content := range sectionsToBegin(f) {
		s := section.Section{Name: "x", Content: content}
		f.Add(s.Packed())
		f.Add(s.Packed()[:len(s.Packed())/2])
	}
	bomb := section.Section{Name: "x", Content: make([]byte, 1<<20)}.Packed()
	f.Add(bomb)
	f.Add(bytes.Repeat(bomb, 3)) // frames one after another
	f.Add([]byte{})
	f.Add([]byte{0x28, 0xb5, 0x2f, 0xfd, 0xe0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f}) // of 8 EiB, as it says
	large, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(256<<20))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, frame []byte) {
		// With the sum of what it does unpack to, or of nothing.
		var sum section.Sum
		got, err := section.Unpack("x", frame, sum)
		if err == nil || got.Content != nil {
			t.Fatalf("%d bytes were taken for what has another sum", len(got.Content))
		}
		if !strings.Contains(err.Error(), "another content") {
			return
		}
		content, err := large.DecodeAll(frame, nil)
		if err != nil {
			t.Fatalf("unpacked here, and not there: %v", err)
		}
		got, err = section.Unpack("x", frame, section.Section{Content: content}.Sum())
		if err != nil || !bytes.Equal(got.Content, content) || len(content) > 64<<20 { // as compress.go has it
			t.Errorf("%d bytes of %d, %v", len(got.Content), len(content), err)
		}
	})
}
