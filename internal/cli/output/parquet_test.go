package output

import (
	"bytes"
	"errors"
	"io"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
)

// readParquet reads a file back with the library's own reader of whole files.
func readParquet(t *testing.T, content []byte) (f *parquet.File, rows []map[string]any) {
	t.Helper()
	f, err := parquet.OpenFile(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		t.Fatal(err)
	}
	r := parquet.NewReader(f)
	defer r.Close() // it reads from memory
	for {
		row := map[string]any{}
		err := r.Read(&row)
		if errors.Is(err, io.EOF) {
			return f, rows
		}
		if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, row)
	}
}

func TestParquetKeepsValuesAndTypes(t *testing.T) {
	out, side := render(t, Parquet, bolts(), note, Note{Key: "method", Value: "Wilson", Text: []string{"method: Wilson"}}, Note{Key: "none", Value: nil})
	f, rows := readParquet(t, []byte(out))
	var names, kinds []string
	for _, field := range f.Schema().Fields() {
		names, kinds = append(names, field.Name()), append(kinds, field.Type().String())
	}
	if d := cmp.Diff([]string{"name", "torque_n_m", "count", "at", "tags", "good"}, names); d != "" {
		t.Errorf("columns (-want +got):\n%s", d)
	}
	if d := cmp.Diff([]string{"STRING", "DOUBLE", "INT(64,true)", "TIMESTAMP(isAdjustedToUTC=true,unit=MICROS)", "STRING", "BOOLEAN"}, kinds); d != "" {
		t.Errorf("types (-want +got):\n%s", d)
	}
	at := bolts()[0].at
	if len(rows) != 2 || rows[0]["torque_n_m"] != 32.123456789012345 || rows[0]["count"] != int64(math.MaxInt64) || rows[0]["tags"] != "x;y" ||
		rows[0]["good"] != true || rows[0]["name"] != `a "b" <c>` || rows[1]["torque_n_m"] != nil || rows[1]["tags"] != nil || rows[1]["name"] != "=cmd()" {
		t.Errorf("rows %v", rows)
	}
	switch v := rows[0]["at"].(type) {
	case int64:
		if v != at.UnixMicro() {
			t.Errorf("at %d", v)
		}
	case time.Time:
		if !v.Equal(at) {
			t.Errorf("at %s", v)
		}
	default:
		t.Errorf("at is a %T", v)
	}
	for key, want := range map[string]string{"method": "Wilson", "cautions": `["mind"]`} {
		if got, ok := f.Lookup(key); !ok || got != want {
			t.Errorf("the footer says %q of %s", got, key)
		}
	}
	if _, ok := f.Lookup("none"); ok {
		t.Error("what is not given stands in the footer")
	}
	if side != "caution: mind\nmethod: Wilson\n" {
		t.Errorf("on the side %q", side)
	}
}

// An empty list is a file with its columns.
func TestParquetWithoutRows(t *testing.T) {
	out, _ := render(t, Parquet, nil)
	f, rows := readParquet(t, []byte(out))
	if len(rows) != 0 || len(f.Schema().Fields()) != 6 {
		t.Errorf("%d rows, %d columns", len(rows), len(f.Schema().Fields()))
	}
}

// Whole numbers among others are numbers; kinds with nothing in common are text.
func TestParquetKinds(t *testing.T) {
	type row = []any
	column := func(i int, name string) Column[row] {
		return Column[row]{Name: name, Value: func(r row) any { return r[i] }}
	}
	var b bytes.Buffer
	w, err := New(Config{Parquet, &b, io.Discard}, "rows", []Column[row]{column(0, "numbers"), column(1, "mixed"), column(2, "empty"), column(3, "object")})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range []row{{nil, nil, nil, Object{{"a", 1}, {"b", "x"}}}, {int32(3), 7, nil, nil}, {2.5, "seven", nil, []float64{1, 2}}} {
		if err := w.Row(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	_, rows := readParquet(t, b.Bytes())
	want := []map[string]any{
		{"numbers": nil, "mixed": nil, "empty": nil, "object": "1 x"},
		{"numbers": 3.0, "mixed": "7", "empty": nil, "object": nil},
		{"numbers": 2.5, "mixed": "seven", "empty": nil, "object": "1;2"},
	}
	if d := cmp.Diff(want, rows); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}
