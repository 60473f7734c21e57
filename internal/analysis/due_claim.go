package analysis

import (
	"fmt"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// claim is what one policy says: when, why, and with which figures.
type claim struct {
	at       time.Time
	reason   DueReason
	forecast bool
	detail   string
}

func claimsOf(in DueInput, asOf time.Time) ([]claim, error) {
	t := in.Tool
	interval := t.IntervalMonths > 0 || t.IntervalCycles > 0
	if !interval && !t.DueAfterEvent {
		return nil, nil
	}
	var claims []claim
	if in.Last != nil {
		if c, failed := failedCalibration(in); failed {
			claims = append(claims, c)
		}
	}
	if t.DueAfterEvent && len(in.Events) > 0 {
		claims = append(claims, eventClaim(in))
	}
	if in.Last == nil {
		if interval {
			claims = append(claims, claim{
				at: asOf, reason: DueNeverCalibrated,
				detail: "No calibration is on record, so no interval can be counted; due as of now.",
			})
		}
		return claims, nil
	}
	if t.IntervalCycles > 0 {
		c, known, err := cyclesClaim(in, asOf)
		if err != nil {
			return nil, err
		}
		if known {
			claims = append(claims, c)
		}
	}
	if t.IntervalMonths > 0 {
		c, err := monthsClaim(in)
		if err != nil {
			return nil, err
		}
		claims = append(claims, c)
	}
	return claims, nil
}

func monthsClaim(in DueInput) (claim, error) {
	due, err := metrology.CalendarDue(in.Last.OccurTime, in.Tool.IntervalMonths, in.Location)
	if err != nil {
		return claim{}, err
	}
	return claim{at: due, reason: DueByMonths, detail: fmt.Sprintf("%s since the calibration on %s end on %s.",
		quantity(int64(in.Tool.IntervalMonths), "month"), day(in.Last.OccurTime, in.Location), day(due, in.Location))}, nil
}

// cyclesClaim is unknown when the interval is not used up and the tool has not
// been used lately.
func cyclesClaim(in DueInput, asOf time.Time) (c claim, known bool, err error) {
	use := metrology.CycleUse{Since: in.Last.OccurTime, AsOf: asOf, Uses: make([]metrology.Use, len(in.Uses))}
	for i, u := range in.Uses {
		use.Uses[i] = metrology.Use{At: u.At, Fasteners: int(u.Fasteners)}
	}
	due, err := use.Due(in.Tool.IntervalCycles)
	if err != nil || !due.Known() {
		return claim{}, false, err
	}
	used := fmt.Sprintf("%d of %s used since the calibration on %s",
		due.Used, quantity(int64(in.Tool.IntervalCycles), "cycle"), day(in.Last.OccurTime, in.Location))
	c = claim{at: due.At, reason: DueByCycles, forecast: !due.Reached}
	if due.Reached {
		c.detail = fmt.Sprintf("%s; the limit was reached on %s.", used, day(due.At, in.Location))
	} else {
		c.detail = fmt.Sprintf("%s; at %.1f a day, the mean of the last 28 days or since the calibration if that is less, the rest lasts until %s.",
			used, due.PerDay, day(due.At, in.Location))
	}
	return c, true, nil
}

func eventClaim(in DueInput) claim {
	e := in.Events[0]
	since := "with no calibration on record"
	if in.Last != nil {
		since = "after the calibration on " + day(in.Last.OccurTime, in.Location)
	}
	detail := fmt.Sprintf("%s on %s, %s", eventWord(e), day(e.At, in.Location), since)
	if more := len(in.Events) - 1; more > 0 {
		detail += fmt.Sprintf(", and %s after that", quantity(int64(more), "more such event"))
	}
	record := "incident"
	if e.Custody != 0 {
		record = "custody change"
	}
	return claim{at: e.At, reason: DueByEvent, detail: detail + fmt.Sprintf(" (%s %s).", record, e.ID)}
}

func eventWord(e Event) string {
	switch {
	case e.Custody == ledger.CustodyOverloaded:
		return "Overloaded"
	case e.Custody == ledger.CustodyRepaired:
		return "Repaired"
	case e.Custody == ledger.CustodyDropped || e.Kind == ledger.DroppedTool:
		return "Dropped"
	}
	return "In an incident (" + ledger.IncidentKinds.Name(e.Kind) + ")"
}

// day is a moment's calendar day at the site.
func day(t time.Time, at *time.Location) string { return t.In(at).Format(time.DateOnly) }

// quantity is a count with its noun.
func quantity(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
