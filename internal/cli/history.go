package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) historyCommand() *cobra.Command {
	cmd := a.command("history [JOINT]", "Everything on record about one joint, in the order in which it happened",
		"Records that were corrected are marked and stay in their place.\n\nJOINT: "+placeHelp+"\n\n"+caution)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		joint, err := a.placeAsked(args, 4)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := pb.NewProgressServiceClient(conn).GetJointHistory(ctx, &pb.GetJointHistoryRequest{Joint: joint.Resource()})
		if err != nil {
			return err
		}
		return a.tellHistory(got)
	})
}

// historyItem is one record of a history with its kind.
type historyItem struct {
	kind        *recordKind
	record      record
	findings    []*pb.Finding
	attachments []*pb.AttachmentInfo
}

// historyItems finds the kind of each record.
func historyItems(items []*pb.HistoryItem) ([]historyItem, error) {
	kinds := recordKinds()
	var out []historyItem
	for _, item := range items {
		m := item.ProtoReflect()
		f := m.WhichOneof(m.Descriptor().Oneofs().ByName("record"))
		if f == nil {
			return nil, &failure{code: exitInternal, message: "the server gave a record of a kind that this trackctl does not know; it is older than the server"}
		}
		r := m.Get(f).Message().Interface().(record)
		k, err := kindOfRecord(kinds, r)
		if err != nil {
			return nil, err
		}
		out = append(out, historyItem{k, r, bySeverity(item.GetFindings()), item.GetAttachments()})
	}
	return out, nil
}

// kindOfRecord finds the kind whose records are of the message's type.
func kindOfRecord(kinds []*recordKind, r record) (*recordKind, error) {
	for _, k := range kinds {
		if k.blank().ProtoReflect().Descriptor() == r.ProtoReflect().Descriptor() {
			return k, nil
		}
	}
	return nil, &failure{code: exitInternal, message: fmt.Sprintf("there is no kind of record for a %s", r.ProtoReflect().Descriptor().Name())}
}

func (a *app) tellHistory(got *pb.GetJointHistoryResponse) error {
	items, err := historyItems(got.GetItems())
	if err != nil {
		return err
	}
	if a.format != output.Table {
		w, err := output.New(a.config(), "items", historyColumns())
		if err != nil {
			return err
		}
		for _, i := range items {
			if err := w.Row(i); err != nil {
				return err
			}
		}
		return w.Close(output.Note{Key: "joint", Value: output.ObjectOf(jointStatusColumns(nil), got.GetStatus())}, torqueCaution())
	}
	var lines []string
	for _, i := range items {
		lines = append(lines, i.lines()...)
	}
	if len(items) == 0 {
		lines = []string{"nothing is on record yet"}
	}
	lines = append(lines, "")
	for _, l := range append(lines, append(statusNote(got.GetStatus()).Text, torqueCaution().Text...)...) {
		if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(l))); err != nil {
			return err
		}
	}
	return nil
}

// statusNote says in a sentence how a joint stands.
func statusNote(s *pb.JointStatus) output.Note {
	text := fmt.Sprintf("%s is %s, %d of %s tightened", ledger.ShortName(s.GetJoint().GetName()), wordOf(ledger.JointStates, s.GetState()),
		s.GetTightened(), counted(int(s.GetJoint().GetFasteners()), "fastener"))
	n := output.Note{Text: []string{text}}
	for _, h := range s.GetOpenHolds() {
		n.Text = append(n.Text, heldSince(h, ""))
	}
	return n
}

func historyColumns() []output.Column[historyItem] {
	return []output.Column[historyItem]{
		{Name: "record", Value: func(i historyItem) any { return ledger.RecordKinds.Name(i.kind.kind) }},
		{Name: "id", Value: func(i historyItem) any { return ledger.ShortName(i.record.GetName()) }},
		{Name: "at", Value: func(i historyItem) any { return occurred(i.record.GetEntry()) }},
		{Name: "person", Value: func(i historyItem) any { return text(ledger.ShortName(i.record.GetEntry().GetPerson())) }},
		{Name: "summary", Value: func(i historyItem) any { return text(summaryOf(i.record)) }},
		{Name: "corrected_by", Value: func(i historyItem) any { return text(ledger.ShortName(i.record.GetEntry().GetCorrectedBy())) }},
		{Name: "findings", Value: func(i historyItem) any { return findingObjects(i.findings) }},
		{Name: "attachments", Value: func(i historyItem) any { return output.ObjectsOf(attachmentColumns(), i.attachments) }},
		{Name: "content", Value: func(i historyItem) any { return i.kind.object(i.record) }},
	}
}

// lines are the record for a person, and below it what belongs to it.
func (i historyItem) lines() []string {
	e := i.record.GetEntry()
	head := sentence(output.Moment(occurred(e)), ledger.RecordKinds.Name(i.kind.kind), ledger.ShortName(e.GetPerson())) + "  (id " + ledger.ShortName(i.record.GetName()) + ")"
	if e.GetCorrectedBy() != "" {
		head += "  corrected by " + ledger.ShortName(e.GetCorrectedBy())
	}
	lines := []string{head, "  " + summaryOf(i.record)}
	if e.GetNote() != "" {
		lines = append(lines, "  note: "+e.GetNote())
	}
	for _, f := range i.findings {
		lines = append(lines, "  "+findingLine(f))
	}
	for _, t := range i.attachments {
		lines = append(lines, "  attached: "+sentence(t.GetFileName(), t.GetName()))
	}
	return lines
}
