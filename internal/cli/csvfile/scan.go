package csvfile

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
)

// Column is one column of a file's format.
type Column struct {
	Name string
	// Required says that the header must have it.
	Required bool
	// Number says that its cells hold numbers: where a line has too many fields,
	// two of them may be one number with a decimal comma.
	Number bool
}

// scanner is the reading of one file.
type scanner struct {
	file     string
	columns  []Column
	problems *Problems
	feeder   *lineFeeder
	csv      *csv.Reader
	header   []string
}

// Scan reads the file named file from r and calls row for each line that has the
// right number of fields, in order. What is wrong goes to problems, with which a
// bad line is left out and the next one read. Rows may be kept. The error is
// that of r or of row; a file that is merely wrong gives none.
func Scan(file string, r io.Reader, columns []Column, problems *Problems, row func(*Row) error) error {
	s := &scanner{file: file, columns: columns, problems: problems, feeder: newLineFeeder(r)}
	s.csv = csv.NewReader(s.feeder)
	s.csv.FieldsPerRecord = -1
	if ok, err := s.start(); !ok || err != nil {
		return err
	}
	ok, err := s.readHeader()
	if !ok || err != nil {
		return err
	}
	for {
		next, err := s.readRow()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if next == nil {
			continue
		}
		if err := row(next); err != nil {
			return err
		}
	}
}

func (s *scanner) add(p Problem) {
	p.File = s.file
	s.problems.Add(p)
}

// start skips a byte-order mark and knows other encodings by their first bytes.
func (s *scanner) start() (bool, error) {
	head, err := s.feeder.src.Peek(4)
	if err != nil && !errors.Is(err, io.EOF) {
		return false, err
	}
	switch {
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}):
		_, err := s.feeder.src.Discard(3)
		return err == nil, err
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}), bytes.HasPrefix(head, []byte{0xFE, 0xFF}),
		len(head) == 4 && head[0] != 0 && head[1] == 0 && head[2] != 0 && head[3] == 0,
		len(head) == 4 && head[0] == 0 && head[1] != 0 && head[2] == 0 && head[3] != 0:
		s.add(Problem{Line: 1, Column: 1, Message: "expected UTF-8, got UTF-16; save the file as CSV in UTF-8"})
		return false, nil
	}
	return true, nil
}

// record reads one record. A nil record without an error is a bad line that was
// noted.
func (s *scanner) record() ([]string, error) {
	s.feeder.begin()
	record, err := s.csv.Read()
	for _, p := range s.feeder.problems {
		s.add(p)
	}
	bad := len(s.feeder.problems) > 0
	var parse *csv.ParseError
	var stop *stopError
	switch {
	case errors.As(err, &stop):
		s.add(stop.problem)
		return nil, io.EOF
	case errors.As(err, &parse):
		if !bad {
			s.add(s.quoteProblem(parse))
		}
		return nil, nil
	case err != nil:
		return nil, err
	case bad:
		return nil, nil
	}
	return record, nil
}

// quoteProblem says in words what the CSV reader found wrong with quotes.
func (s *scanner) quoteProblem(parse *csv.ParseError) Problem {
	open := s.feeder.openQuote()
	p := Problem{Line: parse.Line, Column: s.feeder.column(parse.Line, parse.Column)}
	switch {
	case errors.Is(parse.Err, csv.ErrBareQuote):
		p.Message = `expected a field with a quote in it to be quoted as a whole, its own quotes doubled (""), got a quote in the middle`
	case open.unclosed || open.line < s.feeder.line:
		p.Line, p.Column = open.line, open.column
		p.Message = "expected a closing quote for the quote that is opened here, got none in its line"
		if open.field < len(s.header) {
			p.Name = s.header[open.field]
		}
	default:
		p.Message = `expected quotes inside a quoted field to be doubled (""), got a single one`
		if open.field < len(s.header) {
			p.Name = s.header[open.field]
		}
	}
	return p
}

// readRow reads one line of data; nil without an error is a line that is blank or
// bad.
func (s *scanner) readRow() (*Row, error) {
	record, err := s.record()
	if err != nil || record == nil {
		return nil, err
	}
	if blank(record) {
		return nil, nil
	}
	line, _ := s.csv.FieldPos(0)
	if len(record) != len(s.header) {
		s.add(s.fieldCountProblem(record, line))
		return nil, nil
	}
	row := &Row{scanner: s, Line: line, cells: record, at: make([]position, len(record))}
	for i := range record {
		l, c := s.csv.FieldPos(i)
		row.at[i] = position{l, s.feeder.column(l, c)}
	}
	return row, nil
}

// blank says whether a line holds nothing, as spreadsheets leave behind.
func blank(record []string) bool {
	for _, cell := range record {
		if strings.TrimSpace(cell) != "" {
			return false
		}
	}
	return true
}

var (
	wholePart      = regexp.MustCompile(`^\s*[+-]?\d+$`)
	fractionalPart = regexp.MustCompile(`^\d+\s*$`)
)

func (s *scanner) fieldCountProblem(record []string, line int) Problem {
	p := Problem{Line: line, Column: 1, Message: fmt.Sprintf("expected %d fields, got %d", len(s.header), len(record))}
	for i := 0; i+1 < len(record) && i < len(s.header) && len(record) > len(s.header); i++ {
		if s.numeric(s.header[i]) && wholePart.MatchString(record[i]) && fractionalPart.MatchString(record[i+1]) {
			l, c := s.csv.FieldPos(i)
			p.Line, p.Column, p.Name = l, s.feeder.column(l, c), s.header[i]
			p.Message += fmt.Sprintf("; %s,%s looks like a number with a decimal comma: write %[1]s.%s", record[i], record[i+1])
			break
		}
	}
	return p
}

func (s *scanner) numeric(name string) bool {
	for _, c := range s.columns {
		if c.Name == name {
			return c.Number
		}
	}
	return false
}
