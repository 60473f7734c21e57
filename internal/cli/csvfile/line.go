package csvfile

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

// MaxLine is the longest line, and the longest record over several lines, that
// is read: one mebibyte. The rest of a longer one never comes into memory.
const MaxLine = 1 << 20

// stopError ends the reading of a file: what follows can't be told apart.
type stopError struct{ problem Problem }

func (e *stopError) Error() string { return e.problem.Message }

// lineFeeder hands a file to the CSV reader one line at a time, so that it knows
// the raw text of the record that is being read and can bound it. It checks what
// must hold of every line whatever the CSV reader makes of it.
type lineFeeder struct {
	src  *bufio.Reader
	line int // lines begun so far

	rest []byte // of the present line, not handed over yet
	err  error  // what the source ended with

	// Of the present record.
	first    int // number of its first line
	lines    [][]byte
	size     int
	problems []Problem
}

func newLineFeeder(r io.Reader) *lineFeeder {
	return &lineFeeder{src: bufio.NewReaderSize(r, 64<<10), first: 1}
}

// begin says that the next line belongs to a new record.
func (f *lineFeeder) begin() {
	f.first, f.lines, f.size, f.problems = f.line+1, f.lines[:0], 0, nil
}

// Read hands over at most the rest of one line.
func (f *lineFeeder) Read(p []byte) (int, error) {
	if len(f.rest) == 0 {
		if f.err != nil {
			return 0, f.err
		}
		f.next()
		if len(f.rest) == 0 {
			return 0, f.err
		}
	}
	n := copy(p, f.rest)
	f.rest = f.rest[n:]
	return n, nil
}

// next reads one line into rest.
func (f *lineFeeder) next() {
	var line []byte
	for {
		part, err := f.src.ReadSlice('\n')
		line = append(line, part...)
		if len(line) > MaxLine+2 {
			f.err = &stopError{Problem{Line: f.line + 1, Column: 1, Message: fmt.Sprintf(
				"expected at most %d bytes in a line, got a longer one; the file was read no further", MaxLine)}}
			return
		}
		if err == nil {
			break
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			f.err = err
			break
		}
	}
	if len(line) == 0 {
		return
	}
	f.line++
	f.size += len(line)
	f.lines = append(f.lines, line)
	if f.size > MaxLine+2 {
		at := f.openQuote()
		f.err = &stopError{Problem{Line: at.line, Column: at.column, Message: fmt.Sprintf(
			"expected a closing quote for the quote that is opened here, got more than %d bytes without one; the file was read no further", MaxLine)}}
		return
	}
	f.inspect(line)
	f.rest = line
}

// inspect notes what no line may hold.
func (f *lineFeeder) inspect(line []byte) {
	if i := bytes.IndexByte(line, 0); i >= 0 {
		f.problems = append(f.problems, Problem{Line: f.line, Column: utf8.RuneCount(line[:i]) + 1,
			Message: "expected text, got a NUL character; save the file as CSV in UTF-8"})
	}
	if !utf8.Valid(line) {
		i := 0
		for i < len(line) {
			r, size := utf8.DecodeRune(line[i:])
			if r == utf8.RuneError && size == 1 {
				break
			}
			i += size
		}
		f.problems = append(f.problems, Problem{Line: f.line, Column: utf8.RuneCount(line[:i]) + 1,
			Message: fmt.Sprintf("expected UTF-8, got the byte 0x%02X, which isn't; save the file as CSV in UTF-8", line[i])})
	}
}

// column turns a byte column of a line of the present record into a character
// column; both count from 1.
func (f *lineFeeder) column(line, byteColumn int) int {
	i := line - f.first
	if i < 0 || i >= len(f.lines) {
		return byteColumn
	}
	text := f.lines[i]
	return utf8.RuneCount(text[:min(max(byteColumn-1, 0), len(text))]) + 1
}

// quotePlace is where a quoted field opens.
type quotePlace struct {
	line, column, field int
	// unclosed says that the record ends inside the field.
	unclosed bool
}

// openQuote finds the quote that opened the last quoted field of the present
// record: the one that is not closed, when one isn't.
func (f *lineFeeder) openQuote() quotePlace {
	last := quotePlace{line: f.first, column: 1}
	field, quoted, atStart := 0, false, true
	for i, line := range f.lines {
		for j := 0; j < len(line); j++ {
			switch c := line[j]; {
			case quoted && c == '"' && j+1 < len(line) && line[j+1] == '"':
				j++
			case quoted:
				quoted = c != '"'
			case c == '"' && atStart:
				quoted, atStart = true, false
				last = quotePlace{line: f.first + i, column: utf8.RuneCount(line[:j]) + 1, field: field}
			case c == ',':
				field++
				atStart = true
			default:
				atStart = false
			}
		}
	}
	last.unclosed = quoted
	return last
}
