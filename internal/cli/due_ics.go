package cli

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"jointledger/internal/calendar"
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	pb "jointledger/proto/jointledger/v1"
)

// dueAlarmDays is how many days before a due day its reminder stands.
const dueAlarmDays = 7

// writeDueCalendar writes the due days as an iCalendar object to a file, or to
// standard output for `-`. Nothing is written when nothing is due.
func (a *app) writeDueCalendar(name string, got *pb.ListDueItemsResponse) error {
	if len(got.GetItems()) == 0 {
		_, err := fmt.Fprintln(a.err, "nothing is due in that time, so no calendar was written")
		return err
	}
	var b bytes.Buffer
	if err := calendar.Write(&b, "Tools due", dueEvents(got)); err != nil {
		return &failure{code: exitInternal, message: fmt.Sprintf("the calendar can't be made: %v", err)}
	}
	if name == "-" {
		_, err := a.out.Write(b.Bytes())
		return err
	}
	if err := replaceFile(name, b.Bytes()); err != nil {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("%s can't be written: %v", name, pathCause(err))}
	}
	_, err := fmt.Fprintf(a.err, "%s written to %s\n", counted(len(got.GetItems()), "due day"), name)
	return err
}

func dueEvents(got *pb.ListDueItemsResponse) []calendar.Event {
	events := make([]calendar.Event, len(got.GetItems()))
	for i, d := range got.GetItems() {
		serial, action := ledger.ShortName(d.GetTool()), wordOf(ledger.PolicyActions, d.GetAction())
		e := calendar.Event{
			UID:   calendar.StableUID("due", d.GetTool(), action),
			Stamp: got.GetAsOfTime().AsTime(), Day: metrology.DateOf(dueAt(d), dueAt(d).Location()),
			Summary:    fmt.Sprintf("%s of %s due", actionHeading(action), serial),
			Location:   ledger.ShortName(d.GetCustodySite()),
			Categories: []string{action}, AlarmDays: dueAlarmDays,
		}
		switch {
		case d.GetPastDue():
			e.Summary, e.AlarmDays = e.Summary+" (past due)", 0
		case d.GetForecast():
			e.Summary += " (forecast)"
		}
		e.Description = fmt.Sprintf("%s\nTool: %s, %s, home site %s.", d.GetDetail(), serial, wordOf(ledger.ToolKinds, d.GetKind()), ledger.ShortName(d.GetSite()))
		if d.GetHolder() != "" {
			e.Description += fmt.Sprintf("\nWith %s since %s.", holderText(d.GetHolder(), d.GetHolderName()), d.GetSinceTime().AsTime().Format(time.DateOnly))
		}
		events[i] = e
	}
	return events
}

// actionHeading begins with a capital and has blanks for hyphens, but for that of a
// prefix: "Proof test", "Pre-use check".
func actionHeading(action string) string {
	const prefix = "pre-"
	rest, prefixed := strings.CutPrefix(action, prefix)
	heading := strings.ReplaceAll(rest, "-", " ")
	if prefixed {
		heading = prefix + heading
	}
	if heading == "" {
		return ""
	}
	return strings.ToUpper(heading[:1]) + heading[1:]
}
