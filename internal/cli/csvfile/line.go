package csvfile

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"unicode/utf8"
)

// MaxLine is the longest line, and the longest record over several lines, that
// is read: one mebibyte. The rest of a longer one never comes into memory.
const MaxLine = 1 << 20

// stopError ends the reading of a record that is too long.
type stopError struct {
	problem Problem
	// open says that a quote holds the record together; without it, the reading of
	// the whole file ends, since what follows can't be told apart.
	open bool
}

func (e *stopError) Error() string { return e.problem.Message }

// lineFeeder hands a file to the CSV reader one line at a time, so that it knows
// the raw text of the record that is being read, can bound it, and can give lines
// out again that a stray quote swallowed. It checks what must hold of every line
// whatever the CSV reader makes of it.
type lineFeeder struct {
	src  *bufio.Reader
	line int // lines begun so far

	rest []byte   // of the present line, not handed over yet
	err  error    // what the source ended with
	back [][]byte // lines to be given out again, the next one last

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
		if err := f.next(); err != nil {
			return 0, err
		}
	}
	n := copy(p, f.rest)
	f.rest = f.rest[n:]
	return n, nil
}

// next takes one line into rest.
func (f *lineFeeder) next() error {
	line, err := f.nextLine()
	if err != nil {
		return err
	}
	f.line++
	f.size += len(line)
	f.lines = append(f.lines, line)
	if f.size > MaxLine+2 {
		if open := f.lastQuoted(); open.unclosed {
			return &stopError{problem: Problem{Line: open.line, Column: open.column, Message: fmt.Sprintf(
				"expected a closing quote for the quote that is opened here, got more than %d bytes without one", MaxLine)}, open: true}
		}
		// Nothing holds the lines together: those before were blank.
		f.first, f.lines, f.size = f.line, append(f.lines[:0], line), len(line)
	}
	f.inspect(line)
	f.rest = line
	return nil
}

// nextLine gives the next line of the file, which may be one that was given before.
func (f *lineFeeder) nextLine() ([]byte, error) {
	if n := len(f.back); n > 0 {
		line := f.back[n-1]
		f.back[n-1], f.back = nil, f.back[:n-1]
		return line, nil
	}
	if f.err != nil {
		return nil, f.err
	}
	var line []byte
	for {
		part, err := f.src.ReadSlice('\n')
		line = append(line, part...)
		if len(line) > MaxLine+2 {
			f.err = &stopError{problem: Problem{Line: f.line + 1, Column: 1, Message: fmt.Sprintf(
				"expected at most %d bytes in a line, got a longer one; the file was read no further", MaxLine)}}
			return nil, f.err
		}
		if err == nil {
			return line, nil
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			f.err = err
			break
		}
	}
	if len(line) == 0 {
		return nil, f.err
	}
	return line, nil
}

// handBack gives the lines after the one of that number out again.
func (f *lineFeeder) handBack(line int) {
	kept := line - f.first + 1
	for i := len(f.lines) - 1; i >= kept; i-- {
		f.back = append(f.back, f.lines[i])
	}
	f.line, f.rest = line, nil
	f.problems = slices.DeleteFunc(f.problems, func(p Problem) bool { return p.Line > line })
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
