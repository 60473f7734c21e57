package cli

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// entryOptions are the flags of every record.
type entryOptions struct {
	at               time.Time
	device, note, id string
}

func (o *entryOptions) flags(f *fields) {
	f.moment(&o.at, "at", "entry.occur_time", "when it happened; now when not given")
	f.text(&o.device, "device", "entry.device", "name of the device that it is entered on")
	f.text(&o.note, "note", "entry.note", "free text")
	f.bind("id", "name", "UUID", "the record's id, a UUIDv7; made when not given. The same id with the same content is kept once", func(text string) error {
		id, err := uuid.Parse(text)
		if err != nil || id.Version() != 7 {
			return fmt.Errorf("expected a UUIDv7, got %q", text)
		}
		o.id = id.String()
		return nil
	})
}

// entry completes what was not given: a new id, now, the person of the settings.
func (a *app) entry(o *entryOptions, personRequired bool) (id string, entry *pb.Entry, err error) {
	if a.settings.person == "" && personRequired {
		return "", nil, usage("expected who reports it: --person, or %s in the environment", envPerson)
	}
	if o.at.IsZero() {
		// As fine as the server keeps it, so that typing it again is the same time.
		o.at = a.now().Truncate(time.Microsecond)
	}
	if o.id == "" {
		made, err := a.newID()
		if err != nil {
			return "", nil, &failure{code: exitInternal, message: fmt.Sprintf("no id can be made: %v", err)}
		}
		o.id = made.String()
	}
	_, seconds := o.at.Zone()
	entry = &pb.Entry{OccurTime: timestamppb.New(o.at), UtcOffsetMinutes: int32(seconds / 60), Device: o.device, Note: o.note}
	if a.settings.person != "" {
		entry.Person = "people/" + a.settings.person
	}
	return o.id, entry, nil
}

// occurred is when a record's event was, on the clock that was read.
func occurred(e *pb.Entry) time.Time {
	if e.GetOccurTime() == nil {
		return time.Time{}
	}
	return e.GetOccurTime().AsTime().In(time.FixedZone("", int(e.GetUtcOffsetMinutes())*60))
}

// entryColumns are the columns that every record ends with.
func entryColumns[T interface{ GetEntry() *pb.Entry }]() []output.Column[T] {
	return []output.Column[T]{
		{Name: "person", Value: func(t T) any { return text(ledger.ShortName(t.GetEntry().GetPerson())) }},
		{Name: "device", Value: func(t T) any { return text(t.GetEntry().GetDevice()) }},
		{Name: "note", Value: func(t T) any { return text(t.GetEntry().GetNote()) }},
		{Name: "received_at", Value: func(t T) any { return when(t.GetEntry().GetReceiveTime()) }},
		{Name: "chain_sequence", Value: func(t T) any { return t.GetEntry().GetChainSequence() }},
		{Name: "chain_link", Value: func(t T) any { return text(fmt.Sprintf("%x", t.GetEntry().GetChainLink())) }},
	}
}

// idColumns are the columns that every record begins with.
func idColumns[T interface {
	GetName() string
	GetEntry() *pb.Entry
}]() []output.Column[T] {
	return []output.Column[T]{
		{Name: "id", Value: func(t T) any { return ledger.ShortName(t.GetName()) }},
		{Name: "at", Heading: "AT", Value: func(t T) any { return occurred(t.GetEntry()) }},
	}
}

// answer tells what became of one record.
type answer struct{ record, id, state, summary string }

func answerColumns() []output.Column[answer] {
	return []output.Column[answer]{
		{Name: "record", Value: func(o answer) any { return o.record }},
		{Name: "id", Value: func(o answer) any { return o.id }},
		{Name: "state", Value: func(o answer) any { return o.state }},
	}
}

// tellOutcome answers for one record that was sent: in one line for a person.
func (a *app) tellOutcome(kind ledger.RecordKind, id, summary string, outcomes []*pb.Outcome, names map[string]string) error {
	if len(outcomes) != 1 {
		return &failure{code: exitInternal, message: fmt.Sprintf("the server answered for %d records of 1", len(outcomes))}
	}
	o := answer{ledger.RecordKinds.Name(kind), id, "taken", summary}
	word := "kept"
	switch outcomes[0].GetState() {
	case pb.Outcome_STATE_TAKEN:
	case pb.Outcome_STATE_ALREADY_KNOWN:
		o.state, word = "already-known", "already known"
	default:
		return refused(outcomes[0].GetRefusal(), names)
	}
	if a.format == output.Table {
		_, err := fmt.Fprintf(a.out, "%s: %s  (id %s)\n", word, output.Printable(summary), id)
		return err
	}
	return output.Show(a.config(), "outcomes", answerColumns(), o)
}

// unsure adds to the failure of a call whose effect is not known how to send the
// record again without keeping it twice.
func (a *app) unsure(err error, o *entryOptions, names map[string]string) error {
	f := a.callFailure(err, names)
	switch f.code {
	case exitUnavailable, exitTryAgain, exitInterrupted, exitInternal:
		f.lines = append(f.lines, "to send it again without keeping it twice, add: --id "+o.id+" --at "+o.at.Format(time.RFC3339Nano))
	}
	return f
}

// sentence joins the parts that are there.
func sentence(parts ...string) string {
	var given []string
	for _, p := range parts {
		if p != "" {
			given = append(given, p)
		}
	}
	return strings.Join(given, ", ")
}
