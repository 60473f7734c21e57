package cli

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// dueReasons are the words of pb.DueReason, from 1.
var dueReasons = []string{"months", "cycles", "event", "never-calibrated", "calibration-failed", "days", "failed", "never-done", "shift"}

func (a *app) dueCommand() *cobra.Command {
	request := &pb.ListDueItemsRequest{}
	var asOf time.Time
	var ics string
	cmd := a.command("due", "Tools that are past due or fall due soon",
		"Every action that is due on a tool: calibration, periodic inspection, proof test,\n"+
			"check before use. Each is due by the earliest of what its policy sets: months or\n"+
			"days since it was last done, cycles counted from tightenings, an event such as a\n"+
			"drop; or because it never was done, or the tool failed. --ics writes the due days\n"+
			"as a calendar (RFC 5545) instead of the list.")
	cmd.Example = "  trackctl due --within 30d --site rvb\n  trackctl due --within 13w --ics due.ics"
	f := newFields(cmd)
	f.bind("within", "within", "TIME", "how far to look ahead, such as 12h, 30d or 6w; only what is due already when not given", func(text string) error {
		d, err := parseWithin(text)
		if err == nil {
			request.Within = durationpb.New(d)
		}
		return err
	})
	f.asOf(&asOf)
	f.bind("site", "sites", "SITE", "only tools of this site; again for another", func(text string) error {
		site, err := siteOf(text)
		if err == nil {
			request.Sites = append(request.Sites, site)
		}
		return err
	})
	f.bind("tool", "tools", "SERIAL", "only this tool; again for another", func(text string) error {
		tool, err := resourceArg(text, "tools")
		if err == nil {
			request.Tools = append(request.Tools, tool)
		}
		return err
	})
	f.words("kind", "kinds", "only tools of these kinds", ledger.ToolKinds.All(), func(word string) error {
		kind, err := ledger.ToolKinds.Parse(word)
		if err == nil {
			request.Kinds = append(request.Kinds, pb.ToolKind(kind))
		}
		return err
	})
	f.boolean(&request.ShiftChecks, "with-shift-checks", "shift_checks", "checks owed before the first use in each shift too")
	f.text(&ics, "ics", "ics", "write the due days as a calendar to this file; - for standard output")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		request.AsOfTime = stamp(asOf)
		got, err := pb.NewAnalysisServiceClient(conn).ListDueItems(ctx, request)
		if err != nil {
			return a.callFailure(err, f.names())
		}
		if ics != "" {
			return a.writeDueCalendar(ics, got)
		}
		return a.tellDue(got)
	})
}

var withinForm = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^(\d+)\s*([hdw])$`) })

// parseWithin reads a stretch of hours, days of 24 hours, or weeks.
func parseWithin(text string) (time.Duration, error) {
	m := withinForm().FindStringSubmatch(strings.ToLower(strings.TrimSpace(text)))
	if m == nil {
		return 0, fmt.Errorf("expected hours, days or weeks such as 12h, 30d or 6w, got %s", csvfile.Quote(text))
	}
	unit := map[string]time.Duration{"h": time.Hour, "d": 24 * time.Hour, "w": 7 * 24 * time.Hour}[m[2]]
	n, err := strconv.ParseInt(m[1], 10, 64)
	if err != nil || n > int64(math.MaxInt64/unit) {
		return 0, fmt.Errorf("expected a stretch of at most %d weeks, got %s", int64(math.MaxInt64/(7*24*time.Hour)), csvfile.Quote(text))
	}
	return time.Duration(n) * unit, nil
}

func (a *app) tellDue(got *pb.ListDueItemsResponse) error {
	w, err := output.New(a.config(), "items", dueColumns())
	if err != nil {
		return err
	}
	for _, item := range got.GetItems() {
		if err := w.Row(item); err != nil {
			return err
		}
	}
	return w.Close(output.Note{Key: "as_of", Value: when(got.GetAsOfTime())}, cautionNote(got.GetCautions()))
}

// dueAt is when an item is due, on the clock of its site.
func dueAt(d *pb.DueItem) time.Time {
	if d.GetDueTime() == nil {
		return time.Time{}
	}
	return d.GetDueTime().AsTime().In(time.FixedZone("", int(d.GetUtcOffsetMinutes())*60))
}

func dueReason(r pb.DueReason) string {
	if r < 1 || int(r) > len(dueReasons) {
		return ""
	}
	return dueReasons[r-1]
}

func dueColumns() []output.Column[*pb.DueItem] {
	type item = *pb.DueItem
	return []output.Column[item]{
		{Name: "serial", Heading: "SERIAL", Value: func(d item) any { return ledger.ShortName(d.GetTool()) }},
		{Name: "site", Heading: "SITE", Value: func(d item) any { return text(ledger.ShortName(d.GetSite())) }},
		{Name: "kind", Value: func(d item) any { return text(wordOf(ledger.ToolKinds, d.GetKind())) }},
		{Name: "due_at", Value: func(d item) any { return dueAt(d) }},
		{Name: "due_date", Heading: "DUE", Value: func(d item) any {
			if at := dueAt(d); !at.IsZero() {
				return at.Format(time.DateOnly)
			}
			return nil
		}, Text: dueText},
		{Name: "reason", Heading: "REASON", Value: func(d item) any { return text(dueReason(d.GetReason())) }},
		{Heading: "ACTION", Text: func(d item) string { return wordOf(ledger.PolicyActions, d.GetAction()) }},
		{Name: "past_due", Value: func(d item) any { return d.GetPastDue() }},
		{Name: "forecast", Value: func(d item) any { return d.GetForecast() }},
		{Heading: "WITH", Text: func(d item) string { return holderText(d.GetHolder(), d.GetHolderName()) }},
		{Name: "detail", Heading: "DETAIL", Value: func(d item) any { return text(d.GetDetail()) }},
		{Name: "last_calibration_at", Value: func(d item) any { return when(d.GetLastCalibrationTime()) }},
		{Name: "cycles_used", Value: func(d item) any { return d.GetCyclesUsed() }},
		{Name: "cycles_allowed", Value: func(d item) any {
			if d.GetCyclesAllowed() == 0 {
				return nil
			}
			return d.GetCyclesAllowed()
		}},
		{Name: "action", Value: func(d item) any { return text(wordOf(ledger.PolicyActions, d.GetAction())) }},
		{Name: "last_done_at", Value: func(d item) any { return when(d.GetLastDoneTime()) }},
		{Name: "holder", Value: func(d item) any { return text(ledger.ShortName(d.GetHolder())) }},
		{Name: "holder_name", Value: func(d item) any { return text(d.GetHolderName()) }},
		{Name: "custody_site", Value: func(d item) any { return text(ledger.ShortName(d.GetCustodySite())) }},
		{Name: "since", Value: func(d item) any { return when(d.GetSinceTime()) }},
	}
}

// dueText is the day for a person, and whether it is past or only a forecast.
func dueText(d *pb.DueItem) string {
	at := dueAt(d)
	if at.IsZero() {
		return ""
	}
	text := at.Format(time.DateOnly)
	switch {
	case d.GetPastDue():
		text += " past due"
	case d.GetForecast():
		text += " forecast"
	}
	return text
}
