package csvfile

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
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
	// List says that its cells hold numbers parted by semicolons.
	List bool
}

// scanner is the reading of one file.
type scanner struct {
	file     string
	columns  []Column
	problems *Problems
	feeder   *lineFeeder
	csv      *csv.Reader
	// base is how many lines of the file stand before those that csv counts.
	base   int
	header []string
}

// Scan reads the file named file from r and calls row for each line that has the
// right number of fields, in order. What is wrong goes to problems, with which a
// bad line is left out and the next one read. Rows may be kept. The error is
// that of r or of row; a file that is merely wrong gives none.
func Scan(file string, r io.Reader, columns []Column, problems *Problems, row func(*Row) error) error {
	s := &scanner{file: file, columns: columns, problems: problems, feeder: newLineFeeder(r)}
	s.restart()
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
	var parse *csv.ParseError
	var stop *stopError
	quote, swallowed := s.feeder.swallowed(len(s.header))
	switch {
	case errors.As(err, &stop) && stop.open:
		return nil, s.resume(stop.problem, s.feeder.lastQuoted())
	case swallowed:
		return nil, s.resume(s.unclosed(quote), quote)
	case errors.As(err, &stop):
		if open := s.feeder.lastQuoted(); open.unclosed {
			// The line that is too long comes again when those before it are read.
			return nil, s.resume(s.unclosed(open), open)
		}
		s.noteLines()
		s.add(stop.problem)
		return nil, io.EOF
	case errors.As(err, &parse):
		if open := s.feeder.lastQuoted(); !errors.Is(parse.Err, csv.ErrBareQuote) && (open.unclosed || open.line < s.feeder.line) {
			return nil, s.resume(s.unclosed(open), open)
		}
		if !s.noteLines() {
			s.add(s.quoteProblem(parse))
		}
		return nil, nil
	case err != nil:
		return nil, err
	case s.noteLines():
		return nil, nil
	}
	return record, nil
}

// noteLines notes what no line may hold, of the lines of the record, and says
// whether there was anything.
func (s *scanner) noteLines() bool {
	for _, p := range s.feeder.problems {
		s.add(p)
	}
	return len(s.feeder.problems) > 0
}

// resume notes the problem of a quote that swallowed lines and reads on with the
// line after that of the quote, so that no line goes by unnoticed.
func (s *scanner) resume(p Problem, open quoted) error {
	if len(s.header) == 0 {
		s.add(p)
		return io.EOF // without a header no line can be read
	}
	s.feeder.handBack(open.line)
	s.noteLines()
	s.add(p)
	s.restart()
	return nil
}

// restart begins a new CSV reader at the present line of the file.
func (s *scanner) restart() {
	s.csv, s.base = csv.NewReader(s.feeder), s.feeder.line
	s.csv.FieldsPerRecord = -1
}

// fieldPos gives the line and the byte column of a field of the last record.
func (s *scanner) fieldPos(field int) (line, column int) {
	line, column = s.csv.FieldPos(field)
	return s.base + line, column
}

// unclosed is the problem of a quote that is not closed where it should be.
func (s *scanner) unclosed(open quoted) Problem {
	p := Problem{Line: open.line, Column: open.column,
		Message: "expected a closing quote for the quote that is opened here, got none in its line"}
	if open.field < len(s.header) {
		p.Name = s.header[open.field]
	}
	return p
}

// quoteProblem says in words what the CSV reader found wrong with the quotes of a
// line.
func (s *scanner) quoteProblem(parse *csv.ParseError) Problem {
	line := s.base + parse.Line
	p := Problem{Line: line, Column: s.feeder.column(line, parse.Column)}
	if errors.Is(parse.Err, csv.ErrBareQuote) {
		p.Message = `expected a field with a quote in it to be quoted as a whole, its own quotes doubled (""), got a quote in the middle`
		return p
	}
	p.Message = `expected quotes inside a quoted field to be doubled (""), got a single one`
	if open := s.feeder.lastQuoted(); open.field < len(s.header) {
		p.Name = s.header[open.field]
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
	line, _ := s.fieldPos(0)
	if len(record) != len(s.header) {
		s.add(s.fieldCountProblem(record, line))
		return nil, nil
	}
	row := &Row{scanner: s, Line: line, cells: record, at: make([]position, len(record))}
	for i := range record {
		l, c := s.fieldPos(i)
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

func (s *scanner) fieldCountProblem(record []string, line int) Problem {
	p := Problem{Line: line, Column: 1, Message: fmt.Sprintf("expected %d fields, got %d", len(s.header), len(record))}
	columns := make([]Column, len(s.header))
	for i, name := range s.header {
		columns[i] = s.column(name)
	}
	meant := readCommas(columns, record)
	if meant == nil {
		return p
	}
	l, c := s.fieldPos(meant.field)
	p.Line, p.Column, p.Name = l, s.feeder.column(l, c), s.header[meant.column]
	what := "a number"
	if strings.Contains(meant.text, ";") {
		what = "numbers"
	}
	p.Message += fmt.Sprintf("; %s looks like %s with a decimal comma: write %s", meant.text, what, strings.ReplaceAll(meant.text, ",", "."))
	return p
}

// column gives the column of that name; one without a name for none.
func (s *scanner) column(name string) Column {
	for _, c := range s.columns {
		if c.Name == name {
			return c
		}
	}
	return Column{}
}
