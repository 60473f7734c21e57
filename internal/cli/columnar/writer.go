package columnar

import (
	"fmt"
	"io"
	"maps"
	"slices"

	"github.com/parquet-go/parquet-go"
)

// Writer writes rows to a Parquet file, compressed with Snappy, which every reader
// knows.
type Writer struct {
	columns []Column
	rows    *parquet.GenericWriter[any]
	written int64
}

// NewWriter begins a file with columns in the order given. What metadata says (method,
// assumption, when the data were read) is kept in the file's footer. The error names
// the column: without a name, named like another, or of no kind.
func NewWriter(w io.Writer, columns []Column, metadata map[string]string) (*Writer, error) {
	schema, err := schemaOf(columns)
	if err != nil {
		return nil, err
	}
	options := []parquet.WriterOption{schema, parquet.CreatedBy("jointledger", "", "")}
	for _, key := range slices.Sorted(maps.Keys(metadata)) {
		options = append(options, parquet.KeyValueMetadata(key, metadata[key]))
	}
	return &Writer{columns: slices.Clone(columns), rows: parquet.NewGenericWriter[any](w, options...)}, nil
}

// Write adds a row: a value for each column, nil for one that is not known. The error
// names row and column; a row that is refused leaves nothing behind.
func (w *Writer) Write(row []any) error {
	if len(row) != len(w.columns) {
		return fmt.Errorf("row %d has %d values for %d columns", w.written+1, len(row), len(w.columns))
	}
	values := make(parquet.Row, len(row))
	for i, c := range w.columns {
		v, err := c.value(row[i])
		if err != nil {
			return fmt.Errorf("row %d: %w", w.written+1, err)
		}
		present := 1
		if row[i] == nil {
			present = 0
		}
		values[i] = v.Level(0, present, i)
	}
	if _, err := w.rows.WriteRows([]parquet.Row{values}); err != nil {
		return fmt.Errorf("row %d: %w", w.written+1, err)
	}
	w.written++
	return nil
}

// Close writes what is still held and the footer, without which the file cannot be
// read. It does not close what it writes to.
func (w *Writer) Close() error { return w.rows.Close() }
