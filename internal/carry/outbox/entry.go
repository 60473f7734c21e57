package outbox

import (
	"bytes"
	"fmt"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	pb "jointledger/proto/jointledger/v1"
)

// State is what became of an entry.
type State uint8

// States.
const (
	// Waiting: the server has not answered for it.
	Waiting State = iota + 1
	// Delivered: the server has it.
	Delivered
	// Refused: the server refused it, and nobody has seen to it.
	Refused
	// Withdrawn: it was refused, and somebody said that it is not needed.
	Withdrawn
	// Replaced: it was refused, and another entry stands in its place.
	Replaced
)

var stateWords = [...]string{Waiting: "waiting", Delivered: "delivered", Refused: "refused", Withdrawn: "withdrawn", Replaced: "replaced"}

// String is the word for the state.
func (s State) String() string {
	if int(s) < len(stateWords) {
		return stateWords[s]
	}
	return fmt.Sprintf("State(%d)", uint8(s))
}

// Settled says that nothing is left to do about an entry.
func (s State) Settled() bool { return s != Waiting && s != Refused }

// Entry is one record as the outbox has it.
type Entry struct {
	ID      uuid.UUID
	KeptAt  time.Time
	Summary string
	State   State
	// StateAt is when it came into that state.
	StateAt time.Time
	// Refusal is why the server refused it; nil when it did not.
	Refusal *pb.Refusal
	// Reason is why it was withdrawn.
	Reason string
	// Replaces and ReplacedBy are the entry that this one mends and the one that
	// mends it; zero for none.
	Replaces, ReplacedBy uuid.UUID

	record []byte
}

// Record reads the record. Errors: when what is stored is not one, which only a
// fault of the program that wrote it can make.
func (e *Entry) Record() (*pb.DeliveredRecord, error) {
	r := &pb.DeliveredRecord{}
	if err := proto.Unmarshal(e.record, r); err != nil {
		return nil, fmt.Errorf("the entry %s can't be read: %w", e.ID, err)
	}
	return r, nil
}

// Size is how many bytes the record has.
func (e *Entry) Size() int { return len(e.record) }

// Mentions says whether one of the names stands in the record, as far as can be
// said without reading it: never false for one that does.
func (e *Entry) Mentions(names ...string) bool {
	for _, n := range names {
		if n != "" && bytes.Contains(e.record, []byte(n)) {
			return true
		}
	}
	return false
}

// Count is how many entries are not settled.
type Count struct{ Waiting, Refused int }

// entries are what the frames come to, in the order in which they were kept.
type entries struct {
	list []*Entry
	byID map[uuid.UUID]*Entry
}

func newEntries(n int) *entries { return &entries{byID: make(map[uuid.UUID]*Entry, n)} }

// apply takes in what a frame tells. What it tells of an entry that is not there is
// passed over: the frame that kept it was damaged, and is set aside.
func (s *entries) apply(e event) {
	have := s.byID[e.id]
	switch {
	case e.what == kept && have == nil:
		n := &Entry{ID: e.id, KeptAt: e.at, Summary: e.summary, State: Waiting, StateAt: e.at, Replaces: e.replaces, record: e.body}
		s.list, s.byID[e.id] = append(s.list, n), n
		if mended := s.byID[e.replaces]; mended != nil && !mended.State.Settled() {
			mended.State, mended.StateAt, mended.ReplacedBy = Replaced, e.at, e.id
		}
	case have == nil || stateAfter(have.State, e.what) == have.State:
	default:
		have.State, have.StateAt = stateAfter(have.State, e.what), e.at
		switch e.what {
		case delivered, again:
			have.Refusal = nil
		case refused:
			have.Refusal = &pb.Refusal{}
			if proto.Unmarshal(e.body, have.Refusal) != nil {
				have.Refusal = &pb.Refusal{Message: "the reason can't be read"}
			}
		case withdrawn:
			have.Reason = string(e.body)
		default: // nothing to do for the others
		}
	}
}

// stateAfter is the state that an entry comes into; what is settled stays so.
func stateAfter(s State, w what) State {
	switch {
	case s.Settled():
	case w == delivered:
		return Delivered
	case w == refused:
		return Refused
	case w == withdrawn && s == Refused:
		return Withdrawn
	case w == again && s == Refused:
		return Waiting
	}
	return s
}

func (s *entries) count() Count {
	var c Count
	for _, e := range s.list {
		switch e.State {
		case Waiting:
			c.Waiting++
		case Refused:
			c.Refused++
		default: // nothing to do for the others
		}
	}
	return c
}
