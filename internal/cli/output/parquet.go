package output

import (
	"bytes"
	"strings"
	"time"

	"jointledger/internal/cli/columnar"
)

// parquetWriter writes the same columns as CSV, typed: a column is of the kind of its
// values. All rows are held until the end, for the first of them need not say what a
// column is.
type parquetWriter[T any] struct {
	config  Config
	columns []Column[T]
	rows    [][]any
}

// Row takes a row.
func (w *parquetWriter[T]) Row(row T) error {
	values := make([]any, len(w.columns))
	for i, c := range w.columns {
		values[i] = columnarValue(c.Value(row))
	}
	w.rows = append(w.rows, values)
	return nil
}

// Close writes the file; the notes are kept in its footer by their keys, and shown on
// the side as with CSV.
func (w *parquetWriter[T]) Close(notes ...Note) error {
	columns := make([]columnar.Column, len(w.columns))
	for i, c := range w.columns {
		columns[i] = columnar.Column{Name: c.Name, Kind: kindOf(w.rows, i)}
	}
	metadata, err := footer(notes)
	if err != nil {
		return err
	}
	file, err := columnar.NewWriter(w.config.Out, columns, metadata)
	if err != nil {
		return err
	}
	for _, row := range w.rows {
		for i := range row {
			row[i] = fitting(row[i], columns[i].Kind)
		}
		if err := file.Write(row); err != nil {
			return err
		}
	}
	if err := file.Close(); err != nil {
		return err
	}
	return writeNotes(w.config.Err, false, notes)
}

// columnarValue brings a value to one of the types of a columnar file. Lists and
// objects are text, written as in CSV.
func columnarValue(value any) any {
	switch v := value.(type) {
	case nil, string, bool, int64, float64:
		return v
	case int:
		return int64(v)
	case int32:
		return int64(v)
	case time.Time:
		if v.IsZero() {
			return nil
		}
		return v
	}
	if text := plain(value); text != "" {
		return text
	}
	return nil
}

// kindOf is the kind of a column's values: whole numbers among others make numbers,
// kinds that have nothing in common make text. A column without any value is text.
func kindOf(rows [][]any, i int) columnar.Kind {
	kind := columnar.Kind(0)
	for _, row := range rows {
		var k columnar.Kind
		switch row[i].(type) {
		case nil:
			continue
		case int64:
			k = columnar.Integer
		case float64:
			k = columnar.Real
		case bool:
			k = columnar.Boolean
		case time.Time:
			k = columnar.Moment
		default:
			k = columnar.Text
		}
		numbers := func(a, b columnar.Kind) bool { return a == columnar.Integer && b == columnar.Real }
		switch {
		case kind == 0:
			kind = k
		case numbers(kind, k) || numbers(k, kind):
			kind = columnar.Real
		case kind != k:
			return columnar.Text
		}
	}
	if kind == 0 {
		return columnar.Text
	}
	return kind
}

// fitting brings a value to the kind of its column.
func fitting(value any, kind columnar.Kind) any {
	switch v := value.(type) {
	case int64:
		if kind == columnar.Real {
			return float64(v)
		}
	case string:
		// What is no text in UTF-8 can't be read back by other programs.
		return strings.ToValidUTF8(v, "\ufffd")
	}
	if kind == columnar.Text && value != nil {
		return plain(value)
	}
	return value
}

// footer are the notes by their keys: text as it is, all else as JSON.
func footer(notes []Note) (map[string]string, error) {
	metadata := map[string]string{}
	for _, n := range notes {
		if n.Key == "" || n.Value == nil {
			continue
		}
		if text, ok := n.Value.(string); ok {
			metadata[n.Key] = text
			continue
		}
		var b bytes.Buffer
		if err := writeJSON(&b, n.Value); err != nil {
			return nil, err
		}
		metadata[n.Key] = b.String()
	}
	return metadata, nil
}
