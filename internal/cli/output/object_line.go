package output

import (
	"bytes"
	"encoding/csv"
	"io"
)

// WriteObject writes one object on one line: for what has no end, such as a watch,
// and so can't be one object with its rows in a list.
func WriteObject(w io.Writer, o Object) error {
	var b bytes.Buffer
	if err := writeJSON(&b, o); err != nil {
		return err
	}
	b.WriteByte('\n')
	_, err := w.Write(b.Bytes())
	return err
}

// RowByRow begins a CSV list of which every row is written at once.
func RowByRow[T any](c Config, columns []Column[T]) (func(T) error, error) {
	named := withName(columns)
	w := &csvWriter[T]{config: c, columns: named, csv: csv.NewWriter(c.Out)}
	if err := w.heading(); err != nil {
		return nil, err
	}
	return func(row T) error {
		if err := w.Row(row); err != nil {
			return err
		}
		w.csv.Flush()
		return w.csv.Error()
	}, nil
}
