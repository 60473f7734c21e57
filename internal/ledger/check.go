package ledger

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"
)

// Limits on counts, shared by every check.
const (
	MaxFasteners = 100_000
	MaxQuantity  = 100_000_000
	maxNote      = 2000
	// No torque tool of the trade reaches this, newton metres; a greater figure
	// is a slip of the unit or of the point.
	maxTorque = 100_000
	// A later year is a slip; and a day after 9999-12-31, which a site's calendar
	// could make of its last hours, has no month that both engines can name.
	maxYear = 2999
)

// checks collects every field that is wrong, so that a person mends them all at
// once.
type checks struct{ fields []FieldError }

func (c *checks) add(field, format string, args ...any) {
	c.fields = append(c.fields, FieldError{field, fmt.Sprintf(format, args...)})
}

// text checks a free text: limit counts characters; line breaks and tabs are
// allowed only in notes.
func (c *checks) text(field, s string, limit int, required bool) {
	switch {
	case strings.TrimSpace(s) == "" && required:
		c.add(field, "is required")
	case !utf8.ValidString(s):
		c.add(field, "is not valid UTF-8")
	case utf8.RuneCountInString(s) > limit:
		c.add(field, "has %d characters; expected at most %d", utf8.RuneCountInString(s), limit)
	case strings.ContainsFunc(s, func(r rune) bool {
		return unicode.IsControl(r) && (limit < maxNote || r != '\n' && r != '\t' && r != '\r')
	}):
		c.add(field, "contains a control character; expected plain text")
	}
}

func (c *checks) id(field, s, problem string) {
	if problem != "" {
		if s == "" {
			c.add(field, "is required")
			return
		}
		c.add(field, "%q %s", s, problem)
	}
}

// place checks a place of the given depth whose parts were parsed already.
func (c *checks) place(field string, p Place, depth int) {
	if p.Depth() != depth {
		c.add(field, "expected a %s such as %s", Place{"-", "-", "-", "-"}.truncate(depth).PlaceKind(), Place{"RVB", "CT2", "C3", "J014"}.truncate(depth))
		return
	}
	for i, part := range []string{p.Site, p.Tower, p.Cell, p.Joint}[:depth] {
		if d := checkTag(part, tagLimits[i]); d != "" {
			c.add(field, "%q: %q %s", p, part, d)
		}
	}
}

func (p Place) truncate(depth int) Place {
	for p.Depth() > depth {
		p = p.Parent()
	}
	return p
}

func word[T ~uint8](c *checks, field string, w Words[T], v T, required bool) {
	if v == 0 && !required {
		return
	}
	if !w.Known(v) {
		c.add(field, "is required; expected one of %s", strings.Join(w.names, ", "))
	}
}

// number checks a finite figure inside [low, high].
func (c *checks) number(field string, v, low, high float64, unit string) {
	if math.IsNaN(v) || math.IsInf(v, 0) || v < low || v > high {
		c.add(field, "%v is out of range; expected a number from %v to %v%s", v, low, high, unit)
	}
}

// above checks a finite figure above low and at most high.
func (c *checks) above(field string, v, low, high float64, unit string) {
	if math.IsNaN(v) || math.IsInf(v, 0) || v <= low || v > high {
		c.add(field, "%v is out of range; expected a number above %v and at most %v%s", v, low, high, unit)
	}
}

func (c *checks) count(field string, v, low, high int64) {
	if v < low || v > high {
		c.add(field, "%d is out of range; expected a whole number from %d to %d", v, low, high)
	}
}

func (c *checks) date(field, s string) (time.Time, bool) {
	if s == "" {
		return time.Time{}, false
	}
	d, err := time.Parse(time.DateOnly, s)
	if err != nil {
		c.add(field, "%q is not a date; expected YYYY-MM-DD", s)
		return time.Time{}, false
	}
	return d, true
}

func (c *checks) entry(e *Entry, personRequired bool) {
	if e.ID.Version() != 7 || e.ID.Variant() != uuid.RFC4122 {
		c.add("name", "the id %s is not a UUIDv7 (RFC 9562)", e.ID)
	}
	if e.OccurTime.IsZero() {
		c.add("entry.occur_time", "is required")
	} else if y := e.OccurTime.UTC().Year(); y < 1970 || y > maxYear {
		c.add("entry.occur_time", "the year %d is out of range; expected 1970 to %d", y, maxYear)
	}
	c.count("entry.utc_offset_minutes", int64(e.OffsetMinutes), -1080, 1080)
	if e.Person != "" || personRequired {
		c.id("entry.person", e.Person, checkPersonID(e.Person))
	}
	c.text("entry.device", e.Device, 64, false)
	c.text("entry.note", e.Note, maxNote, false)
}

func (c *checks) fastener(prefix string, f Fastener) {
	c.text(prefix+"thread", f.Thread, 32, true)
	c.number(prefix+"length_millimetres", f.LengthMillimetres, 0, 10_000, " mm")
	word(c, prefix+"material", Materials, f.Material, true)
	c.text(prefix+"property_class", f.PropertyClass, 32, false)
	c.text(prefix+"coating", f.Coating, 32, false)
	c.text(prefix+"head", f.Head, 32, false)
}
