package csvfile

import "unicode/utf8"

// quoted is a quoted field of a record as it stands in the file.
type quoted struct {
	// line and column are where its opening quote stands, field its number from 0.
	line, column, field int
	// commas are those inside the quotes, by line.
	commas []int
	// unclosed says that the record ends inside the field.
	unclosed bool
}

// quotedFields finds the quoted fields of the present record.
func (f *lineFeeder) quotedFields() []quoted {
	var fields []quoted
	field, inside, atStart := 0, false, true
	for i, line := range f.lines {
		if inside {
			last := &fields[len(fields)-1]
			last.commas = append(last.commas, 0)
		} else {
			field, atStart = 0, true // only blank lines stand before the record's first
		}
		for j := 0; j < len(line); j++ {
			switch c := line[j]; {
			case inside && c == '"' && j+1 < len(line) && line[j+1] == '"':
				j++
			case inside && c == '"':
				inside = false
			case inside && c == ',':
				commas := fields[len(fields)-1].commas
				commas[len(commas)-1]++
			case inside:
			case c == '"' && atStart:
				inside, atStart = true, false
				fields = append(fields, quoted{line: f.first + i, column: utf8.RuneCount(line[:j]) + 1, field: field, commas: []int{0}})
			case c == ',':
				field++
				atStart = true
			default:
				atStart = false
			}
		}
	}
	if inside {
		fields[len(fields)-1].unclosed = true
	}
	return fields
}

// lastQuoted is the last quoted field of the present record: the one that is not
// closed, when one isn't. Without any it is the start of the record.
func (f *lineFeeder) lastQuoted() quoted {
	fields := f.quotedFields()
	if len(fields) == 0 {
		return quoted{line: f.first, column: 1}
	}
	return fields[len(fields)-1]
}

// swallowed finds the first quoted field that seems to hold whole lines of data: a
// stray quote that another closes lines later makes records into text. columns is
// how many the file has.
func (f *lineFeeder) swallowed(columns int) (quoted, bool) {
	if len(f.lines) < 2 || columns == 0 {
		return quoted{}, false
	}
	separators := columns - 1
	least := separators - separators/5 // a line with a field too few is one of data too
	for _, q := range f.quotedFields() {
		last := len(q.commas) - 1
		if last == 0 {
			continue
		}
		// A line break inside stands between the end of one line and the start of
		// the next: what is inside of the first and the last line makes one line.
		if q.commas[0]+q.commas[last] >= least {
			return q, true
		}
		for _, n := range q.commas[1:last] {
			if n >= least {
				return q, true
			}
		}
	}
	return quoted{}, false
}
