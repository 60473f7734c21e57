package calendar

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode"

	ics "github.com/arran4/golang-ical"

	"jointledger/internal/ledger"
)

// productID is what the object says that it was made by.
const productID = "-//jointledger//due dates//EN"

// utc is the form of DTSTAMP (RFC 5545, 3.3.5, form 2), day that of a DATE (3.3.4).
const (
	utc = "20060102T150405Z"
	day = "%04d%02d%02d"
)

// Write writes one VCALENDAR with a VEVENT for each event, in the order given,
// as RFC 5545 has it: lines end with CRLF and are folded so that none is longer
// than 75 octets (3.1); backslash, semicolon, comma and line breaks in text are
// escaped (3.3.11). Each event is a whole day without an end, and marks nobody
// as busy. Control characters that iCalendar text can't hold are left out. The
// error is a *ledger.Error of KindInvalid that names every wrong field, with
// nothing written, or what w returned.
func Write(w io.Writer, name string, events []Event) error {
	if len(events) == 0 {
		return ledger.InvalidField("calendar", "events", "is empty; an iCalendar object holds at least one (RFC 5545, 3.6)")
	}
	var fields []ledger.FieldError
	seen := map[string]int{}
	for i, e := range events {
		fields = append(fields, e.check(i, seen)...)
	}
	if err := ledger.Invalid("calendar", fields); err != nil {
		return err
	}
	c := ics.NewCalendarFor("jointledger")
	c.SetProductId(productID)
	c.SetCalscale("GREGORIAN")
	c.SetMethod(ics.MethodPublish)
	if name = text(name); name != "" {
		c.SetXWRCalName(name)
	}
	for _, e := range events {
		c.AddVEvent(component(e))
	}
	// Kept whole first: the library passes over some failures of the writer.
	var b bytes.Buffer
	if err := c.SerializeTo(&b, ics.WithNewLineWindows, ics.WithLineLength(75)); err != nil {
		return err
	}
	_, err := w.Write(b.Bytes())
	return err
}

func component(e Event) *ics.VEvent {
	v := ics.NewEvent(text(e.UID))
	v.SetProperty(ics.ComponentPropertyDtstamp, e.Stamp.UTC().Format(utc))
	v.SetProperty(ics.ComponentPropertyDtStart, fmt.Sprintf(day, e.Day.Year, int(e.Day.Month), e.Day.Day), ics.WithValue("DATE"))
	v.SetProperty(ics.ComponentPropertySummary, text(e.Summary))
	if d := text(e.Description); d != "" {
		v.SetProperty(ics.ComponentPropertyDescription, d)
	}
	if l := text(e.Location); l != "" {
		v.SetProperty(ics.ComponentPropertyLocation, l)
	}
	for _, c := range e.Categories {
		// One property each: a list in one value would have its commas escaped.
		v.AddProperty(ics.ComponentPropertyCategories, text(c))
	}
	v.SetProperty(ics.ComponentPropertyTransp, "TRANSPARENT")
	if e.AlarmDays > 0 {
		a := v.AddAlarm()
		a.SetProperty(ics.ComponentPropertyAction, "DISPLAY")
		a.SetProperty(ics.ComponentPropertyDescription, text(e.Summary))
		a.SetProperty(ics.ComponentPropertyTrigger, fmt.Sprintf("-P%dD", e.AlarmDays))
	}
	return v
}

// text makes line breaks of every kind one line feed, which the library escapes,
// and drops other control characters but the tab: RFC 5545, 3.3.11, has no place
// for them, and a lone carriage return would end the line early.
func text(s string) string {
	s = strings.ToValidUTF8(s, string(unicode.ReplacementChar))
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(s)
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, s)
}
