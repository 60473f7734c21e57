package outbox

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/google/go-cmp/cmp"

	pb "jointledger/proto/jointledger/v1"
)

var began = time.Date(2026, 3, 2, 7, 25, 0, 0, time.UTC)

// draft is the n-th entry of a test.
func draft(n int) Draft {
	id := uuid.NewSHA1(uuid.Nil, fmt.Append(nil, n))
	return Draft{
		ID: id, At: began.Add(time.Duration(n) * time.Minute), New: true,
		Summary: fmt.Sprintf("%d fasteners, J%03d", n, n),
		Record: &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Tightening{Tightening: &pb.Tightening{
			Name: "tightenings/" + id.String(), Joint: fmt.Sprintf("sites/RVB/towers/CT2/cells/C3/joints/J%03d", n), Fasteners: int32(n), Lot: "lots/M10",
		}}},
	}
}

func keep(t *testing.T, o *Outbox, drafts ...Draft) Result {
	t.Helper()
	r, err := o.Keep(drafts...)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func read(t *testing.T, o *Outbox) []*Entry {
	t.Helper()
	list, err := o.Entries()
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// states are the entries of a test as words, `2 waiting` for the second draft.
func states(t *testing.T, o *Outbox) string {
	t.Helper()
	var words []string
	for _, e := range read(t, o) {
		r, err := e.Record()
		if err != nil {
			t.Fatal(err)
		}
		words = append(words, fmt.Sprintf("%d %s", r.GetTightening().GetFasteners(), e.State))
	}
	return strings.Join(words, ", ")
}

func want(t *testing.T, o *Outbox, list string, c Count) {
	t.Helper()
	if got := states(t, o); got != list {
		t.Errorf("the entries are %q; expected %q", got, list)
	}
	if got, err := o.Count(); err != nil || got != c {
		t.Errorf("count %+v, %v; expected %+v", got, err, c)
	}
}

func TestAnEntryReadsBackAsItWasKept(t *testing.T) {
	o := In(filepath.Join(t.TempDir(), "deep", "outbox"))
	if list := read(t, o); len(list) != 0 || o.Exists() {
		t.Fatalf("a new outbox has %d entries and exists: %t", len(list), o.Exists())
	}
	d := draft(1)
	if r := keep(t, o, d); r.Known[0] != nil || r.Count != (Count{Waiting: 1}) {
		t.Errorf("kept: %+v", r)
	}
	list := read(t, In(o.Folder()))
	if len(list) != 1 {
		t.Fatalf("%d entries", len(list))
	}
	e := list[0]
	if e.ID != d.ID || !e.KeptAt.Equal(d.At) || e.Summary != d.Summary || e.State != Waiting || !e.StateAt.Equal(d.At) {
		t.Errorf("it reads back as %+v", e)
	}
	r, err := e.Record()
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(d.Record, r, protocmp.Transform()); diff != "" {
		t.Errorf("the record (-kept +read):\n%s", diff)
	}
	if !e.Mentions("lots/M11", "lots/M10") || e.Mentions("lots/M11", "") || e.Size() != proto.Size(d.Record) {
		t.Error("the record mentions lots/M10 and nothing else of these")
	}
}

func TestTheSameIDIsKeptOnce(t *testing.T) {
	o := In(t.TempDir())
	d := draft(1)
	keep(t, o, d)
	d.New = false
	if r := keep(t, o, d); r.Known[0] == nil || r.Known[0].ID != d.ID || r.Count.Waiting != 1 {
		t.Errorf("again: %+v", r)
	}
	other := draft(2)
	other.ID, other.New = d.ID, false
	// All or none: the third is not kept for its neighbour's sake.
	if _, err := o.Keep(draft(3), other); err == nil || !strings.HasPrefix(err.Error(), "not kept: the id ") {
		t.Errorf("with other content: %v", err)
	}
	want(t, o, "1 waiting", Count{Waiting: 1})
}

func TestWhatTheServerSaid(t *testing.T) {
	o := In(t.TempDir())
	keep(t, o, draft(1), draft(2), draft(3), draft(4))
	refusal := &pb.Refusal{Message: "lot \"M10\" is not known"}
	later := began.Add(time.Hour)
	if c, err := o.Answered([]Answer{{ID: draft(1).ID}, {ID: draft(2).ID, Refusal: refusal}, {ID: draft(3).ID, Refusal: refusal}}, later); err != nil || c != (Count{1, 2}) {
		t.Fatalf("%+v, %v", c, err)
	}
	want(t, o, "1 delivered, 2 refused, 3 refused, 4 waiting", Count{1, 2})
	if e := read(t, o)[1]; !proto.Equal(e.Refusal, refusal) || !e.StateAt.Equal(later) {
		t.Errorf("refused: %+v", e)
	}

	// Only what was refused is withdrawn, sent again or replaced.
	for _, n := range []int{1, 4} {
		if _, err := o.Withdraw(draft(n).ID, "not needed", later); err == nil {
			t.Errorf("%d was withdrawn", n)
		}
		if _, err := o.Again([]uuid.UUID{draft(n).ID}, later); err == nil {
			t.Errorf("%d is to be sent again", n)
		}
		d := draft(9)
		d.Replaces = draft(n).ID
		if _, err := o.Keep(d); err == nil {
			t.Errorf("%d was replaced", n)
		}
	}
	if _, err := o.Withdraw(draft(2).ID, "not needed", later); err != nil {
		t.Fatal(err)
	}
	if _, err := o.Again([]uuid.UUID{draft(3).ID}, later); err != nil {
		t.Fatal(err)
	}
	want(t, o, "1 delivered, 2 withdrawn, 3 waiting, 4 waiting", Count{2, 0})
	if e := read(t, o)[1]; e.Reason != "not needed" || e.Refusal == nil {
		t.Errorf("withdrawn: %+v", e)
	}
	if _, err := o.Answered([]Answer{{ID: draft(3).ID, Refusal: refusal}}, later); err != nil {
		t.Fatal(err)
	}
	mended := draft(5)
	mended.Replaces = draft(3).ID
	if r := keep(t, o, mended); r.Count != (Count{2, 0}) {
		t.Errorf("mended: %+v", r)
	}
	want(t, o, "1 delivered, 2 withdrawn, 3 replaced, 4 waiting, 5 waiting", Count{2, 0})
	list := read(t, o)
	if list[2].ReplacedBy != mended.ID || list[4].Replaces != draft(3).ID {
		t.Errorf("replaced by %s, replaces %s", list[2].ReplacedBy, list[4].Replaces)
	}
	// A late word about what is settled changes nothing.
	if _, err := o.Answered([]Answer{{ID: draft(2).ID}, {ID: draft(1).ID, Refusal: refusal}}, later); err != nil {
		t.Fatal(err)
	}
	want(t, o, "1 delivered, 2 withdrawn, 3 replaced, 4 waiting, 5 waiting", Count{2, 0})
}

func TestWhatTheServerTookAtOnceIsNoted(t *testing.T) {
	o := In(t.TempDir())
	for range 2 {
		if err := o.Note(draft(1)); err != nil {
			t.Fatal(err)
		}
	}
	want(t, o, "1 delivered", Count{})
}

// Any number of processes share a folder: here each has a lock of its own, as
// processes have.
func TestSeveralWritersShareAFolder(t *testing.T) {
	folder := t.TempDir()
	var all sync.WaitGroup
	for w := range 4 {
		all.Go(func() {
			for i := range 10 {
				if _, err := In(folder).Keep(draft(100*w + i)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	o := In(folder)
	list := read(t, o)
	if len(list) != 40 || len(o.Damage()) != 0 {
		t.Fatalf("%d entries of 40", len(list))
	}
	for w := range 4 {
		// Each writer's own order stands.
		last := -1
		for i := range 10 {
			at := slices.IndexFunc(list, func(e *Entry) bool { return e.ID == draft(100*w+i).ID })
			if at <= last {
				t.Fatalf("entry %d of writer %d stands at %d", i, w, at)
			}
			last = at
		}
	}
}

func TestOneSendsAtATime(t *testing.T) {
	o := In(t.TempDir())
	release, alone, err := o.LockSending()
	if err != nil || !alone {
		t.Fatalf("alone: %t, %v", alone, err)
	}
	if _, second, err := In(o.Folder()).LockSending(); second || err != nil {
		t.Errorf("a second sends too: %v", err)
	}
	keep(t, o, draft(1)) // entries are kept meanwhile
	release()
	if again, alone, err := In(o.Folder()).LockSending(); err != nil || !alone {
		t.Errorf("after the first has ended: %t, %v", alone, err)
	} else {
		again()
	}
}

func TestAFailedTryIsRemembered(t *testing.T) {
	o := In(t.TempDir())
	if _, _, failed := o.FailedSince(); failed {
		t.Error("nobody tried")
	}
	o.MarkFailed(began, "it is another program")
	if at, why, failed := o.FailedSince(); !failed || !at.Equal(began) || why != "it is another program" {
		t.Errorf("failed %t at %s: %q", failed, at, why)
	}
	o.MarkReached()
	if _, _, failed := o.FailedSince(); failed {
		t.Error("it was reached since")
	}
	for _, ahead := range []time.Duration{-26 * time.Hour, 6*time.Minute + time.Millisecond, 0} {
		if o.MarkClock(ahead); o.ClockAhead() != ahead {
			t.Errorf("the clock is %s ahead, expected %s", o.ClockAhead(), ahead)
		}
	}
}

func TestWhatIsSettledIsDroppedInTime(t *testing.T) {
	o := In(t.TempDir())
	o.compactAbove = 1 << 14
	var drafts []Draft
	var answers []Answer
	const settled = journal + 500
	for n := range settled {
		drafts, answers = append(drafts, draft(n)), append(answers, Answer{ID: draft(n).ID})
	}
	refusedOne, waiting := draft(settled), draft(settled+1)
	keep(t, o, refusedOne)
	keep(t, o, drafts...)
	keep(t, o, waiting)
	if _, err := o.Answered([]Answer{{ID: refusedOne.ID, Refusal: &pb.Refusal{Message: "no"}}}, began); err != nil {
		t.Fatal(err)
	}
	before := size(t, o)
	if _, err := o.Answered(answers, began); err != nil {
		t.Fatal(err)
	}
	// 1,500 of 1,502 are settled, and 1,000 of these stay: less than half can go.
	if n := len(read(t, o)); n != settled+2 {
		t.Errorf("%d entries; nothing is dropped while more than half would stay", n)
	}
	drafts, answers = nil, nil
	for n := range 2 * journal {
		d := draft(10_000 + n)
		drafts, answers = append(drafts, d), append(answers, Answer{ID: d.ID})
	}
	keep(t, o, drafts...)
	if _, err := o.Answered(answers, began); err != nil {
		t.Fatal(err)
	}
	list := read(t, In(o.Folder()))
	if len(list) != journal+2 || list[0].ID != refusedOne.ID || list[0].State != Refused || list[1].ID != waiting.ID || list[1].State != Waiting {
		t.Fatalf("%d entries, first %+v", len(list), list[0])
	}
	if last := list[len(list)-1]; last.ID != drafts[len(drafts)-1].ID || last.State != Delivered {
		t.Errorf("the last is %+v", last)
	}
	if after := size(t, o); after > before {
		t.Errorf("the file has %d bytes, and had %d", after, before)
	}
	if got, err := o.Count(); err != nil || got != (Count{1, 1}) {
		t.Errorf("count %+v, %v", got, err)
	}
	keep(t, o, draft(1))
	if left, err := filepath.Glob(filepath.Join(o.Folder(), "*.new")); err != nil || len(left) > 0 {
		t.Errorf("left over: %v, %v", left, err)
	}
}

func size(t *testing.T, o *Outbox) int64 {
	t.Helper()
	info, err := os.Stat(o.path(entriesFile))
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}

func TestAFileOfALaterFormatIsLeftAlone(t *testing.T) {
	o := In(t.TempDir())
	keep(t, o, draft(1))
	data, err := os.ReadFile(o.path(entriesFile))
	if err != nil {
		t.Fatal(err)
	}
	later := laterHead(data)
	if err := os.WriteFile(o.path(entriesFile), later, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := o.Keep(draft(2)); !errors.Is(err, errNewer) {
		t.Errorf("it gave %v", err)
	}
	if now, err := os.ReadFile(o.path(entriesFile)); err != nil || !slices.Equal(now, later) {
		t.Errorf("the file was changed: %v", err)
	}
}
