package cli

import (
	"context"
	"fmt"
	"slices"
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
	offline          bool
	// made says that the id was made here: nobody can have used it before.
	made bool
	// again is the entry of a record whose id was typed without a time: should the
	// record be known, its time is taken (entry_again.go). Nil otherwise.
	again *pb.Entry
}

func (o *entryOptions) flags(f *fields) {
	f.moment(&o.at, "at", "entry.occur_time", "when it happened; now when not given")
	f.text(&o.device, "device", "entry.device", "name of the device that it is entered on")
	f.text(&o.note, "note", "entry.note", "free text")
	f.boolean(&o.offline, "offline", "entry.offline", "it comes late from paper or from a device without signal: its age is no fault of a clock")
	f.bind("id", "name", "UUID", "the record's id, a UUIDv7; made when not given. The same id with the same content is kept once", idInto(&o.id))
}

// entry completes what was not given: a new id, now, the person of the settings.
func (a *app) entry(ctx context.Context, o *entryOptions, personRequired bool) (id string, entry *pb.Entry, err error) {
	if err := a.findPerson(ctx, personRequired); err != nil {
		return "", nil, err
	}
	timeless := o.id != "" && o.at.IsZero()
	if o.at.IsZero() {
		// As fine as the server keeps it, so that typing it again is the same time.
		o.at = a.now().Truncate(time.Microsecond)
	}
	if o.id == "" {
		made, err := a.newID()
		if err != nil {
			return "", nil, &failure{code: exitInternal, message: fmt.Sprintf("no id can be made: %v", err)}
		}
		o.id, o.made = made.String(), true
	}
	_, seconds := o.at.Zone()
	entry = &pb.Entry{OccurTime: timestamppb.New(o.at), UtcOffsetMinutes: int32(seconds / 60), Device: o.device, Note: o.note, Offline: o.offline}
	if a.settings.person != "" {
		entry.Person = "people/" + a.settings.person
	}
	if timeless {
		o.again = entry
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
func entryColumns[T interface {
	GetName() string
	GetEntry() *pb.Entry
}]() []output.Column[T] {
	return []output.Column[T]{
		{Name: "person", Heading: "PERSON", Value: func(t T) any { return text(ledger.ShortName(t.GetEntry().GetPerson())) }},
		{Name: "device", Value: func(t T) any { return text(t.GetEntry().GetDevice()) }},
		{Name: "note", Value: func(t T) any { return text(t.GetEntry().GetNote()) }},
		{Name: "offline", Value: func(t T) any { return t.GetEntry().GetOffline() }},
		{Name: "received_at", Value: func(t T) any { return when(t.GetEntry().GetReceiveTime()) }},
		{Name: "chain_sequence", Value: func(t T) any { return t.GetEntry().GetChainSequence() }},
		{Name: "chain_link", Value: func(t T) any { return text(fmt.Sprintf("%x", t.GetEntry().GetChainLink())) }},
		{Name: "corrected_by", Value: func(t T) any { return text(ledger.ShortName(t.GetEntry().GetCorrectedBy())) }},
		{Heading: "CORRECTED", Text: func(t T) string { return correctedMark(t.GetEntry()) }},
		{Heading: "ID", Text: func(t T) string { return ledger.ShortName(t.GetName()) }},
	}
}

// correctedMark marks a record that a correction withdrew or replaced.
func correctedMark(e *pb.Entry) string {
	if e.GetCorrectedBy() == "" {
		return ""
	}
	return "corrected"
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
type answer struct {
	sent
	state    string
	findings []*pb.Finding
	// dataOf is when the carried data was made by which the findings were made on this
	// device; zero for those of the server.
	dataOf time.Time
	// filled is what of it came from what is kept for the shift.
	filled []filled
	// computed is the calibration as it is kept; nil for another record.
	computed *pb.Calibration
}

func answerColumns(s sent) []output.Column[answer] {
	columns := []output.Column[answer]{
		{Name: "record", Value: func(o answer) any { return ledger.RecordKinds.Name(o.kind) }},
		{Name: "id", Value: func(o answer) any { return o.id }},
		{Name: "state", Value: func(o answer) any { return o.state }},
	}
	if s.replacement != "" {
		columns = append(columns, output.Column[answer]{Name: "replacement_id", Value: func(o answer) any { return o.replacement }})
	}
	if s.calibration != nil {
		columns = append(columns, output.Column[answer]{Name: "verdict", Value: func(o answer) any {
			if o.computed == nil {
				return nil
			}
			return verdictObject(o.computed.GetVerdict())
		}})
	}
	columns = append(columns, output.Column[answer]{Name: "by_data_of", Value: func(o answer) any {
		if o.dataOf.IsZero() {
			return nil
		}
		return o.dataOf
	}})
	columns = append(columns, output.Column[answer]{Name: "filled_in", Value: func(o answer) any { return filledObject(o.filled) }})
	return append(columns, output.Column[answer]{Name: "findings", Value: func(o answer) any { return findingObjects(o.findings) }})
}

// sent is one record that was sent to be kept.
type sent struct {
	kind ledger.RecordKind
	id   string
	// summary says in a few words what it tells.
	summary string
	// joint is the joint that a finding puts on hold; empty when the record names
	// none.
	joint string
	// replacement is the id of the record that comes with a correction.
	replacement string
	// names gives the flag or argument of each field.
	names map[string]string
	// mends is the entry that was refused and that this record stands for; zero for
	// none.
	mends uuid.UUID
	// remark is what a person should know besides; empty for nothing. after says more,
	// that follows from the findings; nil for a record that needs none.
	remark string
	after  func([]*pb.Finding) string
	// calibration reads back a calibration with the verdict that the server
	// computed; nil for other records.
	calibration func() (*pb.Calibration, error)
}

// remarks are what a person should know besides the findings.
func (s sent) remarks(findings []*pb.Finding) []string {
	lines := given("", s.remark)
	if s.after != nil {
		lines = append(lines, given("", s.after(findings))...)
	}
	return lines
}

// batched is what every answer to a batch of records has.
type batched interface{ GetOutcomes() []*pb.Outcome }

func outcomesOf[T batched](answer T, err error) ([]*pb.Outcome, error) {
	if err != nil {
		return nil, err
	}
	return answer.GetOutcomes(), nil
}

// tellOutcome answers for one record that was sent: in one line for a person, and
// one more for each rule that it breaks.
func (a *app) tellOutcome(s sent, outcomes []*pb.Outcome) error {
	if len(outcomes) != 1 {
		return &failure{code: exitInternal, message: fmt.Sprintf("the server answered for %d records of 1", len(outcomes))}
	}
	o := answer{sent: s, state: "taken", findings: bySeverity(outcomes[0].GetFindings()), filled: a.filled}
	word := "kept"
	switch outcomes[0].GetState() {
	case pb.Outcome_STATE_TAKEN:
	case pb.Outcome_STATE_ALREADY_KNOWN:
		o.state, word = "already-known", "already known"
	default:
		return refused(outcomes[0].GetRefusal(), s.names)
	}
	var verdict []string
	if s.calibration != nil {
		var err error
		if o.computed, err = s.calibration(); err != nil {
			verdict = []string{"the verdict can't be read now: " + a.callFailure(err, nil).message + "; see calibration show " + s.id}
		} else {
			verdict = verdictLines(o.computed)
		}
	}
	if a.format != output.Table {
		return output.Show(a.config(), "outcomes", answerColumns(s), o)
	}
	lines := []string{fmt.Sprintf("%s: %s  (id %s)", word, output.Printable(s.summary), s.id)}
	for _, f := range slices.Concat(findingLines(o), verdict, s.remarks(o.findings), a.filledLines()) {
		lines = append(lines, output.Wrap(output.Printable(f)))
	}
	_, err := fmt.Fprintln(a.out, strings.Join(lines, "\n"))
	return err
}

// unsure adds to the failure of a call whose effect is not known how to send the
// record again without keeping it twice.
func (a *app) unsure(err error, o *entryOptions, names map[string]string) error {
	f := a.callFailure(err, names)
	switch f.code {
	case exitUnavailable, exitTryAgain, exitInterrupted, exitInternal:
		f.lines = append(f.lines, "to send it again without keeping it twice, add: --id "+o.id+" --at "+o.at.Format(time.RFC3339Nano))
	}
	return a.withoutData(f)
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
