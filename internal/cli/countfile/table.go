package countfile

import (
	"bufio"
	"bytes"
	"io"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
)

// Table is a file of whatever columns.
type Table struct {
	analysis.ModelTable
	// Lines are those of the file that the rows begin at.
	Lines []int
}

// ReadTable reads a file of whatever columns. The error is a *WrongError, or that of
// r.
func ReadTable(file string, r io.Reader) (Table, error) {
	names, r, err := tableHeader(r)
	if err != nil {
		return Table{}, err
	}
	table := Table{}
	var columns []csvfile.Column
	for _, name := range names {
		columns = append(columns, csvfile.Column{Name: name})
		table.Columns = append(table.Columns, analysis.ModelColumn{Name: name})
	}
	first := func(*csvfile.Row, *csvfile.Problems) bool { return true }
	err = scan(file, r, columns, MostRows, first, func(row *csvfile.Row) bool {
		table.Lines = append(table.Lines, row.Line)
		for i := range table.Columns {
			c := &table.Columns[i]
			c.Words = append(c.Words, row.Text(c.Name))
		}
		return true
	})
	return table, err
}

// tableHeader reads the names in the header and gives the file back whole. What is
// wrong with the header is found when it is read again: a name that is not given or
// given twice stands in no list of columns.
func tableHeader(r io.Reader) ([]string, io.Reader, error) {
	buffered := bufio.NewReader(r)
	line, err := firstLine(buffered)
	if err != nil {
		return nil, nil, err
	}
	whole := io.MultiReader(bytes.NewReader(line), buffered)
	record, ok := namesIn(line)
	if !ok {
		return nil, whole, nil // told when the file is read
	}
	var names []string
	seen := map[string]bool{}
	for _, name := range record {
		if name = strings.TrimSpace(name); name != "" && !seen[name] {
			seen[name] = true
			names = append(names, name)
		}
	}
	return names, whole, nil
}
