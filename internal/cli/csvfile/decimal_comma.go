package csvfile

import (
	"regexp"
	"strings"
	"sync"
)

var (
	oneNumber = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^\s*([+-]?(\d+([.,]\d+)?|\.\d+)([eE][+-]?\d{1,3})?)?\s*$`)
	})
	// commaList is a list of numbers of which some may have a decimal comma.
	commaList = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^\s*([+-]?\d+([.,]\d+)?(\s*;\s*[+-]?\d+([.,]\d+)?)*)?\s*$`)
	})
	// leadingZero is what stands before a decimal sign in no number that people write.
	leadingZero = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(^|;)\s*[+-]?0\d`) })
)

// mostCommas is how many fields too many may be decimal commas.
const mostCommas = 24

// commaReading is a way to read a line with too many fields as one in which numbers
// have decimal commas.
type commaReading struct {
	// column is the first whose number has one, field its first field.
	column, field int
	// text is what stands there, with its commas.
	text string
	// cost is the higher, the less likely the reading is.
	cost int
}

// commaReadings looks for the likeliest reading.
type commaReadings struct {
	columns []Column
	record  []string
	best    *commaReading
}

// readCommas gives the likeliest reading of a line that has too many fields for
// its columns; nil when decimal commas don't explain them.
func readCommas(columns []Column, record []string) *commaReading {
	extra := len(record) - len(columns)
	if extra < 1 || extra > mostCommas {
		return nil
	}
	r := &commaReadings{columns: columns, record: record}
	r.try(0, 0, commaReading{column: -1})
	return r.best
}

// try reads the columns from column on, of which the first begins at field.
func (r *commaReadings) try(column, field int, so commaReading) {
	left := len(r.record) - field - (len(r.columns) - column) // fields too many from here on
	switch {
	case left < 0 || r.best != nil && so.cost >= r.best.cost:
		return
	case column == len(r.columns):
		if left == 0 {
			r.best = &so
		}
		return
	}
	c, most := r.columns[column], 0
	switch {
	case c.List:
		most = left
	case c.Number:
		most = min(left, 1)
	}
	for n := most; n >= 0; n-- { // the numbers further left are tried first
		text := strings.Join(r.record[field:field+n+1], ",")
		next := so
		switch {
		case c.List && !commaList().MatchString(text), c.Number && !oneNumber().MatchString(text):
			continue
		case (c.List || c.Number) && leadingZero().MatchString(text):
			next.cost += 2
		}
		if n > 0 {
			if c.Number {
				next.cost++
			}
			if next.column < 0 {
				next.column, next.field, next.text = column, field, strings.TrimSpace(text)
			}
		}
		r.try(column+1, field+n+1, next)
	}
}
