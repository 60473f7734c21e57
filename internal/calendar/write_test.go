package calendar_test

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"jointledger/internal/calendar"
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

var stamp = time.Date(1997, 9, 1, 8, 30, 0, 0, time.FixedZone("", -4*3600-1800))

func event() calendar.Event {
	return calendar.Event{
		UID: "19970901T130000Z-123401@example.com", Stamp: stamp, Day: metrology.Date{Year: 1997, Month: 7, Day: 14}, Summary: "Calibration of TW-1 due",
	}
}

func write(t *testing.T, events ...calendar.Event) string {
	t.Helper()
	var b bytes.Buffer
	if err := calendar.Write(&b, "Due dates", events); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// unfold reads content lines as RFC 5545, 3.1, says: CRLF and one space or tab
// after it are taken out. It fails on any line longer than 75 octets, on a line
// that is cut within a character, and on a lone CR or LF.
func unfold(t *testing.T, text string) []string {
	t.Helper()
	if !strings.HasSuffix(text, "\r\n") {
		t.Fatalf("no CRLF at the end of %q", text)
	}
	for _, line := range strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		if len(line) > 75 {
			t.Errorf("%d octets in %q", len(line), line)
		}
		if strings.ContainsAny(line, "\r\n") {
			t.Errorf("a lone line break in %q", line)
		}
		if !utf8.ValidString(line) {
			t.Errorf("a character is cut in %q", line)
		}
	}
	text = strings.ReplaceAll(strings.ReplaceAll(text, "\r\n ", ""), "\r\n\t", "")
	return strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n")
}

func has(t *testing.T, lines []string, want string) {
	t.Helper()
	n := 0
	for _, l := range lines {
		if l == want {
			n++
		}
	}
	if n != 1 {
		t.Errorf("%d lines %q; expected one, in\n%s", n, want, strings.Join(lines, "\n"))
	}
}

// Values are the examples of RFC 5545 (2009): 3.3.4 (a DATE), 3.3.11 (a TEXT
// with line breaks), 3.8.1.5 (DESCRIPTION), 3.8.1.7 (LOCATION), from memory.
func TestExamplesOfTheStandard(t *testing.T) {
	e := event()
	e.Summary = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
	e.Description = "Meeting to provide technical review for \"Phoenix\" design.\nHappy Face Conference Room. Phoenix design team MUST attend this meeting.\nRSVP to team leader."
	e.Location = "Conference Room - F123, Bldg. 002"
	e.Categories = []string{"APPOINTMENT", "EDUCATION"}
	lines := unfold(t, write(t, e))
	for _, want := range []string{
		"BEGIN:VCALENDAR", "VERSION:2.0", "BEGIN:VEVENT", "UID:19970901T130000Z-123401@example.com",
		"DTSTAMP:19970901T130000Z", "DTSTART;VALUE=DATE:19970714",
		`SUMMARY:Project XYZ Final Review\nConference Room - 3B\nCome Prepared.`,
		`DESCRIPTION:Meeting to provide technical review for "Phoenix" design.\nHappy Face Conference Room. Phoenix design team MUST attend this meeting.\nRSVP to team leader.`,
		`LOCATION:Conference Room - F123\, Bldg. 002`,
		"CATEGORIES:APPOINTMENT", "CATEGORIES:EDUCATION", "END:VEVENT", "END:VCALENDAR",
	} {
		has(t, lines, want)
	}
	if lines[0] != "BEGIN:VCALENDAR" || lines[len(lines)-1] != "END:VCALENDAR" {
		t.Errorf("starts with %q, ends with %q", lines[0], lines[len(lines)-1])
	}
	for _, l := range lines {
		if strings.HasPrefix(l, "BEGIN:VALARM") {
			t.Error("an alarm that nobody asked for")
		}
	}
}

// RFC 5545, 3.3.11: backslash, semicolon and comma are escaped, a colon is not.
func TestEscaping(t *testing.T) {
	e := event()
	e.Summary = `C:\crib; shelf 3, left: TW-1`
	e.Description = "one\r\ntwo\rthree\nfour\x00\x07"
	lines := unfold(t, write(t, e))
	has(t, lines, `SUMMARY:C:\\crib\; shelf 3\, left: TW-1`)
	has(t, lines, `DESCRIPTION:one\ntwo\nthree\nfour`)
}

func TestAlarm(t *testing.T) {
	e := event()
	e.AlarmDays = 14
	lines := unfold(t, write(t, e))
	text := strings.Join(lines, "\n")
	i, j := strings.Index(text, "BEGIN:VALARM"), strings.Index(text, "END:VALARM")
	if i < 0 || j < i || strings.Index(text, "END:VEVENT") < j {
		t.Fatalf("no alarm within the event:\n%s", text)
	}
	for _, want := range []string{"ACTION:DISPLAY", "TRIGGER:-P14D", "DESCRIPTION:Calibration of TW-1 due"} {
		if !strings.Contains(text[i:j], want) {
			t.Errorf("no %q in the alarm", want)
		}
	}
}

// unescape reads a TEXT value back, one pass from the left.
func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] != '\\' || i+1 == len(s) {
			b.WriteByte(s[i])
			continue
		}
		i++
		if s[i] == 'n' || s[i] == 'N' {
			b.WriteByte('\n')
		} else {
			b.WriteByte(s[i])
		}
	}
	return b.String()
}

// Whatever is written is read back, in lines of at most 75 octets that cut no
// character, at every length around the fold.
func TestAnyTextComesBack(t *testing.T) {
	r := rand.New(rand.NewPCG(5545, 1))
	alphabet := []rune("ab ,;\\\n:<>é漢🔧\"n")
	for n := range 400 {
		var b strings.Builder
		for range n {
			b.WriteRune(alphabet[r.IntN(len(alphabet))])
		}
		e := event()
		e.Description = "x" + b.String()
		found := false
		for _, l := range unfold(t, write(t, e)) {
			if v, ok := strings.CutPrefix(l, "DESCRIPTION:"); ok {
				found = true
				if got := unescape(v); got != e.Description {
					t.Fatalf("%q came back as %q", e.Description, got)
				}
			}
		}
		if !found {
			t.Fatal("no description")
		}
	}
}

func TestSameDaysInAnyZone(t *testing.T) {
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	// Due at the end of 31 March in Chicago, which is 1 April in UTC.
	due := metrology.Date{Year: 2026, Month: 3, Day: 31}.EndIn(chicago)
	e := event()
	e.Day = metrology.DateOf(due, chicago)
	has(t, unfold(t, write(t, e)), "DTSTART;VALUE=DATE:20260331")
}

func TestStableUID(t *testing.T) {
	a := calendar.StableUID("RVB", "TW-1", "calibration")
	if b := calendar.StableUID("RVB", "TW-1", "calibration"); a != b {
		t.Errorf("%s and %s for the same parts", a, b)
	}
	seen := map[string]bool{a: true}
	for _, parts := range [][]string{{"RVB", "TW-1", "proof-test"}, {"RVBTW-1", "calibration"}, {"RVB", "TW-1calibration"}, {"RVB,4:TW-1", "calibration"}, {}} {
		uid := calendar.StableUID(parts...)
		if seen[uid] {
			t.Errorf("%v has the UID of other parts", parts)
		}
		seen[uid] = true
	}
}

func TestWhatIsWrongIsNamedAndNothingWritten(t *testing.T) {
	good := event()
	for field, spoil := range map[string]func(*calendar.Event){
		"events[1].uid":           func(e *calendar.Event) { e.UID = " " },
		"events[1].summary":       func(e *calendar.Event) { e.Summary = "" },
		"events[1].stamp":         func(e *calendar.Event) { e.Stamp = time.Time{} },
		"events[1].day":           func(e *calendar.Event) { e.Day = metrology.Date{Year: 2026, Month: 2, Day: 29} },
		"events[1].location":      func(e *calendar.Event) { e.Location = "\xff" },
		"events[1].categories[0]": func(e *calendar.Event) { e.Categories = []string{""} },
		"events[1].alarm_days":    func(e *calendar.Event) { e.AlarmDays = -1 },
	} {
		e := event()
		e.UID = "another"
		spoil(&e)
		wrong(t, field, good, e)
	}
	wrong(t, "events[1].uid", good, good)
	wrong(t, "events")
}

func wrong(t *testing.T, field string, events ...calendar.Event) {
	t.Helper()
	var b bytes.Buffer
	err := calendar.Write(&b, "", events)
	var e *ledger.Error
	if !errors.As(err, &e) || e.Kind != ledger.KindInvalid || len(e.Fields) != 1 || e.Fields[0].Field != field {
		t.Errorf("%v; expected one wrong field, %s", err, field)
	}
	if b.Len() > 0 {
		t.Errorf("%s: something was written", field)
	}
}
