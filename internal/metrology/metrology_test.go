package metrology_test

import (
	"errors"
	"math"
	"testing"

	"jointledger/internal/metrology"
)

// near fails unless got is within the relative tolerance of want.
func near(t *testing.T, name string, got, want, relative float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s = %.12g, want %.12g within %g relative", name, got, want, relative)
	}
}

// closeTo fails unless got is within the absolute tolerance of want.
func closeTo(t *testing.T, name string, got, want, absolute float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > absolute {
		t.Errorf("%s = %.12g, want %.12g within %g", name, got, want, absolute)
	}
}

func wantRangeError(t *testing.T, err error, field string) {
	t.Helper()
	var rangeError *metrology.RangeError
	if !errors.As(err, &rangeError) {
		t.Fatalf("error %v is no *RangeError", err)
	}
	if rangeError.Field != field {
		t.Errorf("field %q, want %q", rangeError.Field, field)
	}
	if rangeError.Allowed == "" {
		t.Error("the allowed range is not named")
	}
}

func class(t *testing.T, code string) metrology.ToolClass {
	t.Helper()
	c, err := metrology.ParseToolClass(code)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSourceString(t *testing.T) {
	tests := []struct {
		source metrology.Source
		want   string
	}{
		{metrology.Source{Title: "ISO 898-1", Edition: "2013", Place: "table 3", Mark: metrology.Seen}, "ISO 898-1, edition 2013, table 3 (seen)"},
		{metrology.Source{Title: "ISO 273", Mark: metrology.Memory}, "ISO 273 (from memory)"},
		{metrology.Source{Mark: metrology.Practice}, "common practice, no source"},
	}
	for _, tt := range tests {
		if got := tt.source.String(); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}

// ISO 6789-1:2017, clauses 4 and 5.1.5: row II-A seen in a tool manual quoting
// the standard, the rest from memory. Readings at each point from memory.
func TestToolClassTable(t *testing.T) {
	want := map[string]struct {
		low, high float64
		readings  int
	}{
		"I-A": {6, 6, 5}, "I-B": {6, 4, 5}, "I-C": {6, 4, 5}, "I-D": {6, 6, 5}, "I-E": {6, 4, 5},
		"II-A": {6, 4, 5}, "II-B": {6, 4, 10}, "II-C": {6, 4, 10}, "II-D": {6, 6, 5},
		"II-E": {6, 6, 10}, "II-F": {6, 6, 10}, "II-G": {6, 6, 5},
	}
	classes := metrology.ToolClasses()
	if len(classes) != len(want) {
		t.Fatalf("%d classes, want %d", len(classes), len(want))
	}
	for _, c := range classes {
		w, ok := want[c.Code()]
		if !ok {
			t.Errorf("class %s is not in ISO 6789-1", c.Code())
			continue
		}
		// The bound is 10 N·m inclusive, and it is the tool's maximum.
		for _, at := range []struct{ max, limit float64 }{{5, w.low}, {10, w.low}, {10.1, w.high}, {340, w.high}} {
			got, err := c.LimitPercent(at.max)
			if err != nil || got != at.limit {
				t.Errorf("%s at maximum %g N·m: limit %g, %v; want %g", c.Code(), at.max, got, err, at.limit)
			}
		}
		if c.Readings != w.readings {
			t.Errorf("%s: %d readings, want %d", c.Code(), c.Readings, w.readings)
		}
		if c.Source.Title == "" || c.Source.Edition == "" || c.Source.Mark == "" {
			t.Errorf("%s carries no full source: %v", c.Code(), c.Source)
		}
	}
	_, err := class(t, "II-A").LimitPercent(0)
	wantRangeError(t, err, "maximum torque of the tool")
}

func TestToolClassesIsACopy(t *testing.T) {
	metrology.ToolClasses()[0].LimitAbove10 = 99
	if got := metrology.ToolClasses()[0].LimitAbove10; got != 6 {
		t.Errorf("the table was changed from outside: %g", got)
	}
}

func TestParseToolClass(t *testing.T) {
	for _, text := range []string{"II-A", "ii-a", "IIA", "II A", "Type II Class A", "type ii, class a"} {
		c, err := metrology.ParseToolClass(text)
		if text == "type ii, class a" {
			if err == nil {
				t.Errorf("%q was read as %s: a comma is not part of the form", text, c.Code())
			}
			continue
		}
		if err != nil || c.Code() != "II-A" {
			t.Errorf("%q: %s, %v", text, c.Code(), err)
		}
	}
	_, err := metrology.ParseToolClass("III-A")
	var unknown *metrology.UnknownToolClassError
	if !errors.As(err, &unknown) || len(unknown.Known) != 12 {
		t.Errorf("III-A: %v, want an error listing the 12 classes", err)
	}
}

func FuzzParseToolClass(f *testing.F) {
	for _, seed := range []string{"II-A", "I E", "type i class b", "", "II-H", "ⅡA", "\x00"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := metrology.ParseToolClass(text)
		if err != nil {
			var unknown *metrology.UnknownToolClassError
			if !errors.As(err, &unknown) || unknown.Text != text {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		again, err := metrology.ParseToolClass(c.Code())
		if err != nil || again != c {
			t.Fatalf("%q gave %s, which reads back as %v, %v", text, c.Code(), again, err)
		}
	})
}

// ISO 6789-1:2017, clause 7 (formula from memory). The constructed readings
// were computed by hand with the reference as denominator.
func TestDeviation(t *testing.T) {
	tests := []struct{ target, reference, want float64 }{
		{60, 58.6, 2.389}, {60, 58.9, 1.868}, {60, 59.2, 1.351}, {60, 58.4, 2.740}, {60, 58.8, 2.041},
		{100, 104.1, -3.94}, {100, 96.1, 4.06},
	}
	for _, tt := range tests {
		got, err := metrology.Reading{Target: tt.target, Reference: tt.reference}.DeviationPercent()
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "deviation", got, tt.want, 0.005)
	}
	_, err := metrology.Reading{Target: 10}.DeviationPercent()
	wantRangeError(t, err, "reference torque")
	_, err = metrology.Reading{Target: math.NaN(), Reference: 10}.DeviationPercent()
	wantRangeError(t, err, "target torque")
}

func TestReferenceLimitsAreNotSymmetric(t *testing.T) {
	got, err := metrology.ReferenceLimits(100, 4)
	if err != nil {
		t.Fatal(err)
	}
	// Derived from a = (Xa − Xr)/Xr: 100/1.04 and 100/0.96.
	closeTo(t, "low", got.Low, 96.154, 0.0005)
	closeTo(t, "high", got.High, 104.167, 0.0005)
	if !got.Contains(104.1) || got.Contains(96.1) {
		t.Error("104.1 must pass and 96.1 must fail at ±4 %")
	}
	_, err = metrology.ReferenceLimits(100, 100)
	wantRangeError(t, err, "permissible deviation")
}

// Set 88 N·m, as found +7 %: 82.24 N·m, −6.54 % (derived).
func TestDeliveredTorque(t *testing.T) {
	got, err := metrology.DeliveredTorque(88, 7)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "delivered", got, 82.24, 0.005)
	closeTo(t, "share", (got/88-1)*100, -6.54, 0.005)
	_, err = metrology.DeliveredTorque(88, -100)
	wantRangeError(t, err, "relative deviation")
}

func TestUsableRange(t *testing.T) {
	tests := []struct {
		name   string
		r      metrology.TorqueRange
		usable metrology.TorqueInterval
		best   metrology.TorqueInterval
	}{
		// Common practice, no source: 20-100 % of the maximum, best 30-90 %.
		{"unknown lowest mark", metrology.TorqueRange{Maximum: 100}, metrology.TorqueInterval{Low: 20, High: 100}, metrology.TorqueInterval{Low: 30, High: 90}},
		{"mark below 20 %", metrology.TorqueRange{Lowest: 10, Maximum: 100}, metrology.TorqueInterval{Low: 20, High: 100}, metrology.TorqueInterval{Low: 30, High: 90}},
		{"short scale", metrology.TorqueRange{Lowest: 40, Maximum: 100}, metrology.TorqueInterval{Low: 40, High: 100}, metrology.TorqueInterval{Low: 40, High: 90}},
		{"fixed tool", metrology.TorqueRange{Lowest: 100, Maximum: 100}, metrology.TorqueInterval{Low: 100, High: 100}, metrology.TorqueInterval{Low: 100, High: 100}},
	}
	for _, tt := range tests {
		usable, err := tt.r.Usable()
		if err != nil || usable != tt.usable {
			t.Errorf("%s: usable %v, %v; want %v", tt.name, usable, err, tt.usable)
		}
		best, err := tt.r.Best()
		if err != nil || best != tt.best {
			t.Errorf("%s: best %v, %v; want %v", tt.name, best, err, tt.best)
		}
	}
	_, err := metrology.TorqueRange{Lowest: 120, Maximum: 100}.Usable()
	wantRangeError(t, err, "lowest torque of the tool")
}

func TestCautions(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range metrology.Cautions() {
		if c.Topic == "" || c.Text == "" || c.DefersTo == "" || seen[c.Topic] {
			t.Errorf("caution %+v is incomplete or its topic is not unique", c)
		}
		seen[c.Topic] = true
	}
	for _, topic := range []string{"tool-status", "tool-unproven", "work-at-height", "lifting"} {
		if !seen[topic] {
			t.Errorf("no caution on %s", topic)
		}
	}
}
