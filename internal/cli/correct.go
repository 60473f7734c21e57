package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// correctionOptions are the flags of a correction itself, apart from those of the
// record that replaces the mistaken one.
type correctionOptions struct {
	reason        string
	entry         entryOptions
	replacementID string
}

func (o *correctionOptions) flags(f *fields) {
	f.text(&o.reason, "reason", "reason", "why the record is mistaken")
	f.moment(&o.entry.at, "corrected-at", "", "when the mistake was mended; now when not given")
	f.bind("id", "name", "UUID", "the correction's id, a UUIDv7; made when not given", idInto(&o.entry.id))
}

// correctFlag is a flag of correct that was given: what it is depends on the kind
// of the record, which is only known once that was read.
type correctFlag struct{ name, text string }

func (a *app) correctCommand() *cobra.Command {
	var o correctionOptions
	var given []correctFlag
	cmd := a.command("correct RECORD", "Replace a mistaken record by a corrected one",
		"RECORD is the record's id. It is read again, what the flags say is changed (an\n"+
			"empty text takes back what it said), and the whole is kept as a new record\n"+
			"together with the correction. Both stay readable; every figure counts the new one. --at, --device, --note,\n"+
			"--offline and --reported-by are those of the new record; --person is who corrects.\n\n"+correctableText())
	cmd.Example = "  trackctl correct 019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0 --fasteners 11 --reason \"counted again\""
	f := newFields(cmd)
	o.flags(f)
	f.bind("replacement-id", "", "UUID", "the new record's id, a UUIDv7; made when not given", idInto(&o.replacementID))
	for _, field := range correctableFlags() {
		f.bind(field.Name, "", "VALUE", field.Usage, func(text string) error {
			given = append(given, correctFlag{field.Name, text})
			return nil
		})
		if field.NoOptDefVal != "" {
			cmd.Flags().Lookup(field.Name).NoOptDefVal = field.NoOptDefVal
		}
	}
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if err := f.require("reason"); err != nil {
			return err
		}
		if len(given) == 0 {
			return usage("%s needs a flag that says what holds instead; to take the record back altogether, use trackctl withdraw", cmd.CommandPath())
		}
		return a.correct(ctx, args[0], f, &o, given)
	})
}

func (a *app) correct(ctx context.Context, typed string, f *fields, o *correctionOptions, given []correctFlag) error {
	k, mistaken, err := a.findMistaken(ctx, typed, true)
	if err != nil {
		return err
	}
	if k.replacement == nil {
		return usage("a %s can only be withdrawn; use trackctl withdraw", ledger.RecordKinds.Name(k.kind))
	}
	fresh, names, err := replaced(k, mistaken, given)
	if err != nil {
		return err
	}
	if o.replacementID == "" {
		id, err := a.newID()
		if err != nil {
			return &failure{code: exitInternal, message: fmt.Sprintf("no id can be made: %v", err)}
		}
		o.replacementID = id.String()
	}
	setString(fresh, "name", k.collection+"/"+o.replacementID)
	for field, flag := range f.names() {
		names[field] = flag
	}
	correction := &pb.Correction{}
	k.replacement.with(correction, fresh)
	return a.sendCorrection(ctx, k, mistaken, correction, o, names)
}

// replaced makes the record that holds instead: the mistaken one with the flags
// applied. The names give the flag of each of its fields.
func replaced(k *recordKind, mistaken record, given []correctFlag) (record, map[string]string, error) {
	fresh := proto.Clone(mistaken).(record)
	forgetAssigned(fresh)
	before := proto.Clone(fresh)
	kindFields, finish := bindReplacement(k, fresh)
	flags := kindFields.cmd.Flags()
	for _, g := range given {
		if flags.Lookup(g.name) == nil {
			return nil, nil, usage("--%s: a %s has none; it has %s", g.name, ledger.RecordKinds.Name(k.kind), strings.Join(dashed(kindFields.order), ", "))
		}
		if g.text == "" {
			clearField(fresh, kindFields.paths[g.name])
			continue
		}
		if err := flags.Set(g.name, g.text); err != nil {
			return nil, nil, flagProblem(kindFields.cmd, err)
		}
	}
	finish()
	if proto.Equal(before, fresh) {
		return nil, nil, usage("the flags say what the %s says already: nothing would be different", ledger.RecordKinds.Name(k.kind))
	}
	return fresh, kindFields.names(), nil
}

// bindReplacement binds the flags of a record of the kind to r.
func bindReplacement(k *recordKind, r record) (*fields, func()) {
	f := newFields(&cobra.Command{Use: "correct"})
	finish := k.replacement.fields(f, r)
	e := r.GetEntry()
	f.bind("at", "entry.occur_time", "TIME", "when it happened", func(text string) error {
		t, err := csvfile.ParseTime(text)
		if err != nil {
			return err
		}
		_, seconds := t.Zone()
		e.OccurTime, e.UtcOffsetMinutes = timestamppb.New(t), int32(seconds/60)
		return nil
	})
	f.resource(&e.Person, "people", "reported-by", "entry.person", "PERSON", "who reported it")
	f.text(&e.Device, "device", "entry.device", "name of the device that it was entered on")
	f.text(&e.Note, "note", "entry.note", "free text")
	f.boolean(&e.Offline, "offline", "entry.offline", "it came late from paper or from a device without signal")
	return f, finish
}

// forgetAssigned empties what the server gives: the replacement gets its own.
func forgetAssigned(r record) {
	setString(r, "name", "")
	setString(r, "specification", "")
	if c, isCalibration := r.(*pb.Calibration); isCalibration {
		c.Site, c.Verdict = "", nil
	}
	if i, isIncident := r.(*pb.Incident); isIncident && i.GetJoint() != "" {
		i.Site = ""
	}
	e := r.GetEntry()
	e.ReceiveTime, e.ChainSequence, e.ChainLink, e.CorrectedBy = nil, 0, nil, ""
}

func setString(r record, field protoreflect.Name, value string) {
	m := r.ProtoReflect()
	if f := m.Descriptor().Fields().ByName(field); f != nil {
		m.Set(f, protoreflect.ValueOfString(value))
	}
}

// clearField empties the field at a path: a flag with an empty text takes back
// what the record says there.
func clearField(r record, path string) {
	m := r.ProtoReflect()
	if rest, ok := strings.CutPrefix(path, "entry."); ok {
		m, path = r.GetEntry().ProtoReflect(), rest
	}
	fields := m.Descriptor().Fields()
	for _, name := range []string{path, strings.TrimSuffix(path, "newton_metres") + "as_typed"} {
		if f := fields.ByName(protoreflect.Name(name)); f != nil {
			m.Clear(f)
		}
	}
}

func (a *app) withdrawCommand() *cobra.Command {
	var o correctionOptions
	cmd := a.command("withdraw RECORD", "Take back a record that should not have been made",
		"RECORD is the record's id. It stays readable; no figure counts it any more.")
	cmd.Example = "  trackctl withdraw 019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0 --reason \"entered twice\""
	f := newFields(cmd)
	o.flags(f)
	f.text(&o.entry.note, "note", "entry.note", "free text")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if err := f.require("reason"); err != nil {
			return err
		}
		k, mistaken, err := a.findMistaken(ctx, args[0], false)
		if err != nil {
			return err
		}
		return a.sendCorrection(ctx, k, mistaken, &pb.Correction{}, &o, f.names())
	})
}

func (a *app) sendCorrection(ctx context.Context, k *recordKind, mistaken record, c *pb.Correction, o *correctionOptions, names map[string]string) error {
	id, entry, err := a.entry(ctx, &o.entry, true)
	if err != nil {
		return err
	}
	c.Name, c.Corrects, c.Reason, c.Entry = "corrections/"+id, mistaken.GetName(), o.reason, entry
	names["corrects"] = "RECORD"
	what := ledger.RecordKinds.Name(k.kind) + " " + ledger.ShortName(mistaken.GetName())
	s := sent{kind: ledger.KindCorrection, id: id, replacement: o.replacementID, names: names, joint: jointOf(mistaken)}
	s.summary = sentence("withdrawn: "+what, o.reason)
	if o.replacementID != "" {
		s.summary = sentence("corrected: "+what, "replaced by "+o.replacementID, o.reason)
	}
	box, first, err := a.outboxFor(siteOfRecord(mistaken))
	if err != nil {
		return err
	}
	if first {
		if err := a.mayCorrect(k, mistaken.GetName()); err != nil && o.entry.made {
			return err
		}
		return a.keepHere(ctx, box, s, &o.entry, []record{c})
	}
	conn, err := a.dial()
	if err != nil {
		return err
	}
	outcomes, err := outcomesOf(pb.NewControlServiceClient(conn).RecordCorrections(ctx, &pb.RecordCorrectionsRequest{Corrections: []*pb.Correction{c}}))
	if err != nil {
		return a.unsureCorrection(err, o, names)
	}
	a.noteDirect(box, s, []record{c}, outcomes)
	err = a.tellOutcome(s, outcomes)
	var f *failure
	if errors.As(err, &f) && mistaken.GetEntry().GetCorrectedBy() != "" {
		f.lines = append(f.lines, "RECORD: corrected already by "+mistaken.GetEntry().GetCorrectedBy()+", which record show shows")
	}
	return err
}

// unsureCorrection is unsure for a correction, whose flags are others.
func (a *app) unsureCorrection(err error, o *correctionOptions, names map[string]string) error {
	f := a.callFailure(err, names)
	switch f.code {
	case exitUnavailable, exitTryAgain, exitInterrupted, exitInternal:
		line := "to send it again without keeping it twice, add: --id " + o.entry.id + " --corrected-at " + o.entry.at.Format(time.RFC3339Nano)
		if o.replacementID != "" {
			line += " --replacement-id " + o.replacementID
		}
		f.lines = append(f.lines, line)
	}
	return a.withoutData(f)
}

// jointOf is the joint of a record as people write it; empty when it has none.
func jointOf(r record) string {
	if j, ok := r.(interface{ GetJoint() string }); ok {
		return ledger.ShortName(j.GetJoint())
	}
	return ""
}

// correctableFlags are the flags of all kinds that can be replaced, each once.
func correctableFlags() []*flag {
	var flags []*flag
	seen := map[string]*flag{}
	for _, k := range recordKinds() {
		if k.replacement == nil {
			continue
		}
		for _, f := range replacementFlags(k) {
			if have := seen[f.Name]; have != nil {
				if !strings.Contains(have.Usage, f.Usage) {
					have.Usage += "; or " + f.Usage
				}
				continue
			}
			seen[f.Name] = f
			flags = append(flags, f)
		}
	}
	return flags
}

// replacementFlags are the flags that a record of the kind is replaced with.
func replacementFlags(k *recordKind) []*flag {
	blank := k.blank()
	f, _ := bindReplacement(k, blank)
	var flags []*flag
	for _, name := range f.order {
		flags = append(flags, f.cmd.Flags().Lookup(name))
	}
	return flags
}

// correctableText lists the flags by kind.
func correctableText() string {
	lines := []string{"Flags by kind, besides --at, --reported-by, --device, --note\nand --offline:"}
	for _, k := range recordKinds() {
		if k.replacement == nil {
			continue
		}
		var names []string
		for _, f := range replacementFlags(k) {
			if !slices.Contains([]string{"at", "reported-by", "device", "note", "offline"}, f.Name) {
				names = append(names, "--"+f.Name)
			}
		}
		lines = append(lines, output.Wrap("  "+ledger.RecordKinds.Name(k.kind)+": "+strings.Join(names, " ")))
	}
	return strings.Join(lines, "\n")
}

func dashed(names []string) []string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = "--" + n
	}
	return out
}

func correctionColumns() []output.Column[*pb.Correction] {
	type correction = *pb.Correction
	columns := idColumns[correction]()
	return append(append(columns, []output.Column[correction]{
		{Name: "corrects", Heading: "CORRECTS", Value: func(c correction) any { return c.GetCorrects() }},
		{Name: "replacement", Value: func(c correction) any { return text(replacementName(c)) }},
		{Heading: "BY", Text: func(c correction) string {
			if replacementName(c) == "" {
				return "withdrawn"
			}
			return "replaced"
		}},
		{Name: "reason", Heading: "REASON", Value: func(c correction) any { return text(c.GetReason()) }},
	}...), entryColumns[correction]()...)
}

// replacementName is the resource name of what replaces the mistaken record;
// empty when it was withdrawn.
func replacementName(c *pb.Correction) string {
	m := c.ProtoReflect()
	f := m.WhichOneof(m.Descriptor().Oneofs().ByName("replacement"))
	if f == nil {
		return ""
	}
	return m.Get(f).Message().Interface().(record).GetName()
}

// idInto reads a UUIDv7.
func idInto(dst *string) func(string) error {
	return func(text string) error {
		id, err := uuid.Parse(text)
		if err != nil || id.Version() != 7 {
			return fmt.Errorf("expected a UUIDv7, got %s", csvfile.Quote(text))
		}
		*dst = id.String()
		return nil
	}
}
