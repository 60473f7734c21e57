package pack

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"os"
	"runtime"
	"testing"
	"time"

	"jointledger/internal/carry/section"
	"jointledger/internal/ledger"
)

// indexOfTwo is the index of two sections, and what follows it in the file.
func indexOfTwo(t testing.TB) (index, frames []byte) {
	t.Helper()
	plan, err := section.OfPlan(ledger.Site{Code: "RVB", TimeZone: "UTC"}, []ledger.Tower{{Place: ledger.Place{Site: "RVB", Tower: "CT1"}}})
	if err != nil {
		t.Fatal(err)
	}
	lot := section.Section{Name: "lots/L-1", Content: []byte("no message")}
	h := Head{Site: "RVB", AsOf: time.Date(2026, 3, 2, 15, 4, 5, 0, time.UTC)}
	var lengths []int64
	for _, s := range []section.Section{lot, plan} {
		h.Sections = append(h.Sections, Named{s.Name, s.Sum()})
		lengths = append(lengths, int64(len(s.Packed())))
		frames = append(frames, s.Packed()...)
	}
	return appendIndex(nil, h, lengths), frames
}

// fileOf puts an index and frames together as a file has them.
func fileOf(index, frames []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte(magic), uint32(len(index)))
	b = append(b, index...)
	sum := sha256.Sum256(b)
	return append(append(b, sum[:]...), frames...)
}

// FuzzIndex: an index is read whole or not at all, its frames lie one behind the other,
// and what was read writes as an index that reads the same.
func FuzzIndex(f *testing.F) {
	index, _ := indexOfTwo(f)
	f.Add(index)
	f.Add(index[:len(index)-1])
	f.Add(append(bytes.Clone(index), 0))
	f.Add([]byte{})
	f.Add(appendIndex(nil, Head{}, nil))
	f.Add(bytes.Repeat([]byte{0xff}, 80)) // numbers that have no end
	f.Fuzz(func(t *testing.T, index []byte) {
		const begin = 100
		h, sections, end, err := readIndex(string(index), begin)
		if err != nil {
			if !errors.Is(err, errIndex) || sections != nil || end != 0 {
				t.Errorf("%d sections to %d besides %v", len(sections), end, err)
			}
			return
		}
		at := int64(begin)
		var lengths []int64
		for _, s := range sections {
			if s.offset != at || s.length < 0 || s.length > mostIndex {
				t.Fatalf("%s is at %d of %d, %d bytes long", s.Name, s.offset, at, s.length)
			}
			at += s.length
			lengths = append(lengths, s.length)
			h.Sections = append(h.Sections, s.Named)
		}
		if at != end {
			t.Errorf("the end is at %d, and said to be at %d", at, end)
		}
		again, same, _, err := readIndex(string(appendIndex(nil, h, lengths)), begin)
		if err != nil || again.Site != h.Site || !again.AsOf.Equal(h.AsOf) || again.RulesSum != h.RulesSum || len(same) != len(sections) {
			t.Fatalf("%+v is written so that it reads %+v, %v", h, again, err)
		}
		for i := range same {
			if same[i] != sections[i] {
				t.Errorf("%+v is written so that it reads %+v", sections[i], same[i])
			}
		}
	})
}

// A number of sections that the index has no room for makes no room either.
func TestAnIndexMakesRoomForWhatItHas(t *testing.T) {
	claims := binary.AppendUvarint(append([]byte{3, 'R', 'V', 'B', 0}, make([]byte, sha256.Size)...), 1<<20)
	claims = append(claims, make([]byte, 1<<20)...)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, _, _, err := readIndex(string(claims), 0); !errors.Is(err, errIndex) {
		t.Errorf("%v", err)
	}
	runtime.ReadMemStats(&after)
	if made := after.TotalAlloc - before.TotalAlloc; made > 8<<20 {
		t.Errorf("%d bytes were made room for, of an index of 1 MiB", made)
	}
}

// FuzzOpen: whatever the file holds, it is opened or told to be damaged, and whatever is
// asked of what was opened is answered, with what is damaged not known.
func FuzzOpen(f *testing.F) {
	index, frames := indexOfTwo(f)
	f.Add(false, index, frames)
	f.Add(false, index, frames[:len(frames)-1])
	f.Add(false, index, append(bytes.Clone(frames), 0))
	f.Add(false, bytes.Replace(index, []byte("RVB"), []byte("RVC"), 1), frames)
	f.Add(false, []byte{}, []byte{})
	f.Add(true, []byte(magic), []byte{0xff, 0xff, 0xff, 0xff}) // an index of 4 GiB, as it says
	f.Add(true, []byte("JLCARRY2"), make([]byte, 40))
	f.Fuzz(func(t *testing.T, raw bool, index, frames []byte) {
		file := fileOf(index, frames)
		if raw {
			file = append(bytes.Clone(index), frames...)
		}
		folder := t.TempDir()
		if err := os.WriteFile(Path(folder, "RVB"), file, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := Open(folder, "RVB")
		if err != nil {
			var damaged *Damaged
			if p != nil || !errors.As(err, &damaged) || damaged.Site != "RVB" {
				t.Errorf("%v", err)
			}
			return
		}
		defer p.Close()
		if p.Size() != int64(len(file)) || p.Location() == nil || p.head.Site != "RVB" {
			t.Errorf("%d bytes of %d, in %v", p.Size(), len(file), p.Location())
		}
		p.Places(ledger.Place{}, 4, func(place ledger.Place) {
			if place.Site != "RVB" && p.Err() == nil && place.Depth() > 1 {
				t.Errorf("a place %s", place)
			}
		})
		for _, l := range p.Lots() {
			p.Lot(l)
		}
		for _, s := range p.Tools() {
			p.Tool(s)
		}
		for _, c := range p.Specifications() {
			p.Revisions(c)
		}
		_, _, _ = p.People(), p.Batches(), p.Frames()
	})
}
