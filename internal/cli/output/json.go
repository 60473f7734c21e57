package output

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"
)

type jsonWriter[T any] struct {
	out     io.Writer
	key     string
	columns []Column[T]
	rows    int
}

func newJSONWriter[T any](out io.Writer, key string, columns []Column[T]) *jsonWriter[T] {
	return &jsonWriter[T]{out: out, key: key, columns: columns}
}

// Row writes a row; each has a line of its own, so that a list can be read by
// people too.
func (w *jsonWriter[T]) Row(row T) error {
	object := make(Object, len(w.columns))
	for i, c := range w.columns {
		object[i] = Member{c.Name, c.Value(row)}
	}
	var b bytes.Buffer
	if w.rows == 0 {
		fmt.Fprintf(&b, "{\n  %q: [", w.key)
	} else {
		b.WriteByte(',')
	}
	w.rows++
	b.WriteString("\n    ")
	if err := writeJSON(&b, object); err != nil {
		return err
	}
	_, err := w.out.Write(b.Bytes())
	return err
}

// Close writes the notes as members and ends the object.
func (w *jsonWriter[T]) Close(notes ...Note) error {
	var b bytes.Buffer
	if w.rows == 0 {
		fmt.Fprintf(&b, "{\n  %q: [", w.key)
	} else {
		b.WriteString("\n  ")
	}
	b.WriteByte(']')
	for _, n := range notes {
		if n.Key == "" {
			continue
		}
		fmt.Fprintf(&b, ",\n  %q: ", n.Key)
		if err := writeJSON(&b, n.Value); err != nil {
			return err
		}
	}
	b.WriteString("\n}\n")
	_, err := w.out.Write(b.Bytes())
	return err
}

// writeJSON writes a value. Numbers keep their full precision and are never
// strings; a number that JSON has no word for is null.
func writeJSON(b *bytes.Buffer, value any) error {
	switch v := value.(type) {
	case Object:
		b.WriteByte('{')
		for i, m := range v {
			if i > 0 {
				b.WriteString(", ")
			}
			fmt.Fprintf(b, "%q: ", m.Key)
			if err := writeJSON(b, m.Value); err != nil {
				return err
			}
		}
		b.WriteByte('}')
		return nil
	case []Object:
		return writeArray(b, v)
	case []string:
		return writeArray(b, v)
	case []float64:
		return writeArray(b, v)
	case time.Time:
		if v.IsZero() {
			b.WriteString("null")
			return nil
		}
		fmt.Fprintf(b, "%q", v.Format(time.RFC3339Nano))
		return nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			b.WriteString("null")
			return nil
		}
	}
	encoder := json.NewEncoder(b)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(value); err != nil {
		return err
	}
	b.Truncate(b.Len() - 1) // the encoder ends with a line break
	return nil
}

func writeArray[T any](b *bytes.Buffer, values []T) error {
	b.WriteByte('[')
	for i, v := range values {
		if i > 0 {
			b.WriteString(", ")
		}
		if err := writeJSON(b, v); err != nil {
			return err
		}
	}
	b.WriteByte(']')
	return nil
}
