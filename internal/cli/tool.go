package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) toolCommand() *cobra.Command {
	n := toolNoun()
	return group("tool", "Tools that are tracked by their serial", n.add(a), a.toolList(), a.toolShow(n), n.set(a), a.toolCheck(), a.toolPolicies(),
		a.toolLend(), a.toolTakeBack(), a.toolSend(), a.toolReceive(), a.toolLost(), a.toolDropped(), a.toolOverloaded(), a.toolRepaired(), a.toolOut())
}

func toolNoun() *noun[*pb.Tool] {
	return &noun[*pb.Tool]{
		word: "tool", plural: "tools", arg: "SERIAL",
		help: "SERIAL: letters, digits, dots, underscores and hyphens. When a calibration falls\n" +
			"due is said by the --interval flags and --due-after-event; when anything else does,\n" +
			"by --policy ACTION=PART,PART..., once for each action:\n" +
			"  periodic-inspection=12mo,after-event   pre-use-check=each-shift   proof-test=48mo\n" +
			"12mo are months, 7d days, 5000cycles fasteners tightened; after-event makes it due\n" +
			"at once after a drop, an overload or a repair; each-shift before the first use in\n" +
			"every shift. What is usual for a kind of tool is shown by tool policies.",
		columns:  toolColumns,
		name:     collectionName("tools"),
		fresh:    func() *pb.Tool { return &pb.Tool{} },
		fields:   toolFields,
		required: []string{"kind", "site"},
		remarks:  policiesLacking,
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, t *pb.Tool) (*pb.Tool, error) {
			return pb.NewToolServiceClient(conn).CreateTool(ctx, &pb.CreateToolRequest{ToolId: lastOf(name), Tool: t})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Tool, error) {
			return pb.NewToolServiceClient(conn).GetTool(ctx, &pb.GetToolRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, t *pb.Tool, mask *fieldmaskpb.FieldMask) (*pb.Tool, error) {
			t.Name = name
			return pb.NewToolServiceClient(conn).UpdateTool(ctx, &pb.UpdateToolRequest{Tool: t, UpdateMask: mask})
		},
	}
}

func toolColumns() []output.Column[*pb.Tool] {
	type tool = *pb.Tool
	return append([]output.Column[tool]{
		{Name: "serial", Heading: "SERIAL", Value: func(t tool) any { return ledger.ShortName(t.GetName()) }},
		{Name: "kind", Heading: "KIND", Value: func(t tool) any { return text(wordOf(ledger.ToolKinds, t.GetKind())) }},
		{Name: "type_class", Heading: "CLASS", Value: func(t tool) any { return text(t.GetTypeClass()) }},
		{Name: "min_n_m", Heading: "MIN N.m", Value: func(t tool) any { return figure(t.GetMinimumNewtonMetres()) }},
		{Name: "max_n_m", Heading: "MAX N.m", Value: func(t tool) any { return figure(t.GetMaximumNewtonMetres()) }},
		{Name: "resolution_n_m", Value: func(t tool) any { return figure(t.GetResolutionNewtonMetres()) }},
		{Name: "home_site", Heading: "SITE", Value: func(t tool) any { return ledger.ShortName(t.GetHomeSite()) }},
		{Name: "interval_months", Heading: "MONTHS", Value: func(t tool) any { return whole(t.GetIntervalMonths()) }},
		{Name: "interval_cycles", Heading: "CYCLES", Value: func(t tool) any { return whole(t.GetIntervalCycles()) }},
		{Name: "due_after_event", Value: func(t tool) any { return t.DueAfterEvent == nil || t.GetDueAfterEvent() }},
		{Name: "rated_load_kg", Heading: "LOAD kg", Value: func(t tool) any { return figure(t.GetRatedLoadKilograms()) }},
		{Name: "policies", Heading: "POLICIES", Value: func(t tool) any { return policyTexts(t.GetPolicies()) }, Text: func(t tool) string {
			return strings.Join(policyTexts(t.GetPolicies()), "; ")
		}},
	}, stamped[tool]()...)
}

func toolFields(cmd *cobra.Command, t *pb.Tool) *fields {
	f := newFields(cmd)
	wordField(f, &t.Kind, ledger.ToolKinds, "kind", "kind", "what it is")
	f.text(&t.TypeClass, "type-class", "type_class", "type and class under ISO 6789-1:2017, such as II-A")
	f.torque(&t.MinimumNewtonMetres, "min", "minimum_newton_metres", "lowest torque of its scale")
	f.torque(&t.MaximumNewtonMetres, "max", "maximum_newton_metres", "highest torque of its scale")
	f.torque(&t.ResolutionNewtonMetres, "resolution", "resolution_newton_metres", "smallest step of its scale")
	f.site(&t.HomeSite, "site", "home_site", "where it belongs")
	f.whole(&t.IntervalMonths, "interval-months", "interval_months", "months from one calibration to the next; 0 for none")
	f.whole(&t.IntervalCycles, "interval-cycles", "interval_cycles", "fasteners tightened from one calibration to the next; 0 for none")
	f.mass(&t.RatedLoadKilograms, "rated-load", "rated_load_kilograms", "working load limit")
	policyField(f, &t.Policies)
	due := true
	f.boolean(&due, "due-after-event", "due_after_event", "a drop or overload makes it due at once")
	t.DueAfterEvent = &due
	return f
}

func (a *app) toolList() *cobra.Command {
	var limit int
	request := &pb.ListToolsRequest{}
	cmd := a.command("list", "List tools", "")
	limitFlag(cmd, &limit)
	f := newFields(cmd)
	wordField(f, &request.Kind, ledger.ToolKinds, "kind", "kind", "only of this kind")
	f.site(&request.HomeSite, "site", "home_site", "only of this site")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewToolServiceClient(conn)
		return list(a, limit, "tools", toolColumns(), func(size int32, token string) ([]*pb.Tool, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListTools(ctx, request)
			return page.GetTools(), page.GetNextPageToken(), err
		})
	})
}
