package calendar

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// MostAlarmDays is how many days ahead an alarm may stand, at most.
const MostAlarmDays = 365

// Event is something that falls on a whole local day.
type Event struct {
	// UID names the event for ever: taken in again under the same UID it replaces
	// what is there. StableUID makes one.
	UID string
	// Stamp is when the calendar object was made.
	Stamp time.Time
	// Day is the day in the site's own calendar; it has no time zone and stays the
	// same day wherever it is read.
	Day metrology.Date
	// Summary is one line and must be given; the others may be empty.
	Summary, Description, Location string
	Categories                     []string
	// AlarmDays is how many days before Day a reminder is shown; 0 for none.
	AlarmDays int
}

// uidSpace is the name space of the UIDs made here (RFC 9562, 5.5).
var uidSpace = uuid.NewSHA1(uuid.NameSpaceURL, []byte("urn:jointledger:calendar"))

// StableUID makes a UID from what an event is about, such as site, tool and
// action: the same parts always give the same UID, other parts another (a UUID
// of version 5, as RFC 7986 section 5.3 advises).
func StableUID(parts ...string) string {
	var name strings.Builder
	for _, p := range parts {
		// With its length before it no part runs into the next.
		fmt.Fprintf(&name, "%d:%s,", len(p), p)
	}
	return uuid.NewSHA1(uidSpace, []byte(name.String())).String()
}

// check gives every field that is wrong; at is the event's place in the list.
func (e Event) check(at int, seen map[string]int) []ledger.FieldError {
	var fields []ledger.FieldError
	wrong := func(field, format string, args ...any) {
		fields = append(fields, ledger.FieldError{
			Field: fmt.Sprintf("events[%d].%s", at, field), Description: fmt.Sprintf(format, args...),
		})
	}
	for _, f := range []struct {
		name, text string
	}{{"uid", e.UID}, {"summary", e.Summary}, {"description", e.Description}, {"location", e.Location}} {
		if !utf8.ValidString(f.text) {
			wrong(f.name, "is not UTF-8")
		}
	}
	if strings.TrimSpace(e.UID) == "" {
		wrong("uid", "is empty; every event needs one of its own")
	}
	if first, twice := seen[e.UID]; twice {
		wrong("uid", "%q is that of events[%d] too; expected each once", e.UID, first)
	}
	seen[e.UID] = at
	if strings.TrimSpace(e.Summary) == "" {
		wrong("summary", "is empty; expected one line")
	}
	if e.Stamp.IsZero() || e.Stamp.UTC().Year() > 9999 || e.Stamp.UTC().Year() < 1 {
		wrong("stamp", "is not a time in the years 1 to 9999")
	}
	if !realDay(e.Day) {
		wrong("day", "%04d-%02d-%02d is not a day of the years 1 to 9999", e.Day.Year, int(e.Day.Month), e.Day.Day)
	}
	for i, c := range e.Categories {
		if strings.TrimSpace(c) == "" || !utf8.ValidString(c) {
			wrong(fmt.Sprintf("categories[%d]", i), "%q is no word in UTF-8", c)
		}
	}
	if e.AlarmDays < 0 || e.AlarmDays > MostAlarmDays {
		wrong("alarm_days", "%d is out of range; expected 0 to %d", e.AlarmDays, MostAlarmDays)
	}
	return fields
}

func realDay(d metrology.Date) bool {
	t := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC)
	return d.Year >= 1 && d.Year <= 9999 && t.Year() == d.Year && t.Month() == d.Month && t.Day() == d.Day
}
