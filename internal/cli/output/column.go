package output

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// Format is how a list is written.
type Format string

// The formats.
const (
	Table Format = "table"
	JSON  Format = "json"
	CSV   Format = "csv"
	// Parquet is a columnar file, for notebooks and databases.
	Parquet Format = "parquet"
)

// Formats are all of them.
func Formats() []string { return []string{string(Table), string(JSON), string(CSV), string(Parquet)} }

// ParseFormat reads the name of a format.
func ParseFormat(name string) (Format, error) {
	for _, f := range Formats() {
		if f == name {
			return Format(f), nil
		}
	}
	return "", fmt.Errorf("expected one of %s, got %q", strings.Join(Formats(), ", "), name)
}

// Column is one column of a list of T.
type Column[T any] struct {
	// Name is the JSON key and the CSV heading: snake_case, with the unit. A column
	// without a name stands only in the table.
	Name string
	// Heading is the table's heading. A column without a heading does not stand in
	// a table of many rows.
	Heading string
	// Value gives a nil for "not given", a string, bool, int, int32, int64, float64,
	// time.Time (written with its own offset), []string, []float64, Object or []Object.
	Value func(T) any
	// Text gives what a person reads, where that is not simply the value.
	Text func(T) string
}

// Object is a nested JSON object with its keys in order.
type Object []Member

// Member is one key of an Object.
type Member struct {
	Key   string
	Value any
}

// ObjectOf gives a row as a nested object: the columns that have a name.
func ObjectOf[T any](columns []Column[T], row T) Object {
	var object Object
	for _, c := range columns {
		if c.Name != "" {
			object = append(object, Member{c.Name, c.Value(row)})
		}
	}
	return object
}

// ObjectsOf gives rows as nested objects.
func ObjectsOf[T any](columns []Column[T], rows []T) []Object {
	objects := make([]Object, len(rows))
	for i, row := range rows {
		objects[i] = ObjectOf(columns, row)
	}
	return objects
}

// plain writes a value as CSV and tables show it: full precision, empty for not
// given.
func plain(value any) string {
	switch v := value.(type) {
	case nil:
		return ""
	case string:
		return v
	case bool:
		return strconv.FormatBool(v)
	case int:
		return strconv.Itoa(v)
	case int32:
		return strconv.FormatInt(int64(v), 10)
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		return Number(v)
	case time.Time:
		return v.Format(time.RFC3339Nano)
	case []string:
		return strings.Join(v, ";")
	case []float64:
		parts := make([]string, len(v))
		for i, x := range v {
			parts[i] = Number(x)
		}
		return strings.Join(parts, ";")
	case Object:
		var words []string
		for _, m := range v {
			if w := plain(m.Value); w != "" {
				words = append(words, w)
			}
		}
		return strings.Join(words, " ")
	case []Object:
		parts := make([]string, len(v))
		for i, object := range v {
			parts[i] = plain(object)
		}
		return strings.Join(parts, ";")
	}
	panic(fmt.Sprintf("output: no way to write a %T", value))
}

// Number writes a float with all of its digits and no exponent where a person
// would not use one.
func Number(v float64) string {
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e15) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// text is what the table shows of a row in this column.
func (c Column[T]) text(row T) string {
	s := ""
	if c.Text != nil {
		s = c.Text(row)
	} else {
		switch v := c.Value(row).(type) {
		case bool:
			s = "no"
			if v {
				s = "yes"
			}
		case time.Time:
			s = Moment(v)
		default:
			s = plain(v)
		}
	}
	return Printable(s)
}

// Moment writes a time as a person reads it: to the minute, with its offset.
func Moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02 15:04 Z07:00")
}

// Printable replaces what would disturb a terminal: control characters, and the
// direction marks that make text read as what it is not.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case unicode.IsControl(r), r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069:
			return '\ufffd'
		}
		return r
	}, s)
}
