package outbox

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// laterHead is the file with a head as a later format might have it.
func laterHead(data []byte) []byte {
	later := slices.Clone(data)
	later[len(fileMark)] = version + 1
	sum := sha256.Sum256(later[:headUsed])
	copy(later[headUsed:], sum[:8])
	return later
}

// written is the file of an outbox with five entries, of which the first was
// delivered and the second refused, with the frames in it.
func written(t *testing.T) (data []byte, frames []frame) {
	t.Helper()
	o := In(t.TempDir())
	for n := range 5 {
		keep(t, o, draft(n+1))
	}
	if _, err := o.Answered([]Answer{{ID: draft(1).ID}, {ID: draft(2).ID, Refusal: nil}}, began); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(o.path(entriesFile))
	if err != nil {
		t.Fatal(err)
	}
	frames, gaps := scan(data, headSize)
	if len(frames) != 7 || len(gaps) != 0 {
		t.Fatalf("%d frames, %d gaps", len(frames), len(gaps))
	}
	return data, frames
}

// payloads are those of the frames.
func payloads(frames []frame) [][]byte {
	var all [][]byte
	for _, f := range frames {
		all = append(all, f.payload)
	}
	return all
}

// Whatever byte is changed, to whatever value: every frame that it does not lie in is
// read, in order, and no other.
func TestAnyChangedByteCostsOneFrameAtMost(t *testing.T) {
	data, frames := written(t)
	for at := headSize; at < len(data); at++ {
		var sound [][]byte
		for _, f := range frames {
			if at < f.at || at >= f.end {
				sound = append(sound, f.payload)
			}
		}
		changed := slices.Clone(data)
		for _, flip := range []byte{1, 2, 4, 8, 16, 32, 64, 128, 255, 0x5a} {
			changed[at] = data[at] ^ flip
			got, gaps := scan(changed, headSize)
			if !slices.EqualFunc(payloads(got), sound, bytes.Equal) || len(gaps) != 1 {
				t.Fatalf("byte %d changed by %#x: %d frames and %d gaps", at, flip, len(got), len(gaps))
			}
		}
	}
}

// Wherever the file is cut short, or a byte is put in or lost: every frame before is
// read, and none but those that were written.
func TestAnyCutLosesNoWholeFrame(t *testing.T) {
	data, frames := written(t)
	for at := headSize; at < len(data); at++ {
		var before, behind [][]byte
		for _, f := range frames {
			switch {
			case f.end <= at:
				before = append(before, f.payload)
			case f.at > at:
				behind = append(behind, f.payload)
			}
		}
		if got, _ := scan(data[:at], headSize); !slices.EqualFunc(payloads(got), before, bytes.Equal) {
			t.Fatalf("cut at %d: %d frames of %d", at, len(got), len(before))
		}
		inside := slices.ContainsFunc(frames, func(f frame) bool { return f.at < at && at < f.end })
		if !inside {
			continue
		}
		for name, changed := range map[string][]byte{
			"put in": slices.Insert(slices.Clone(data), at, 0x00),
			"lost":   slices.Delete(slices.Clone(data), at, at+1),
		} {
			if got, _ := scan(changed, headSize); !slices.EqualFunc(payloads(got), slices.Concat(before, behind), bytes.Equal) {
				t.Fatalf("a byte %s at %d: %d frames of %d", name, at, len(got), len(before)+len(behind))
			}
		}
	}
}

// opened writes the file into a new outbox.
func opened(t *testing.T, data []byte) *Outbox {
	t.Helper()
	o := In(t.TempDir())
	if err := os.WriteFile(o.path(entriesFile), data, 0o600); err != nil {
		t.Fatal(err)
	}
	return o
}

// oneDamage is what was found damaged, once.
func oneDamage(t *testing.T, o *Outbox) Damage {
	t.Helper()
	d := o.Damage()
	if len(d) != 1 {
		t.Fatalf("damage was told %d times: %+v", len(d), d)
	}
	return d[0]
}

func TestDamageIsSetAsideAndNamed(t *testing.T) {
	data, frames := written(t)
	third := frames[2]
	changed := slices.Clone(data)
	changed[third.at+frameHead+40] ^= 1
	o := opened(t, changed)
	// An append looks at the end alone and is not held up by it.
	keep(t, o, draft(6))
	if got := states(t, o); got != "1 delivered, 2 delivered, 4 waiting, 5 waiting, 6 waiting" {
		t.Errorf("the entries are %q", got)
	}
	d := oneDamage(t, o)
	if len(d.Files) != 1 || d.Bytes != third.end-third.at || d.Missing != 0 || d.Safe != 5 {
		t.Fatalf("damage: %+v", d)
	}
	if aside, err := os.ReadFile(d.Files[0]); err != nil || !bytes.Equal(aside, changed[third.at:third.end]) {
		t.Errorf("set aside were %d bytes, %v", len(aside), err)
	}
	wantSentence := fmt.Sprintf("the outbox was damaged: %d bytes of it can't be read and are set aside in %s; the 5 entries that can be read are safe; "+
		"look whether something that was entered between %s and %s is missing, and enter it again",
		d.Bytes, d.Files[0], draft(2).At.Local().Format("2006-01-02 15:04:05"), draft(4).At.Local().Format("2006-01-02 15:04:05"))
	if got := d.Sentence(); got != wantSentence {
		t.Errorf("it says %q; expected %q", got, wantSentence)
	}
	if got := o.Aside(); !slices.Equal(got, d.Files) {
		t.Errorf("aside lie %v", got)
	}
	// Told once, and sound from then on.
	keep(t, o, draft(7))
	again := In(o.Folder())
	want(t, again, "1 delivered, 2 delivered, 4 waiting, 5 waiting, 6 waiting, 7 waiting", Count{Waiting: 4})
	if d := append(o.Damage(), again.Damage()...); len(d) != 0 {
		t.Errorf("told again: %+v", d)
	}
}

func TestALostAnswerIsAskedForAgain(t *testing.T) {
	data, frames := written(t)
	changed := slices.Clone(data)
	changed[frames[5].at] ^= 1 // that the first was delivered
	o := opened(t, changed)
	want(t, o, "1 waiting, 2 delivered, 3 waiting, 4 waiting, 5 waiting", Count{Waiting: 4})
	oneDamage(t, o)
}

func TestAFileCutShort(t *testing.T) {
	data, frames := written(t)
	for name, c := range map[string]struct {
		at, bytes, missing int
		list               string
	}{
		"in a frame": {frames[4].at + 30, 30, 0, "1 waiting, 2 waiting, 3 waiting, 4 waiting"},
		// Nothing that is left shows it but the head.
		"between frames": {frames[4].at, 0, 3, "1 waiting, 2 waiting, 3 waiting, 4 waiting"},
		"in the mark":    {frames[3].at + 2, 2, 0, "1 waiting, 2 waiting, 3 waiting"},
		"in the head":    {20, 20, 0, ""},
	} {
		t.Run(name, func(t *testing.T) {
			o := opened(t, data[:c.at])
			if got := states(t, o); got != c.list {
				t.Errorf("the entries are %q; expected %q", got, c.list)
			}
			if d := oneDamage(t, o); d.Bytes != c.bytes || d.Missing != c.missing {
				t.Errorf("damage: %+v", d)
			}
			keep(t, o, draft(8))
			if d := o.Damage(); len(d) != 0 {
				t.Errorf("told again: %+v", d)
			}
		})
	}
}

func TestAFrameCutOutIsMissed(t *testing.T) {
	data, frames := written(t)
	o := opened(t, slices.Delete(slices.Clone(data), frames[2].at, frames[2].end))
	if got := states(t, o); got != "1 delivered, 2 delivered, 4 waiting, 5 waiting" {
		t.Errorf("the entries are %q", got)
	}
	d := oneDamage(t, o)
	if d.Missing != 1 || !strings.HasPrefix(d.Sentence(), "the outbox was damaged: a part of it is gone; the 4 entries") {
		t.Errorf("damage: %+v, %s", d, d.Sentence())
	}
}

func TestADamagedHeadCostsNothing(t *testing.T) {
	data, _ := written(t)
	for at := 0; at < headUsed+8; at += 3 {
		changed := slices.Clone(data)
		changed[at] ^= 0x40
		o := opened(t, changed)
		want(t, o, "1 delivered, 2 delivered, 3 waiting, 4 waiting, 5 waiting", Count{Waiting: 3})
		if d := oneDamage(t, o); d.Bytes != headSize {
			t.Fatalf("byte %d: damage %+v", at, d)
		}
	}
}

// A write that was cut off by a crash leaves the first part of a frame, of which
// nobody was told that it was kept: it goes without a word.
func TestAnUnfinishedWriteGoesSilently(t *testing.T) {
	data, _ := written(t)
	e, err := draft(6).event()
	if err != nil {
		t.Fatal(err)
	}
	whole := appendFrame(nil, 8, e.payload())
	const before = "1 delivered, 2 delivered, 3 waiting, 4 waiting, 5 waiting"
	for n := 1; n < len(whole); n += 5 {
		o := opened(t, slices.Concat(data, whole[:n]))
		want(t, o, before, Count{Waiting: 3})
		keep(t, o, draft(7))
		want(t, In(o.Folder()), before+", 7 waiting", Count{Waiting: 4})
		if d := o.Damage(); len(d) != 0 {
			t.Fatalf("%d bytes of a frame: %+v", n, d)
		}
	}
	o := opened(t, slices.Concat(data, make([]byte, 500)))
	want(t, o, before, Count{Waiting: 3})
	if d := o.Damage(); len(d) != 0 {
		t.Errorf("zeros: %+v", d)
	}
	// One that was written whole is kept, though nobody was told.
	o = opened(t, slices.Concat(data, whole))
	want(t, o, before+", 6 waiting", Count{Waiting: 4})
	if d := o.Damage(); len(d) != 0 {
		t.Errorf("a whole frame: %+v", d)
	}
	// Bytes that no write of ours leaves are not thrown away.
	o = opened(t, slices.Concat(data, []byte("who wrote this?")))
	want(t, o, before, Count{Waiting: 3})
	if d := oneDamage(t, o); d.Bytes != len("who wrote this?") {
		t.Errorf("foreign bytes: %+v", d)
	}
}

func TestSeveralDamagedPlaces(t *testing.T) {
	data, frames := written(t)
	changed := slices.Clone(data)
	changed[frames[0].at+30] ^= 1
	changed[frames[3].at+30] ^= 1
	o := opened(t, changed)
	if got := states(t, o); got != "2 delivered, 3 waiting, 5 waiting" {
		t.Errorf("the entries are %q", got)
	}
	d := oneDamage(t, o)
	if len(d.Files) != 2 || !d.After.IsZero() || !d.Before.Equal(draft(2).At) || !strings.HasPrefix(d.Sentence(), "the outbox was damaged in 2 places: ") {
		t.Errorf("damage: %+v, %s", d, d.Sentence())
	}
	if found, err := filepath.Glob(o.path("damaged-*.part")); err != nil || len(found) != 2 {
		t.Errorf("aside lie %v, %v", found, err)
	}
}

// Whatever is in the file: it opens, what can be read is read, and it is sound from
// then on.
func TestAnyFileOpens(t *testing.T) {
	data, frames := written(t)
	random := rand.New(rand.NewPCG(6, 2026))
	for range 30 {
		changed := slices.Clone(data)
		for range 1 + random.IntN(4) {
			at, n := random.IntN(len(changed)), random.IntN(60)
			switch random.IntN(3) {
			case 0:
				changed = slices.Delete(changed, at, min(at+n, len(changed)))
			case 1:
				changed = slices.Insert(changed, at, make([]byte, n)...)
			default:
				changed[at] ^= byte(1 + random.IntN(255))
			}
		}
		o := opened(t, changed)
		list := read(t, o)
		o.Damage()
		keep(t, o, draft(20))
		if again := read(t, In(o.Folder())); len(again) != len(list)+1 || len(list) > len(frames) {
			t.Errorf("%d entries, then %d", len(list), len(again))
		}
		if d := o.Damage(); len(d) != 0 {
			t.Errorf("damaged after it was mended: %+v", d)
		}
	}
}

// FuzzScan reads any bytes as the file of an outbox.
func FuzzScan(f *testing.F) {
	var file []byte
	file = append(file, head{length: headSize}.bytes()...)
	for n := range 3 {
		e, err := draft(n).event()
		if err != nil {
			f.Fatal(err)
		}
		file = appendFrame(file, uint64(n+1), e.payload())
	}
	f.Add(file)
	f.Add(file[:len(file)-7])
	f.Add(file[headSize:])
	f.Add(slices.Concat(file[:100], file[110:]))
	f.Add([]byte{})
	f.Add(frameMark)
	f.Fuzz(func(t *testing.T, data []byte) {
		frames, gaps := scan(data, 0)
		// Frames and gaps make up the whole file, and each frame is what it says.
		covered := 0
		for _, fr := range frames {
			covered += fr.end - fr.at
			if again := appendFrame(nil, fr.sequence, fr.payload); !bytes.Equal(again, data[fr.at:fr.end]) {
				t.Errorf("the frame at %d writes as other bytes", fr.at)
			}
		}
		for _, g := range gaps {
			covered += g.end - g.at
			if g.end <= g.at {
				t.Errorf("an empty gap at %d", g.at)
			}
		}
		if covered != len(data) {
			t.Errorf("frames and gaps make %d bytes of %d", covered, len(data))
		}
		if got := fold(frames); len(got.list) > len(frames) || got.count().Waiting > len(got.list) {
			t.Errorf("%d entries of %d frames", len(got.list), len(frames))
		}
		if h, sound, err := readHead(data); sound && err == nil && !bytes.Equal(h.bytes()[:headUsed+8], data[:headUsed+8]) {
			t.Error("the head writes as other bytes")
		}
	})
}
