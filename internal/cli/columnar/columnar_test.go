package columnar

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
)

var columns = []Column{{"site", Text}, {"attempts", Integer}, {"rate_per_1000", Real}, {"stands_out", Boolean}, {"as_of", Moment}}

func write(t *testing.T, rows [][]any) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := NewWriter(&b, columns, map[string]string{"method": "Wilson", "assumption": "independent attempts"})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if err := w.Write(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// read gives the rows back, by the types that the file itself names.
func read(t *testing.T, file []byte) (names []string, rows [][]any) {
	t.Helper()
	f, err := parquet.OpenFile(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	for _, field := range f.Schema().Fields() {
		names = append(names, field.Name()+" "+field.Type().String())
	}
	for _, group := range f.RowGroups() {
		from := group.Rows()
		for {
			buffer := make([]parquet.Row, 7)
			n, err := from.ReadRows(buffer)
			for _, r := range buffer[:n] {
				rows = append(rows, values(r))
			}
			if errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(err)
			}
		}
		if err := from.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return names, rows
}

func values(r parquet.Row) []any {
	row := make([]any, len(r))
	for i, v := range r {
		switch {
		case v.IsNull():
		case v.Kind() == parquet.ByteArray:
			row[i] = string(v.ByteArray())
		case v.Kind() == parquet.Double:
			row[i] = v.Double()
		case v.Kind() == parquet.Boolean:
			row[i] = v.Boolean()
		case columns[i].Kind == Moment:
			row[i] = time.UnixMicro(v.Int64()).UTC()
		default:
			row[i] = v.Int64()
		}
	}
	return row
}

func TestRoundTrip(t *testing.T) {
	at := time.Date(2026, 3, 16, 6, 0, 0, 123456000, time.UTC)
	rows := [][]any{
		{"RVB", int64(2310), 4.9, true, at},
		{nil, nil, nil, nil, nil},
		{"", int64(0), 0.0, false, time.UnixMicro(0).UTC()},
		{"Ω \"quoted\", סניף\nline", int64(math.MinInt64), -math.MaxFloat64, true, time.Date(1969, 1, 1, 0, 0, 0, 0, time.UTC)},
		{strings.Repeat("w", 10000), int64(math.MaxInt64), math.SmallestNonzeroFloat64, nil, at.In(time.FixedZone("", 3600)).UTC()},
	}
	for i := range 5000 {
		rows = append(rows, []any{fmt.Sprint("site ", i%200), int64(i), float64(i) / 7, i%2 == 0, at.Add(time.Duration(i) * time.Hour)})
	}
	file := write(t, rows)
	names, got := read(t, file)
	if diff := cmp.Diff([]string{"site STRING", "attempts INT(64,true)", "rate_per_1000 DOUBLE", "stands_out BOOLEAN", "as_of TIMESTAMP(isAdjustedToUTC=true,unit=MICROS)"}, names); diff != "" {
		t.Errorf("columns (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(rows, got); diff != "" {
		t.Errorf("rows (-want +got):\n%s", diff)
	}
	f, err := parquet.OpenFile(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	if v, _ := f.Lookup("method"); v != "Wilson" {
		t.Errorf("the footer says %q of the method", v)
	}
}

// A file of Parquet begins and ends with its four letters, and a file without rows is
// one (Apache Parquet format, "File format").
func TestEmptyFile(t *testing.T) {
	file := write(t, nil)
	if !bytes.HasPrefix(file, []byte("PAR1")) || !bytes.HasSuffix(file, []byte("PAR1")) {
		t.Errorf("%q … %q", file[:4], file[len(file)-4:])
	}
	if names, rows := read(t, file); len(names) != 5 || len(rows) != 0 {
		t.Errorf("%d columns, %d rows", len(names), len(rows))
	}
}

func TestRefusedRows(t *testing.T) {
	var b bytes.Buffer
	w, err := NewWriter(&b, columns, nil)
	if err != nil {
		t.Fatal(err)
	}
	good := []any{"a", int64(1), 1.5, true, time.Unix(0, 0).UTC()}
	for want, row := range map[string][]any{
		"row 1 has 2 values for 5 columns": {"a", int64(1)},
		`row 1: column "rate_per_1000": NaN (float64) is not a value of it: nil or a finite float64`: {"a", int64(1), math.NaN(), true, nil},
		`row 1: column "rate_per_1000": +Inf`:                                                        {"a", int64(1), math.Inf(1), true, nil},
		`row 1: column "attempts": 1 (int)`:                                                          {"a", 1, 1.5, true, nil},
		`row 1: column "site": 7 (int64)`:                                                            {int64(7), int64(1), 1.5, true, nil},
		`row 1: column "as_of": 2026-03-16 (string)`:                                                 {"a", int64(1), 1.5, true, "2026-03-16"},
	} {
		if err := w.Write(row); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%v: %v; want %s", row, err, want)
		}
	}
	if err := w.Write(good); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if _, rows := read(t, b.Bytes()); len(rows) != 1 || cmp.Diff(good, rows[0]) != "" {
		t.Errorf("refused rows left something behind: %v", rows)
	}
}

func TestRefusedColumns(t *testing.T) {
	for want, c := range map[string][]Column{
		"a file needs a column at least":      nil,
		"every column needs a name":           {{"", Text}},
		`two columns are named "a"`:           {{"a", Text}, {"b", Real}, {"a", Real}},
		`column "a": 0 is no kind of column`:  {{"a", 0}},
		`column "a": 77 is no kind of column`: {{"a", 77}},
	} {
		if _, err := NewWriter(io.Discard, c, nil); err == nil || err.Error() != want {
			t.Errorf("%v: %v; want %s", c, err, want)
		}
	}
}
