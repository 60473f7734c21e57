package countfile

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/nearest"
)

// foldHeader gives the file back with the columns that it knows spelt as they are
// known, whatever letter case the header has, and notes columns that are none of them.
// A header that it can't read it leaves for the scanner to refuse.
func foldHeader(file string, r *bufio.Reader, columns []csvfile.Column, problems *csvfile.Problems) (io.Reader, error) {
	line, err := firstLine(r)
	if err != nil {
		return nil, err
	}
	names, ok := namesIn(line)
	if !ok {
		return io.MultiReader(bytes.NewReader(line), r), nil
	}
	known := make([]string, len(columns))
	for i, c := range columns {
		known[i] = c.Name
	}
	changed, column := false, 1
	for i, name := range names {
		switch spelt, ok := knownAs(name, known); {
		case !ok && strings.TrimSpace(name) != "":
			problems.Add(csvfile.Problem{File: file, Line: 1, Column: column, Message: unknownColumn(strings.TrimSpace(name), known)})
		case ok && spelt != name:
			names[i], changed = spelt, true
		}
		column += len([]rune(name)) + 1
	}
	if !changed {
		return io.MultiReader(bytes.NewReader(line), r), nil
	}
	var again bytes.Buffer
	w := csv.NewWriter(&again)
	if err := w.Write(names); err != nil {
		return nil, err
	}
	w.Flush()
	return io.MultiReader(&again, r), w.Error()
}

// knownAs finds a name among those that are known: as it stands, or else whatever its
// letter case, spaces and hyphens.
func knownAs(name string, known []string) (string, bool) {
	name = strings.TrimSpace(name)
	if slices.Contains(known, name) {
		return name, true
	}
	for _, k := range known {
		if Folded(name) == Folded(k) {
			return k, true
		}
	}
	return name, false
}

// unknownColumn says what a file of this kind may have instead. One spelling of each
// name will do.
func unknownColumn(name string, known []string) string {
	var shown []string
	seen := map[string]bool{}
	for _, k := range known {
		if key := Folded(k); !seen[key] {
			seen[key] = true
			shown = append(shown, k)
		}
	}
	text := fmt.Sprintf("%s is none of the columns that this analysis reads", csvfile.Quote(name))
	if meant, ok := nearest.Name(name, shown); ok {
		return text + fmt.Sprintf("; did you mean %s? It reads %s", meant, strings.Join(shown, ", "))
	}
	return text + ": " + strings.Join(shown, ", ") + "; leave the column out, or give it one of these names"
}

// firstLine reads the header line, with its end.
func firstLine(r *bufio.Reader) ([]byte, error) {
	var line []byte
	for len(line) <= csvfile.MaxLine {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		if errors.Is(err, bufio.ErrBufferFull) {
			continue
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		break
	}
	return line, nil
}

// namesIn reads the names of a header line; false where it is none that can be read by
// itself, or its columns are parted by something else than commas.
func namesIn(line []byte) ([]string, bool) {
	names, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(line, []byte("\xef\xbb\xbf")))).Read()
	if err != nil || len(names) == 1 && strings.ContainsAny(names[0], ";\t") {
		return nil, false
	}
	return names, true
}
