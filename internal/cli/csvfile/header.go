package csvfile

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"jointledger/internal/nearest"
)

// readHeader reads and checks the header; false when the file can't be read on.
func (s *scanner) readHeader() (bool, error) {
	record, err := s.record()
	if errors.Is(err, io.EOF) {
		if s.problems.Count() == 0 {
			s.add(Problem{Line: 1, Column: 1, Message: strings.TrimSpace("expected a header line "+s.expectedHeader()) + ", got an empty file"})
		}
		return false, nil
	}
	if err != nil || record == nil {
		return false, err
	}
	for _, name := range record {
		s.header = append(s.header, strings.TrimSpace(name))
	}
	return s.checkHeader(), nil
}

func (s *scanner) expectedHeader() string {
	var names []string
	for _, c := range s.columns {
		if c.Required {
			names = append(names, c.Name)
		}
	}
	return strings.Join(names, ",")
}

func (s *scanner) checkHeader() bool {
	line, _ := s.fieldPos(0)
	fail := func(column int, name, format string, args ...any) {
		s.add(Problem{Line: line, Column: column, Name: name, Message: fmt.Sprintf(format, args...)})
	}
	if len(s.header) == 1 && strings.ContainsAny(s.header[0], ";\t") {
		fail(1, "", "expected commas between the columns, got semicolons or tabs: %s", quote(s.header[0]))
		return false
	}
	if strings.Contains(strings.Join(s.header, ""), "\r") {
		fail(1, "", "expected lines that end with LF or CRLF, got lone carriage returns")
		return false
	}
	good := true
	missing := s.missing()
	seen := map[string]int{}
	for i, name := range s.header {
		_, c := s.fieldPos(i)
		column := s.feeder.column(line, c)
		if first, twice := seen[name]; twice && name != "" {
			fail(column, name, "expected each column once, got it again; it stands in field %d too", first+1)
			good = false
			continue
		}
		seen[name] = i
		if s.known(name) {
			continue
		}
		good = false
		// A mistyped column is one mistake, not two: the one it was meant to be is
		// not reported missing besides.
		if meant, ok := nearest.Name(name, missing); ok && name != "" {
			missing = without(missing, meant)
			fail(column, meant, "expected a column with this name, got %s", quote(name))
			continue
		}
		hint := ""
		if meant, ok := nearest.Name(name, s.names()); ok && name != "" {
			hint = fmt.Sprintf("; did you mean %s?", meant)
		}
		fail(column, name, "expected one of the columns %s, got %s%s", strings.Join(s.names(), ", "), quote(name), hint)
	}
	for _, name := range missing {
		fail(1, name, "expected this column in the header, got %s", quote(strings.Join(s.header, ",")))
		good = false
	}
	return good
}

func (s *scanner) names() []string {
	names := make([]string, len(s.columns))
	for i, c := range s.columns {
		names[i] = c.Name
	}
	return names
}

func (s *scanner) known(name string) bool {
	for _, c := range s.columns {
		if c.Name == name {
			return true
		}
	}
	return false
}

// missing are the required columns that the header does not have.
func (s *scanner) missing() []string {
	have := map[string]bool{}
	for _, name := range s.header {
		have[name] = true
	}
	var names []string
	for _, c := range s.columns {
		if c.Required && !have[c.Name] {
			names = append(names, c.Name)
		}
	}
	return names
}

func without(names []string, name string) []string {
	var rest []string
	for _, n := range names {
		if n != name {
			rest = append(rest, n)
		}
	}
	return rest
}
