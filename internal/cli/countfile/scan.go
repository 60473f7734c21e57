package countfile

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/stats"
)

// WrongError says what is wrong in a file. Nothing of such a file is used.
type WrongError struct {
	File     string
	Problems csvfile.Problems
}

// Error names the file; the problems are for the caller to list.
func (e *WrongError) Error() string {
	return fmt.Sprintf("%s: %d problems", e.File, e.Problems.Count())
}

// errStop ends the reading of a file whose columns will not do.
var errStop = errors.New("the columns will not do")

// MostRows bounds what is held in memory of one file whose rows are kept one by one; a
// choice of ours. Rows of counts are added up as they are read, and are not bounded.
const MostRows = 2_000_000

// noLimit lets a file have any number of rows.
const noLimit = 0

// scan reads the rows of a file, at most so many where that is above 0. first is shown
// the first one, and says by false that the columns will not do; it has noted why. each
// says by false that it takes no more, and has noted why. The error is a *WrongError,
// or that of r.
func scan(file string, r io.Reader, columns []csvfile.Column, most int, first func(*csvfile.Row, *csvfile.Problems) bool, each func(*csvfile.Row) bool) error {
	wrong := &WrongError{File: file}
	whole := bufio.NewReader(r)
	if _, err := whole.Peek(1); errors.Is(err, io.EOF) {
		wrong.Problems.Add(csvfile.Problem{File: file, Line: 1, Message: "expected a header line and rows of counts, got an empty file"})
		return wrong
	}
	folded, err := foldHeader(file, whole, columns, &wrong.Problems)
	switch {
	case err != nil:
		return err
	case wrong.Problems.Count() > 0:
		return wrong
	}
	rows := 0
	err = csvfile.Scan(file, folded, columns, &wrong.Problems, func(row *csvfile.Row) error {
		if rows++; rows == 1 && !first(row, &wrong.Problems) {
			return errStop
		}
		if most > 0 && rows > most {
			wrong.Problems.Add(row.Problem("", fmt.Sprintf("expected at most %d rows, since each is kept by itself, got more; add up rows that are alike into one, with what failed and among how many", most)))
			return errStop
		}
		if !each(row) {
			return errStop
		}
		return nil
	})
	switch {
	case err != nil && !errors.Is(err, errStop):
		return err
	case wrong.Problems.Count() > 0:
		return wrong
	case rows == 0:
		wrong.Problems.Add(csvfile.Problem{File: file, Line: 1, Message: "expected at least one row of counts below the header, got none"})
		return wrong
	}
	return nil
}

// heading makes a problem of the header line.
func heading(file, name, format string, args ...any) csvfile.Problem {
	return csvfile.Problem{File: file, Line: 1, Name: name, Message: fmt.Sprintf(format, args...)}
}

// oneOf finds which of the names the file has a column for. It notes a problem where
// there are several, and where there is none though one is wanted.
func oneOf(file string, row *csvfile.Row, problems *csvfile.Problems, wanted bool, names ...string) (string, bool) {
	var have []string
	for _, n := range names {
		if row.Has(n) {
			have = append(have, n)
		}
	}
	switch {
	case len(have) == 1:
		return have[0], true
	case len(have) > 1:
		problems.Add(heading(file, have[1], "expected one of the columns %s, got %s", strings.Join(names, ", "), strings.Join(have, " and ")))
		return "", false
	case wanted:
		problems.Add(heading(file, names[0], "expected a column %s, got none", strings.Join(names, " or ")))
		return "", false
	}
	return "", true
}

// tally is how a file says what failed among how many attempts.
type tally struct{ failures, attempts, successes string }

// among reads the columns of the first row: attempts, or how many went well.
func (t *tally) among(file string, row *csvfile.Row, problems *csvfile.Problems, failures, attempts []string) bool {
	var ok bool
	good := true
	if t.failures, ok = oneOf(file, row, problems, true, failures...); !ok {
		good = false
	}
	if row.Has("successes") {
		t.successes = "successes"
	}
	if t.attempts, ok = oneOf(file, row, problems, false, attempts...); !ok {
		good = false
	} else if t.attempts == "" && t.successes == "" {
		problems.Add(heading(file, attempts[0], "expected a column %s or successes, got none", strings.Join(attempts, ", ")))
		good = false
	}
	return good
}

// read gives what failed among how many attempts.
func (t tally) read(row *csvfile.Row) (failures, attempts int64) {
	failures = row.RequiredWhole(t.failures, 0, stats.MaxCount)
	if t.successes != "" {
		attempts = failures + row.RequiredWhole(t.successes, 0, stats.MaxCount/2)
	}
	if t.attempts == "" {
		return failures, attempts
	}
	given := row.RequiredWhole(t.attempts, 0, stats.MaxCount)
	switch {
	case row.Bad():
	case given < failures:
		row.Fail(t.attempts, "expected at least as many as failed, %d, got %d", failures, given)
	case t.successes != "" && given != attempts:
		row.Fail(t.attempts, "expected %s and %s together, %d, got %d", t.failures, t.successes, attempts, given)
	}
	return failures, given
}
