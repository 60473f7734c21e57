package outbox

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	pb "jointledger/proto/jointledger/v1"
)

// event is what a frame tells of an entry.
type event struct {
	what what
	id   uuid.UUID
	at   time.Time
	// replaces and summary are told of an entry that is kept; body is its
	// DeliveredRecord, the Refusal of one that was refused, or the reason of one that
	// was withdrawn.
	replaces uuid.UUID
	summary  string
	body     []byte
}

type what byte

// The numbers are in files and never change.
const (
	kept      what = 1
	delivered what = 2
	refused   what = 3
	withdrawn what = 4
	again     what = 5
)

// eventHead is the part that every event has: what, when in microseconds of Unix
// time, and the record's id.
const eventHead = 1 + 8 + 16

func (e event) payload() []byte {
	b := make([]byte, 0, eventHead+16+len(e.summary)+len(e.body)+4)
	b = append(b, byte(e.what))
	b = binary.LittleEndian.AppendUint64(b, uint64(e.at.UnixMicro()))
	b = append(b, e.id[:]...)
	if e.what == kept {
		b = append(b, e.replaces[:]...)
		b = binary.AppendUvarint(b, uint64(len(e.summary)))
		b = append(b, e.summary...)
	}
	return append(b, e.body...)
}

var errEvent = errors.New("the frame tells nothing that is known")

// readEvent reads a payload, whose body it shares. Errors: errEvent for one of
// another form.
func readEvent(payload []byte) (event, error) {
	if len(payload) < eventHead {
		return event{}, errEvent
	}
	e := event{what: what(payload[0]), at: time.UnixMicro(int64(binary.LittleEndian.Uint64(payload[1:]))), id: uuid.UUID(payload[9:25]), body: payload[eventHead:]}
	switch e.what {
	case delivered, refused, withdrawn, again:
		return e, nil
	case kept:
	default:
		return event{}, errEvent
	}
	if len(e.body) < 16 {
		return event{}, errEvent
	}
	e.replaces, e.body = uuid.UUID(e.body[:16]), e.body[16:]
	n, used := binary.Uvarint(e.body)
	if used <= 0 || n > uint64(len(e.body)-used) {
		return event{}, errEvent
	}
	e.summary, e.body = string(e.body[used:used+int(n)]), e.body[used+int(n):]
	return e, nil
}

// Draft is a record that is to be kept.
type Draft struct {
	// ID is the record's own; Record is the record.
	ID     uuid.UUID
	Record *pb.DeliveredRecord
	// At is when it is kept, by the device's clock.
	At time.Time
	// Summary says in a few words what it tells.
	Summary string
	// Replaces is the entry that was refused and is mended by this one; zero for none.
	Replaces uuid.UUID
	// New says that the id was made just now: nothing of it can be here yet.
	New bool
}

func (d Draft) event() (event, error) {
	// The same bytes on every resend, whatever this program becomes meanwhile: they
	// are stored, not made again.
	body, err := body(d.Record)
	if err != nil {
		return event{}, fmt.Errorf("not kept: the record can't be written: %w", err)
	}
	e := event{what: kept, id: d.ID, at: d.At, replaces: d.Replaces, summary: d.Summary, body: body}
	if n := len(body) + len(d.Summary); n > maxPayload-eventHead-32 {
		return event{}, fmt.Errorf("not kept: the record has %d bytes, more than any that the server takes", n)
	}
	return e, nil
}
