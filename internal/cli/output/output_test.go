package output

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
)

type bolt struct {
	name   string
	torque *float64
	count  int64
	at     time.Time
	tags   []string
	good   bool
}

var boltColumns = []Column[bolt]{
	{Name: "name", Heading: "BOLT", Value: func(b bolt) any { return b.name }},
	{Name: "torque_n_m", Heading: "N.m", Value: func(b bolt) any {
		if b.torque == nil {
			return nil
		}
		return *b.torque
	}, Text: func(b bolt) string {
		if b.torque == nil {
			return "-"
		}
		return "about " + Number(math.Round(*b.torque))
	}},
	{Name: "count", Heading: "COUNT", Value: func(b bolt) any { return b.count }},
	{Name: "at", Value: func(b bolt) any { return b.at }},
	{Name: "tags", Value: func(b bolt) any { return b.tags }},
	{Name: "good", Heading: "GOOD", Value: func(b bolt) any { return b.good }},
	{Heading: "ONLY", Value: func(bolt) any { return "table" }},
}

func bolts() []bolt {
	torque := 32.123456789012345
	return []bolt{
		{"a \"b\" <c>", &torque, math.MaxInt64, time.Date(2026, 3, 2, 7, 25, 0, 123456000, time.FixedZone("", -5*3600)), []string{"x", "y"}, true},
		{"=cmd()", nil, -3, time.Date(2026, 3, 2, 7, 25, 0, 0, time.UTC), nil, false},
	}
}

func render(t *testing.T, format Format, rows []bolt, notes ...Note) (out, side string) {
	t.Helper()
	var o, e bytes.Buffer
	w, err := New(Config{format, &o, &e}, "bolts", boltColumns)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if err := w.Row(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(notes...); err != nil {
		t.Fatal(err)
	}
	return o.String(), e.String()
}

var note = Note{Key: "cautions", Value: []string{"mind"}, Text: []string{"caution: mind"}}

func TestJSON(t *testing.T) {
	out, _ := render(t, JSON, bolts(), note)
	var got map[string]any
	decoder := json.NewDecoder(strings.NewReader(out))
	decoder.UseNumber()
	if err := decoder.Decode(&got); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	want := map[string]any{
		"bolts": []any{
			map[string]any{"name": `a "b" <c>`, "torque_n_m": json.Number("32.123456789012344"), "count": json.Number("9223372036854775807"),
				"at": "2026-03-02T07:25:00.123456-05:00", "tags": []any{"x", "y"}, "good": true},
			map[string]any{"name": "=cmd()", "torque_n_m": nil, "count": json.Number("-3"), "at": "2026-03-02T07:25:00Z", "tags": []any{}, "good": false},
		},
		"cautions": []any{"mind"},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	if first, second := strings.Index(out, `"name"`), strings.Index(out, `"good"`); first > second {
		t.Error("the keys are not in the order of the columns")
	}
	if out, _ := render(t, JSON, nil); out != "{\n  \"bolts\": []\n}\n" {
		t.Errorf("empty: %q", out)
	}
}

func TestJSONHasNoWordForNotANumber(t *testing.T) {
	nan := math.NaN()
	out, _ := render(t, JSON, []bolt{{torque: &nan}})
	if !json.Valid([]byte(out)) || !strings.Contains(out, `"torque_n_m": null`) {
		t.Error(out)
	}
}

func TestCSV(t *testing.T) {
	out, side := render(t, CSV, bolts(), note)
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{
		{"name", "torque_n_m", "count", "at", "tags", "good"},
		{`a "b" <c>`, "32.123456789012344", "9223372036854775807", "2026-03-02T07:25:00.123456-05:00", "x;y", "true"},
		{"'=cmd()", "", "-3", "2026-03-02T07:25:00Z", "", "false"},
	}
	if !reflect.DeepEqual(rows, want) {
		t.Errorf("got %q", rows)
	}
	if side != "caution: mind\n" {
		t.Errorf("side %q", side)
	}
}

func TestInert(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "plain": "plain", "=1+1": "'=1+1", "+cmd|": "'+cmd|", "-2+3": "'-2+3", "@x": "'@x", "\tx": "'\tx",
		"-": "-", "-12": "-12", "+1.5": "+1.5", "-1.5.2": "'-1.5.2", "--1": "'--1", "-.": "'-.", "a=b": "a=b",
	} {
		if got := inert(text); got != want {
			t.Errorf("inert(%q) = %q, want %q", text, got, want)
		}
	}
}

func TestTable(t *testing.T) {
	out, side := render(t, Table, bolts(), note)
	want := "BOLT       N.m       COUNT                GOOD  ONLY\n" +
		"a \"b\" <c>  about 32  9223372036854775807  yes   table\n" +
		"=cmd()     -         -3                   no    table\n" +
		"\ncaution: mind\n"
	if out != want || side != "" {
		t.Errorf("got\n%s\nwant\n%s\nside %q", out, want, side)
	}
	out, side = render(t, Table, nil)
	if out != "" || side != "there are no bolts to show\n" {
		t.Errorf("empty: %q, side %q", out, side)
	}
}

func TestTableNeverSendsControlCharacters(t *testing.T) {
	out, _ := render(t, Table, []bolt{{name: "a\x1b[31mb\nc\td\u202ee"}})
	if strings.ContainsAny(out, "\x1b\t\u202e") || strings.Count(out, "\n") != 2 {
		t.Errorf("%q", out)
	}
}

func TestShow(t *testing.T) {
	var o bytes.Buffer
	if err := Show(Config{Table, &o, io.Discard}, "bolts", boltColumns, bolts()[0]); err != nil {
		t.Fatal(err)
	}
	want := "name          a \"b\" <c>\ntorque (N.m)  about 32\ncount         9223372036854775807\nat            2026-03-02 07:25 -05:00\ntags          x;y\ngood          yes\n"
	if o.String() != want {
		t.Errorf("got\n%s", o.String())
	}
	o.Reset()
	if err := Show(Config{JSON, &o, io.Discard}, "bolts", boltColumns, bolts()[0]); err != nil || !strings.HasPrefix(o.String(), "{\n  \"bolts\": [") {
		t.Errorf("%v %s", err, o.String())
	}
}

func TestNumber(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 32: "32", 0.1: "0.1", 1e-7: "1e-07", 123456789: "123456789", 1e15: "1e+15", -2.5: "-2.5"} {
		if got := Number(v); got != want {
			t.Errorf("Number(%v) = %s, want %s", v, got, want)
		}
	}
}

func TestParseFormat(t *testing.T) {
	if f, err := ParseFormat("json"); err != nil || f != JSON {
		t.Error(f, err)
	}
	if _, err := ParseFormat("xml"); err == nil || !strings.Contains(err.Error(), "table, json, csv") {
		t.Error(err)
	}
}

type fullDisk struct{}

var errFull = errors.New("no space left")

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestWriteErrorsAreNotLost(t *testing.T) {
	for _, f := range []Format{Table, JSON, CSV} {
		w, err := New(Config{f, fullDisk{}, io.Discard}, "bolts", boltColumns)
		for _, r := range bolts() {
			if err == nil {
				err = w.Row(r)
			}
		}
		if err == nil {
			err = w.Close()
		}
		if !errors.Is(err, errFull) {
			t.Errorf("%s: %v", f, err)
		}
	}
}

func TestWrap(t *testing.T) {
	line := "caution: " + strings.TrimSpace(strings.Repeat("words of äöü ", 20))
	for i, l := range strings.Split(Wrap(line), "\n") {
		if n := len([]rune(l)); n > lineWidth || i > 0 && !strings.HasPrefix(l, "  ") {
			t.Errorf("line %d has %d characters: %q", i, n, l)
		}
	}
	if got := strings.Join(strings.Fields(Wrap(line)), " "); got != line {
		t.Errorf("words were lost: %q", got)
	}
	// What is indented stays so, spaces in a line stay, and none end one.
	long := "  HOLD  " + strings.Repeat("x", 85) + "  (limit 4.4)"
	if got, want := Wrap(long), "  HOLD  "+strings.Repeat("x", 85)+"\n    (limit 4.4)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := Wrap("short"); got != "short" {
		t.Error(got)
	}
}

// An object is nested in JSON and is its values in CSV; the rows of another list
// nest by the same columns.
func TestNestedObjects(t *testing.T) {
	inner := []Column[int]{{Name: "n", Value: func(n int) any { return n }}, {Heading: "ONLY", Text: func(int) string { return "shown" }},
		{Name: "given", Value: func(n int) any {
			if n == 0 {
				return nil
			}
			return "=yes"
		}}}
	columns := []Column[int]{
		{Name: "one", Value: func(n int) any { return ObjectOf(inner, n) }},
		{Name: "all", Value: func(n int) any { return ObjectsOf(inner, []int{0, n}) }},
	}
	for format, want := range map[Format]string{
		JSON: "{\n  \"things\": [\n    {\"one\": {\"n\": 3, \"given\": \"=yes\"}, \"all\": [{\"n\": 0, \"given\": null}, {\"n\": 3, \"given\": \"=yes\"}]}\n  ]\n}\n",
		CSV:  "one,all\n3 =yes,0;3 =yes\n",
	} {
		var out strings.Builder
		if err := Show(Config{Format: format, Out: &out, Err: &out}, "things", columns, 3); err != nil {
			t.Fatal(err)
		}
		if out.String() != want {
			t.Errorf("%s: got %q, want %q", format, out.String(), want)
		}
	}
}
