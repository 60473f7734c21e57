package cli

import (
	"context"
	"fmt"
	"maps"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) pendingMend() *cobra.Command {
	var given []correctFlag
	cmd := a.command("mend ID", "Make an entry anew that the server refused",
		"ID is the id of an entry that the server refused. What the flags say is changed (an\n"+
			"empty text takes back what it said), and the whole is kept as a new entry with an id\n"+
			"of its own, in place of the refused one. Holds, decisions, sign-offs and corrections\n"+
			"are withdrawn and entered again instead.\n\n"+correctableText())
	cmd.Example = "  trackctl pending mend 019cadd3-6bc0-77c9-9e41-58325664ba11 --lot M10-ST-2640C"
	f := newFields(cmd)
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
		if len(given) == 0 {
			return usage("%s needs a flag that says what holds instead; trackctl pending resend sends it again as it is", cmd.CommandPath())
		}
		return a.mend(ctx, args[0], given)
	})
}

func (a *app) mend(ctx context.Context, typed string, given []correctFlag) error {
	box, e, err := a.refusedEntry(typed)
	if err != nil {
		return err
	}
	k, err := kindOfName(e.record.GetName())
	if err != nil {
		return err
	}
	if k.replacement == nil {
		return usage("a %s can't be mended: trackctl pending withdraw %s, and enter it again", ledger.RecordKinds.Name(k.kind), e.ID)
	}
	fresh, names, err := replaced(k, e.record, given)
	if err != nil {
		return err
	}
	id, err := a.newID()
	if err != nil {
		return &failure{code: exitInternal, message: fmt.Sprintf("no id can be made: %v", err)}
	}
	setString(fresh, "name", k.collection+"/"+id.String())
	s := sent{kind: k.kind, id: id.String(), joint: jointOf(fresh), names: names, mends: e.ID, summary: "mended: " + e.Summary}
	if changed := saidOf(given); changed != "" {
		s.summary = sentence("mended: "+strings.TrimPrefix(e.Summary, "mended: "), "now "+changed)
	}
	if c, is := fresh.(*pb.Calibration); is {
		s.calibration = a.calibrationReader(ctx, c.GetName())
	}
	box.MarkReached() // somebody asks for it now
	return a.keepHere(ctx, box, s, &entryOptions{id: s.id, made: true}, []record{fresh})
}

// typedNames gives for each field of a record the flag or argument that it is typed with:
// the flag of pending mend, or that of the command where it can't be mended.
func typedNames(r record) map[string]string {
	names := map[string]string{
		"corrects": "RECORD", "incident": "INCIDENT", "releases": "HOLD", "place": "PLACE", "decision": "--decision", "reason": "--reason",
		"point": "--point", "title": "--title", "lot": "--lot", "tool": "--tool", "site": "--site", "name": "--id",
		"entry.person": "--person", "entry.occur_time": "--at", "entry.device": "--device", "entry.note": "--note", "entry.offline": "--offline",
	}
	if c, ok := r.(*pb.Correction); ok {
		names["entry.occur_time"], names["replacement.entry.occur_time"] = "--corrected-at", "--at"
		if with := replacementOf(c); with != nil {
			r = with
		}
	}
	if k, err := kindOfName(r.GetName()); err == nil && k.replacement != nil {
		f, _ := bindReplacement(k, proto.Clone(r).(record))
		maps.Copy(names, f.names())
	}
	if c, ok := r.(*pb.Calibration); ok {
		pointNames(names, c)
	}
	return names
}

// saidOf tells what was changed, as it was typed.
func saidOf(given []correctFlag) string {
	var parts []string
	for _, g := range given {
		parts = append(parts, strings.TrimSpace(g.name+" "+g.text))
	}
	return strings.Join(parts, ", ")
}
