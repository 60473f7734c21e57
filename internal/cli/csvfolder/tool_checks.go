package csvfolder

import (
	"context"
	"strings"

	"google.golang.org/grpc"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// policies reads the policies of a tool, parted by semicolons.
func policies(row *csvfile.Row) []*pb.ToolPolicy {
	const column = "policies"
	if row.Text(column) == "" {
		return nil
	}
	var out []*pb.ToolPolicy
	for _, part := range strings.Split(row.Text(column), ";") {
		p, err := ledger.ParsePolicy(strings.TrimSpace(part))
		if err != nil {
			row.Fail(column, "%v", err)
			return nil
		}
		out = append(out, &pb.ToolPolicy{
			Action: pb.ToolAction(p.Action), Months: int32(p.Months), Days: int32(p.Days), Cycles: int32(p.Cycles),
			AfterEvent: p.AfterEvent, EachShift: p.EachShift,
		})
	}
	return out
}

// toolChecks reads inspections, proof tests and checks before use.
func toolChecks() *kind {
	return &kind{
		file:      "tool_checks.csv",
		needs:     []string{"sites.csv", "people.csv", "tools.csv"},
		columns:   join(required("id", "serial", "action", "result", "site", "at", "person"), optional("certificate", "device", "note")),
		fields:    entryFields(map[string]string{"tool": "serial"}),
		resources: map[string]string{"tools": "serial", "sites": "site", "people": "person", "toolChecks": "id"},
		decode: func(row *csvfile.Row) *Item {
			name := recordName(row, "toolChecks")
			return newItem(row, name, &pb.ToolCheck{
				Name:        name,
				Tool:        resource(row, "serial", "tools", true),
				Site:        siteResource(row, "site", true),
				Action:      pb.ToolAction(requiredWord(row, "action", ledger.PolicyActions)),
				Result:      pb.InspectionResult(requiredWord(row, "result", ledger.InspectionResults)),
				Certificate: row.Text("certificate"),
				Entry:       entry(row, true),
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewToolServiceClient(conn).RecordToolChecks(ctx, &pb.RecordToolChecksRequest{
				ToolChecks: messages[*pb.ToolCheck](batch), ValidateOnly: validateOnly}))
		},
	}
}
