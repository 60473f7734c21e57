package outbox

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	pb "jointledger/proto/jointledger/v1"
)

// FuzzEvent: a payload is read whole or not at all, and what was read writes as a payload
// that reads the same.
func FuzzEvent(f *testing.F) {
	e, err := draft(1).event()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(e.payload())
	f.Add(event{what: withdrawn, id: e.id, at: began, body: []byte("not needed")}.payload())
	f.Add(event{what: refused, id: e.id, at: began, body: []byte("\xff")}.payload())
	f.Add(binary.AppendUvarint(slices.Clone(e.payload()[:eventHead+16]), 1<<63)) // a summary of more bytes than there are
	f.Add(append(slices.Clone(e.payload()[:eventHead+16]), bytes.Repeat([]byte{0xff}, 11)...))
	f.Add(e.payload()[:eventHead+15])
	f.Add([]byte{6})
	f.Fuzz(func(t *testing.T, payload []byte) {
		e, err := readEvent(payload)
		if err != nil {
			if e.what != 0 || e.body != nil || e.id != uuid.Nil {
				t.Errorf("%+v besides %v", e, err)
			}
			return
		}
		again, err := readEvent(e.payload())
		if err != nil || again.what != e.what || again.id != e.id || !again.at.Equal(e.at) || again.replaces != e.replaces || again.summary != e.summary || !bytes.Equal(again.body, e.body) {
			t.Errorf("%+v is written so that it reads %+v, %v", e, again, err)
		}
	})
}

// builder makes the file of an outbox of what a script of bytes says, and damages it:
// frames that were changed, cut off or are gone, and bytes of other programs.
type builder struct {
	script []byte
	// intact is the file as it was written, file as it was found.
	intact, file []byte
	sequence     uint64
	// told are the entries that whole frames keep.
	told    map[uuid.UUID]bool
	damaged bool
}

func (b *builder) byte() (first byte) {
	if len(b.script) > 0 {
		first, b.script = b.script[0], b.script[1:]
	}
	return first
}

func (b *builder) bytes(n byte) []byte {
	taken := b.script[:min(int(n), len(b.script))]
	b.script = b.script[len(taken):]
	return taken
}

// step puts one thing into the file.
func (b *builder) step() {
	how := b.byte()
	e := event{what: whatOf(how), id: uuid.UUID{15: 1 + b.byte()%5}, at: began.Add(time.Duration(b.byte()) * time.Hour), body: b.bytes(b.byte() % 40)}
	if how >= 240 { // bytes that are of no frame
		b.file, b.damaged = append(append(b.file, 1), e.body...), true
		return
	}
	if e.what == kept {
		e.summary, e.replaces = string(b.bytes(3)), uuid.UUID{15: b.byte() % 6}
	}
	b.sequence++
	frame := appendFrame(nil, b.sequence, e.payload())
	b.intact = append(b.intact, frame...)
	switch {
	case how < 200:
		if e.what == kept {
			b.told[e.id] = true
		}
	case how < 220: // a byte was changed
		frame[int(b.byte())%len(frame)] ^= 0x20
		b.damaged = true
	default: // cut off, or gone
		frame = frame[:int(b.byte())%len(frame)]
		b.damaged = true
	}
	b.file = append(b.file, frame...)
}

// whatOf is any of the five things that frames tell.
func whatOf(b byte) what { return what(b%5 + 1) }

// FuzzOpen: whatever the file is, each entry that a whole frame keeps is there; what can't
// be read is set aside and told once; reading it again finds it sound; and an entry can be
// kept in it.
func FuzzOpen(f *testing.F) {
	whole := func(what, id byte) []byte { // kept is 0, delivered 1, refused 2, withdrawn 3, again 4
		step := []byte{what, id, 1, 3, 'a', 'b', 'c'}
		if what == 0 {
			step = append(step, "sum\x00"...)
		}
		return step
	}
	sound := slices.Concat(whole(0, 1), whole(0, 2), whole(1, 1), whole(2, 2))
	for front := range byte(5) {
		f.Add(front, sound)
	}
	f.Add(byte(0), slices.Concat(sound, []byte{220, 3, 1, 0, 's', 's', 's', 0, 30}))                              // the end was cut off
	f.Add(byte(0), slices.Concat([]byte{220, 3, 1, 0, 's', 's', 's', 0, 0}, sound))                               // the first is gone
	f.Add(byte(1), slices.Concat(sound, []byte{255, 1, 1, 9, 0xff, 'J', 'L', 0xfe, 0xff, 0xff, 0xff, 0xff}))      // a mark, and a length of 4 GiB
	f.Add(byte(0), slices.Concat(sound, []byte{200, 4, 1, 0, 's', 's', 's', 0, 5}, sound, []byte{255, 1, 1, 30})) // a length was changed
	f.Add(byte(2), slices.Concat(whole(4, 1), whole(3, 9), whole(0, 3), whole(2, 3), whole(3, 3), whole(0, 3)))   // answers for entries that are not there
	f.Fuzz(func(t *testing.T, front byte, script []byte) {
		b := &builder{script: script[:min(len(script), 2000)], intact: make([]byte, headSize), file: make([]byte, headSize), told: map[uuid.UUID]bool{}}
		behind := head{length: headSize}
		for i := 0; len(b.script) > 0; i++ {
			b.step()
			if i == 0 && !b.damaged {
				behind = headOf(b)
			}
		}
		switch front % 5 {
		case 0:
			copy(b.file, headOf(b).bytes())
		case 1: // as it is when the last heads were not written
			copy(b.file, behind.bytes())
		case 2, 3: // the head is gone, or another's
			copy(b.file[front%5:headSize], headOf(b).bytes())
			b.damaged = true
		case 4:
			b.file = laterHead(append(headOf(b).bytes(), b.file[headSize:]...))
		}
		o := In(t.TempDir())
		if err := os.WriteFile(o.path(entriesFile), b.file, 0o600); err != nil {
			t.Fatal(err)
		}
		list, err := o.Entries()
		if errors.Is(err, errNewer) && front%5 == 4 {
			if now, err := os.ReadFile(o.path(entriesFile)); err != nil || !bytes.Equal(now, b.file) {
				t.Errorf("a file of a later version was changed, %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		b.checkOpened(t, o, list)
	})
}

// headOf is the head that the file was given last.
func headOf(b *builder) head {
	frames, _ := scan(b.intact, headSize)
	return head{length: int64(len(b.intact)), sequence: b.sequence, count: fold(frames).count()}
}

func (b *builder) checkOpened(t *testing.T, o *Outbox, list []*Entry) {
	have := map[uuid.UUID]bool{}
	for _, e := range list {
		have[e.ID] = true
		if _, err := e.Record(); err != nil && err.Error() == "" {
			t.Error("an error without a word")
		}
	}
	for id := range b.told {
		if !have[id] {
			t.Errorf("the entry %s is lost", id)
		}
	}
	damage := o.Damage()
	if !b.damaged && len(damage) > 0 {
		t.Errorf("a sound file is told to be damaged: %s", damage[0].Sentence())
	}
	for _, d := range damage {
		if d.Missing < 0 || d.Safe != len(list) || d.Bytes < 0 {
			t.Errorf("%+v of %d entries", d, len(list))
		}
		for _, name := range d.Files {
			if part, err := os.ReadFile(name); err != nil || !bytes.Contains(b.file, part) {
				t.Errorf("%q was set aside, %v", part, err)
			}
		}
	}
	before, err := o.Count()
	if err != nil || before.Waiting+before.Refused > len(list) {
		t.Fatalf("%+v of %d entries, %v", before, len(list), err)
	}
	kept, err := o.Keep(Draft{ID: uuid.UUID{0: 1}, At: began, New: true, Record: &pb.DeliveredRecord{}})
	if err != nil || kept.Count != (Count{Waiting: before.Waiting + 1, Refused: before.Refused}) {
		t.Fatalf("kept %+v after %+v, %v", kept, before, err)
	}
	again := In(o.Folder())
	after, err := again.Entries()
	if err != nil || len(after) != len(list)+1 {
		t.Errorf("%d entries, then %d, %v", len(list), len(after), err)
	}
	for _, d := range again.Damage() {
		t.Errorf("%+v, and once more: %+v", damage, d)
	}
	if count := newCount(after); count != kept.Count {
		t.Errorf("%+v are counted, and %+v are said", count, kept.Count)
	}
}

func newCount(list []*Entry) Count {
	s := &entries{list: list}
	return s.count()
}
