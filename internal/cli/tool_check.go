package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// checkedActions are the actions that a check can be of: a calibration is a record
// of its own.
func checkedActions() []string { return ledger.PolicyActions.All()[1:] }

func (a *app) toolCheck() *cobra.Command {
	var entry entryOptions
	record := &pb.ToolCheck{}
	cmd := a.command("check SERIAL ACTION RESULT", "Record that a tool was inspected, proof-tested or checked before use",
		"ACTION is periodic-inspection, proof-test or pre-use-check, RESULT pass or fail. It is\n"+
			"kept at the tool's home site when --site is not given. A tool that failed must not be\n"+
			"used until it has passed; put it on hold with hold place. A calibration is recorded\n"+
			"with calibration add.")
	cmd.Example = "  trackctl tool check HN-ASH-04 pre-use-check pass --person ab\n  trackctl tool check HO-ASH-01 proof-test fail --certificate PT-118 --person ab"
	cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		switch len(args) {
		case 1:
			return checkedActions(), cobra.ShellCompDirectiveNoFileComp
		case 2:
			return ledger.InspectionResults.All(), cobra.ShellCompDirectiveNoFileComp
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	f := newFields(cmd)
	toolCheckFields(f, record)
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		action, err := ledger.PolicyActions.Parse(args[1])
		if err != nil {
			return usage("ACTION: %v", err)
		}
		if action == ledger.ActionCalibration {
			return usage("ACTION: a calibration has readings and is recorded with calibration add; expected %s", strings.Join(checkedActions(), ", "))
		}
		result, err := ledger.InspectionResults.Parse(args[2])
		if err != nil {
			return usage("RESULT: %v", err)
		}
		record.Action, record.Result = pb.ToolAction(action), pb.InspectionResult(result)
		return a.checkTool(ctx, args[0], f, record, &entry)
	})
}

func (a *app) checkTool(ctx context.Context, serial string, f *fields, record *pb.ToolCheck, o *entryOptions) error {
	tool, err := resourceArg(serial, "tools")
	if err != nil {
		return err
	}
	id, e, err := a.entry(ctx, o, true)
	if err != nil {
		return err
	}
	if record.GetSite() == "" {
		home, err := lookUp(ctx, a, func(ctx context.Context, conn *grpc.ClientConn) (string, error) {
			found, err := pb.NewToolServiceClient(conn).GetTool(ctx, &pb.GetToolRequest{Name: tool})
			return found.GetHomeSite(), err
		}, func() (string, error) {
			_, past, err := a.carriedTool(tool, "--site keeps it all the same: the server judges it when it is sent")
			return wire.ResourceName("sites", past.Tool.HomeSite), err
		})
		if err != nil {
			return err
		}
		record.Site = home
	}
	record.Name, record.Tool, record.Entry = "toolChecks/"+id, tool, e
	names := f.names()
	names["tool"], names["action"], names["result"] = "SERIAL", "ACTION", "RESULT"
	s := sent{kind: ledger.KindToolCheck, id: id, names: names, summary: toolCheckSummary(record)}
	if record.GetResult() == pb.InspectionResult_INSPECTION_RESULT_FAIL {
		s.remark = "Take " + ledger.ShortName(tool) + " out of use and tag it: it is not lent until it has passed, or was calibrated where no policy asks for that check, unless somebody lets it pass."
	}
	return a.sendRecord(ctx, s, o, record)
}

func toolCheckSummary(r *pb.ToolCheck) string {
	return sentence(wordOf(ledger.PolicyActions, r.GetAction())+" "+wordOf(ledger.InspectionResults, r.GetResult()),
		"tool "+ledger.ShortName(r.GetTool()), ledger.ShortName(r.GetSite()))
}

// toolCheckFields binds the flags of what a check tells besides its tool, action
// and result.
func toolCheckFields(f *fields, record *pb.ToolCheck) {
	f.site(&record.Site, "site", "site", "the site where it was done")
	f.text(&record.Certificate, "certificate", "certificate", "number of the report")
}

func replaceToolCheck(f *fields, r *pb.ToolCheck) {
	f.resource(&r.Tool, "tools", "tool", "tool", "SERIAL", "the tool")
	wordField(f, &r.Action, ledger.PolicyActions, "action", "action", "what was done on the tool")
	wordField(f, &r.Result, ledger.InspectionResults, "result", "result", "whether the tool passed")
	toolCheckFields(f, r)
}

func toolCheckColumns() []output.Column[*pb.ToolCheck] {
	type check = *pb.ToolCheck
	columns := idColumns[check]()
	columns = append(columns, []output.Column[check]{
		{Name: "serial", Heading: "SERIAL", Value: func(c check) any { return ledger.ShortName(c.GetTool()) }},
		{Name: "action", Heading: "ACTION", Value: func(c check) any { return text(wordOf(ledger.PolicyActions, c.GetAction())) }},
		{Name: "result", Heading: "RESULT", Value: func(c check) any { return text(wordOf(ledger.InspectionResults, c.GetResult())) }},
		{Name: "site", Heading: "SITE", Value: func(c check) any { return ledger.ShortName(c.GetSite()) }},
		{Name: "certificate", Heading: "CERTIFICATE", Value: func(c check) any { return text(c.GetCertificate()) }},
	}...)
	return append(columns, entryColumns[check]()...)
}

func (a *app) listToolChecks() *cobra.Command {
	var r recordFilter
	return recordList(a, "tool-checks", "List inspections, proof tests and pre-use checks of tools", "tool_checks", toolCheckColumns(), func(f *fields) {
		r.toolFlag(f)
		r.span.flags(f)
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.ToolCheck, string, error) {
		page, err := pb.NewToolServiceClient(conn).ListToolChecks(ctx, &pb.ListToolChecksRequest{PageSize: size, PageToken: token,
			Tool: r.tool, StartTime: r.start(), EndTime: r.end()})
		return page.GetToolChecks(), page.GetNextPageToken(), err
	})
}
