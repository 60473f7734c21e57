package cli

import (
	"context"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) decideCommand() *cobra.Command {
	var entry entryOptions
	record := &pb.Disposition{}
	cmd := a.command("decide INCIDENT DECISION", "Record what is done about an incident: its disposition",
		"INCIDENT is the id of an incident. DECISION is rework, repair, use-as-is or scrap\n(ISO 9000:2015, 3.12). It takes "+releasers+".")
	cmd.Example = "  trackctl decide 019cadd3-6bc0-77c9-9e41-58325664ba11 rework --reason \"bolt and nut replaced\""
	f := newFields(cmd)
	f.text(&record.Reason, "reason", "reason", "why")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		incident, err := recordArg("INCIDENT", args[0], "incidents")
		if err != nil {
			return err
		}
		decision, err := ledger.Decisions.Parse(args[1])
		if err != nil {
			return usage("DECISION: %v", err)
		}
		if err := a.require(ctx, f, "reason"); err != nil {
			return err
		}
		id, e, err := a.entry(ctx, &entry, true)
		if err != nil {
			return err
		}
		record.Name, record.Incident, record.Decision, record.Entry = "dispositions/"+id, incident, pb.Decision(decision), e
		names := f.names()
		names["incident"], names["decision"] = "INCIDENT", "DECISION"
		s := sent{kind: ledger.KindDisposition, id: id, summary: sentence(ledger.Decisions.Name(decision), "incident "+ledger.ShortName(incident)), names: names}
		return a.sendRecord(ctx, s, &entry, record)
	})
}

// recordArg reads the id of a record of one kind: its UUID, or its resource name.
func recordArg(what, typed, collection string) (string, error) {
	id, err := uuid.Parse(strings.TrimPrefix(typed, collection+"/"))
	if err != nil {
		return "", usage("%s: expected the id of one of the %s, such as 019cadd3-6bc0-77c9-9e41-58325664ba11, got %s", what, collection, csvfile.Quote(typed))
	}
	return collection + "/" + id.String(), nil
}

func dispositionColumns() []output.Column[*pb.Disposition] {
	type disposition = *pb.Disposition
	columns := idColumns[disposition]()
	columns = append(columns, []output.Column[disposition]{
		{Name: "incident", Heading: "INCIDENT", Value: func(d disposition) any { return ledger.ShortName(d.GetIncident()) }},
		{Name: "decision", Heading: "DECISION", Value: func(d disposition) any { return text(wordOf(ledger.Decisions, d.GetDecision())) }},
		{Name: "reason", Heading: "REASON", Value: func(d disposition) any { return text(d.GetReason()) }},
	}...)
	return append(columns, entryColumns[disposition]()...)
}
