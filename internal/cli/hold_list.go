package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// holdFilter are the flags that cut a list of holds.
type holdFilter struct {
	place, lot, tool string
	span
}

func (h *holdFilter) flags(f *fields) {
	f.resource(&h.lot, "lots", "lot", "lot", "LOT", "only of this lot")
	f.resource(&h.tool, "tools", "tool", "tool", "SERIAL", "only of this tool")
	h.span.flags(f)
}

func (h *holdFilter) fetch(ctx context.Context, conn *grpc.ClientConn) fetch[*pb.Hold] {
	client := pb.NewControlServiceClient(conn)
	request := &pb.ListHoldsRequest{Place: h.place, Lot: h.lot, Tool: h.tool, StartTime: h.start(), EndTime: h.end()}
	return func(size int32, token string) ([]*pb.Hold, string, error) {
		request.PageSize, request.PageToken = size, token
		page, err := client.ListHolds(ctx, request)
		return page.GetHolds(), page.GetNextPageToken(), err
	}
}

// holding reads the holds of what is at or below a place and, for a joint, those of
// its cell, which hold it too.
func (h *holdFilter) holding(ctx context.Context, conn *grpc.ClientConn, place ledger.Place) fetch[*pb.Hold] {
	own := h.fetch(ctx, conn)
	if place.Depth() != 4 {
		return own
	}
	above := *h
	above.place = place.Parent().Resource()
	cell := above.fetch(ctx, conn)
	const after = "cell " // marks the tokens of the second list
	return func(size int32, token string) ([]*pb.Hold, string, error) {
		rest, second := strings.CutPrefix(token, after)
		if !second {
			page, next, err := own(size, token)
			if next == "" {
				next = after
			}
			return page, next, err
		}
		page, next, err := cell(size, rest)
		if next != "" {
			next = after + next
		}
		return slices.DeleteFunc(page, func(h *pb.Hold) bool { return h.GetPlace() != above.place }), next, err
	}
}

// onlyOpen leaves out what is released or corrected. It reads whole pages, however
// few are asked for: most holds may be released.
func onlyOpen(read fetch[*pb.Hold]) fetch[*pb.Hold] {
	return func(_ int32, token string) ([]*pb.Hold, string, error) {
		page, next, err := read(pageSize, token)
		return slices.DeleteFunc(page, func(h *pb.Hold) bool { return !holdOpen(h) }), next, err
	}
}

func (a *app) holdList() *cobra.Command {
	var filter holdFilter
	var limit int
	var all bool
	cmd := a.command("list [PLACE]", "List open holds",
		"PLACE is a site, tower, cell or joint. A cell on hold holds its joints too, and is\n"+
			"listed with each. A lot or a tool on hold is so at every site. A hold stays open\n"+
			"when the record that caused it is corrected: it is said so, and somebody with the\n"+
			"authority must still release it.\n\nPLACE: "+everyPlaceHelp+"\nWith --lot or --tool it is not filled in.")
	limitFlag(cmd, &limit)
	cmd.Flags().BoolVar(&all, "all", false, "holds that were released too, and the releases")
	filter.flags(newFields(cmd))
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		place, err := a.holdListPlace(&filter, args)
		if err != nil {
			return err
		}
		if place.Depth() > 0 {
			filter.place = place.Resource()
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		read, causes := filter.holding(ctx, conn, place), newHoldCauses(ctx, conn)
		if !all {
			read = onlyOpen(read)
		}
		if !all && a.format == output.Table {
			err = a.tellHolds(limit, read, causes)
		} else {
			err = list(a, limit, "holds", holdColumns(causes.column()), read)
		}
		if err == nil {
			err = causes.err
		}
		return err
	})
}

// holdListPlace reads the place of the list. The hold of a lot or a tool lies at no
// place: where one is named, the current place is not taken.
func (a *app) holdListPlace(filter *holdFilter, args []string) (ledger.Place, error) {
	if len(args) == 0 && (filter.lot != "" || filter.tool != "") {
		return ledger.Place{}, nil
	}
	return a.placeAskedOrAll(args, 1, 2, 3, 4)
}

// tellHolds says in a sentence for each hold what is held and why.
func (a *app) tellHolds(limit int, read fetch[*pb.Hold], causes *holdCauses) error {
	if limit < 0 {
		return usage("--limit: expected a number of at least 0, got %d", limit)
	}
	n := 0
	err := pages(limit, read, func(h *pb.Hold) error {
		n++
		_, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(heldSince(h, causes.correctedBy(h)))))
		return err
	})
	if err == nil && n == 0 {
		_, err = fmt.Fprintln(a.err, "there are no open holds to show")
	}
	return err
}
