package cli

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// wholeDueTime is further ahead than any policy reaches: what is shown of one tool is
// the next due date of each action, however far away.
const wholeDueTime = time.Duration(math.MaxInt64 / 2)

// toolShowKeys are the keys of toolNotes, in their order.
var toolShowKeys = []string{"custody", "open_holds", "due", "cautions"}

// toolShow shows a tool with what a person asks of it at the hatch: where it is and
// who has it, the open holds on it, and what falls due next.
func (a *app) toolShow(n *noun[*pb.Tool]) *cobra.Command {
	cmd := a.command("show SERIAL", "Show a tool: its register, who has it, its holds, and what is due next",
		"SERIAL may be the code of its label. Below what the register says of the tool stand\n"+
			"where it is and who has it since when, the open holds on it, and for each action the\n"+
			"next due date with what sets it.")
	cmd.Example = "  trackctl tool show TW-RVB-03"
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		name, err := n.name(args[0])
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := n.get(ctx, conn, name)
		if err != nil {
			return err
		}
		notes, err := a.toolNotes(ctx, conn, name)
		if err != nil {
			return err
		}
		return output.Show(a.config(), n.plural, n.columns(), got, notes...)
	})
}

// toolNotes are what stands below the register's part of a tool.
func (a *app) toolNotes(ctx context.Context, conn *grpc.ClientConn, tool string) ([]output.Note, error) {
	places, err := pb.NewCribServiceClient(conn).ListToolWhereabouts(ctx, &pb.ListToolWhereaboutsRequest{Tool: tool})
	if err != nil {
		return nil, err
	}
	filter, causes := holdFilter{tool: tool}, newHoldCauses(ctx, conn)
	var holds []*pb.Hold
	if err := pages(0, onlyOpen(filter.fetch(ctx, conn)), func(h *pb.Hold) error {
		holds = append(holds, h)
		return nil
	}); err != nil {
		return nil, err
	}
	due, err := pb.NewAnalysisServiceClient(conn).ListDueItems(ctx, &pb.ListDueItemsRequest{Tools: []string{tool}, Within: durationpb.New(wholeDueTime), ShiftChecks: true})
	if err != nil {
		return nil, err
	}
	custody := output.Note{Key: "custody"}
	for _, w := range places.GetTools() {
		custody.Value, custody.Text = output.ObjectOf(custodyStateColumns(), w), []string{"where it is: " + stationText(w)}
	}
	held := output.Note{Key: "open_holds", Value: output.ObjectsOf(holdColumns(causes.column()), holds), Text: []string{"open holds: none"}}
	if len(holds) > 0 {
		held.Text = []string{"open holds:"}
	}
	for _, h := range holds {
		held.Text = append(held.Text, "  "+heldSince(h, causes.correctedBy(h)))
	}
	return []output.Note{custody, held, dueNote(due.GetItems()), cautionNote(due.GetCautions())}, causes.err
}

// custodyStateColumns are what of its whereabouts the register does not say.
func custodyStateColumns() []output.Column[*pb.ToolWhereabouts] {
	var columns []output.Column[*pb.ToolWhereabouts]
	for _, c := range whereaboutsColumns() {
		switch c.Name {
		case "station", "site", "holder", "holder_name", "since", "last_change", "refusals":
			columns = append(columns, c)
		}
	}
	return columns
}

// stationText says where a tool is, who has it and since when.
func stationText(w *pb.ToolWhereabouts) string {
	site, text := ledger.ShortName(w.GetSite()), ""
	switch analysis.ToolStation(w.GetStation()) {
	case analysis.Lent:
		text = "with " + holderText(w.GetHolder(), w.GetHolderName()) + " at " + site
	case analysis.InTransit:
		text = "on its way, sent from " + site
	case analysis.Lost:
		text = "lost at " + site
	default:
		text = "in the crib of " + site
	}
	if w.GetSinceTime() == nil {
		return text + ", its home; no change of custody is on record"
	}
	return text + " since " + w.GetSinceTime().AsTime().Format("2006-01-02 15:04") + " UTC"
}

// cyclesText says how much of its cycles a tool has used, where a policy counts them.
func cyclesText(d *pb.DueItem) string {
	if d.GetCyclesAllowed() == 0 {
		return ""
	}
	return fmt.Sprintf("%d of %d cycles used", d.GetCyclesUsed(), d.GetCyclesAllowed())
}

// dueNote has a line for each action that falls due.
func dueNote(items []*pb.DueItem) output.Note {
	note := output.Note{Key: "due", Value: output.ObjectsOf(dueColumns(), items), Text: []string{"next due: nothing by its policies"}}
	if len(items) > 0 {
		note.Text = []string{"next due:"}
	}
	for _, d := range items {
		note.Text = append(note.Text, "  "+sentence(wordOf(ledger.PolicyActions, d.GetAction())+" "+dueText(d), strings.TrimSuffix(d.GetDetail(), "."), cyclesText(d)))
	}
	return note
}
