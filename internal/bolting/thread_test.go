package bolting_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"jointledger/internal/bolting"
	"jointledger/internal/metrology"
)

// near fails unless got is within the relative tolerance of want.
func near(t *testing.T, name string, got, want, relative float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s = %.8g, want %.8g within %g relative", name, got, want, relative)
	}
}

// closeTo fails unless got is within the absolute tolerance of want.
func closeTo(t *testing.T, name string, got, want, absolute float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > absolute {
		t.Errorf("%s = %.8g, want %.8g within %g", name, got, want, absolute)
	}
}

func thread(t *testing.T, designation string) bolting.Thread {
	t.Helper()
	th, err := bolting.ParseThread(designation)
	if err != nil {
		t.Fatal(err)
	}
	return th
}

func strength(t *testing.T, class string, th bolting.Thread) bolting.Strength {
	t.Helper()
	s, err := bolting.StrengthFor(class, th)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func wantRangeError(t *testing.T, err error, field string) {
	t.Helper()
	var rangeError *metrology.RangeError
	if !errors.As(err, &rangeError) {
		t.Fatalf("error %v is no *metrology.RangeError", err)
	}
	if rangeError.Field != field || rangeError.Allowed == "" {
		t.Errorf("field %q, allowed %q; want field %q", rangeError.Field, rangeError.Allowed, field)
	}
}

// ISO 724 diameters and ISO 898-1 stress areas (areas seen in a reprint of
// tables 4 and 6; the computed column was worked out by hand from the form
// ((d2+d3)/2)²·π/4).
func TestMetricCoarseThreads(t *testing.T) {
	tests := []struct {
		name                   string
		pitch, d2, d3, as, tab float64
	}{
		{"M5", 0.8, 4.480, 4.019, 14.183, 14.2},
		{"M6", 1, 5.350, 4.773, 20.123, 20.1},
		{"M8", 1.25, 7.188, 6.466, 36.609, 36.6},
		{"M10", 1.5, 9.026, 8.160, 57.990, 58.0},
		{"M12", 1.75, 10.863, 9.853, 84.267, 84.3},
		{"M14", 2, 12.701, 11.546, 115.439, 115},
		{"M16", 2, 14.701, 13.546, 156.668, 157},
		{"M18", 2.5, 16.376, 14.933, 192.473, 192},
		{"M20", 2.5, 18.376, 16.933, 244.794, 245},
		{"M22", 2.5, 20.376, 18.933, 303.399, 303},
		{"M24", 3, 22.051, 20.319, 352.504, 353},
		{"M27", 3, 25.051, 23.319, 459.406, 459},
		{"M30", 3.5, 27.727, 25.706, 560.587, 561},
		{"M33", 3.5, 30.727, 28.706, 693.553, 694},
		{"M36", 4, 33.402, 31.093, 816.723, 817},
	}
	for _, tt := range tests {
		th := thread(t, tt.name)
		closeTo(t, tt.name+" P", float64(th.Pitch), tt.pitch, 1e-12)
		closeTo(t, tt.name+" d2", float64(th.PitchDiameter()), tt.d2, 0.0006)
		closeTo(t, tt.name+" d3", float64(th.RootDiameter()), tt.d3, 0.0006)
		closeTo(t, tt.name+" As", float64(th.StressArea()), tt.as, 0.001)
		closeTo(t, tt.name+" As printed", float64(th.NominalStressArea()), tt.tab, 1e-12)
		mean := float64(th.PitchDiameter()+th.RootDiameter()) / 2
		closeTo(t, tt.name+" ds", float64(th.StressDiameter()), mean, 1e-5)
		if th.System() != bolting.Metric || th.Series != bolting.MetricCoarse {
			t.Errorf("%s: %s %s", tt.name, th.System(), th.Series)
		}
	}
	// ISO 724 (from memory): M12 has d1 = 10.106.
	closeTo(t, "M12 d1", float64(thread(t, "M12").MinorDiameter()), 10.106, 0.0006)
}

// ISO 898-1 fine-pitch areas (from memory): printed and computed agree within
// half a unit of the printed digit.
func TestMetricFineThreads(t *testing.T) {
	for name, printed := range map[string]float64{"M8x1": 39.2, "M12x1.25": 92.1, "M16x1.5": 167, "M24x2": 384} {
		th := thread(t, name)
		closeTo(t, name, float64(th.NominalStressArea()), printed, 1e-12)
		closeTo(t, name+" computed", float64(th.StressArea()), printed, 0.5)
		if th.Series != bolting.MetricFine {
			t.Errorf("%s is %s", name, th.Series)
		}
	}
}

// ASME B1.1: 1/4 to 3/8 areas seen, the rest from memory and derived from
// 0.7854·(D − 0.9743/n)².
func TestUNCThreads(t *testing.T) {
	tests := []struct {
		name      string
		as, table float64
	}{
		{"1/4-20", 0.03182, 0.0318}, {"5/16-18", 0.05243, 0.0524}, {"3/8-16", 0.07749, 0.0775},
		{"7/16-14", 0.10631, 0.1063}, {"1/2-13", 0.14190, 0.1419}, {"9/16-12", 0.18194, 0.182},
		{"5/8-11", 0.22600, 0.226}, {"3/4-10", 0.33446, 0.334}, {"7/8-9", 0.46173, 0.462},
		{"1-8", 0.60574, 0.606}, {"1-1/8-7", 0.76327, 0.763}, {"1-1/4-7", 0.96911, 0.969},
	}
	for _, tt := range tests {
		th := thread(t, tt.name)
		closeTo(t, tt.name+" As", th.StressArea().SquareInches(), tt.as, 0.000006)
		closeTo(t, tt.name+" As printed", th.NominalStressArea().SquareInches(), tt.table, 1e-12)
		if th.System() != bolting.Inch || th.Designation != tt.name+" UNC" {
			t.Errorf("%s: %s, %q", tt.name, th.System(), th.Designation)
		}
	}
	half := thread(t, "1/2-13")
	closeTo(t, "pitch", half.Pitch.Inches(), 1./13, 1e-12)
	// ASME B1.1 (from memory): 1/2-13 has pitch diameter 0.4500, minor 0.4167 in.
	closeTo(t, "pitch diameter", half.PitchDiameter().Inches(), 0.4500, 0.00006)
	closeTo(t, "minor diameter", half.MinorDiameter().Inches(), 0.4167, 0.00006)
	// The metric constant on this thread would give 0.14376, and the roots
	// differ in the same sense.
	metric := math.Pi / 4 * math.Pow(0.5-0.938194/13, 2)
	closeTo(t, "metric constant", metric, 0.14376, 0.000006)
	if half.StressArea().SquareInches() > 0.99*metric {
		t.Error("the inch stress area was computed with the metric constant")
	}
	mean := (half.PitchDiameter() + half.RootDiameter()) / 2
	closeTo(t, "ds", float64(half.StressDiameter()), float64(mean), 1e-5)
}

func TestParseThread(t *testing.T) {
	tests := map[string]string{
		"M12": "M12", "m12": "M12", " M 12 ": "M12", "M12x1.75": "M12", "M12 X 1.75": "M12", "M12×1.25": "M12x1.25",
		"M12*1.25": "M12x1.25", "M12-6g": "M12", "M12x1.25-6H": "M12x1.25", "M10-5g6g": "M10", "m8x1": "M8x1", "M8x1.0": "M8x1",
		"M8.0": "M8", "1/2-13": "1/2-13 UNC", "1/2 - 13 UNC": "1/2-13 UNC", "1/2-13UNC-2A": "1/2-13 UNC", "1/2 unc": "1/2-13 UNC",
		`1/2"-13`: "1/2-13 UNC", ".500-13": "1/2-13 UNC", "0.5-13": "1/2-13 UNC", "0.313-18": "5/16-18 UNC", "1-8": "1-8 UNC",
		"1-8 UNC-2B": "1-8 UNC", "1 UNC": "1-8 UNC", "1-1/8-7": "1-1/8-7 UNC", "1 1/8-7": "1-1/8-7 UNC", "9/8-7": "1-1/8-7 UNC", "1-1/4 UNC": "1-1/4-7 UNC", "1.25-7": "1-1/4-7 UNC",
	}
	for text, want := range tests {
		th, err := bolting.ParseThread(text)
		if err != nil || th.Designation != want {
			t.Errorf("%q: %q, %v; want %q", text, th.Designation, err, want)
		}
	}
}

func TestUnknownThreadNamesTheNearest(t *testing.T) {
	tests := []struct {
		text, nearest, hint string
	}{
		{"M13", "M12", ""},
		{"M10x1.25", "M10", ""},
		{"M12x1.26", "M12x1.25", ""},
		{"M12x1", "M12x1.25", ""},
		{"M12x35", "M12", "35 is no pitch but looks like a length"},
		{"M100", "M36", ""},
		{"M1O", "M10", "write it like"},
		{"N12", "M12", "write it like"},
		{"3/8-24", "3/8-16 UNC", ""},
		{"1/2", "1/2-13 UNC", "threads per inch or the word UNC are missing"},
		{"1/0-13", "1/2-13 UNC", "write it like"},
		{"1-5/4-7", "1-1/4-7 UNC", "write it like"},
		{"1/2-13 UMC", "1/2-13 UNC", "write it like"},
		{"", "M5", "write it like"},
		{strings.Repeat("M12", 1000), "M12", "write it like"},
	}
	for _, tt := range tests {
		_, err := bolting.ParseThread(tt.text)
		var unknown *bolting.UnknownThreadError
		if !errors.As(err, &unknown) {
			t.Errorf("%.20q: %v is no *UnknownThreadError", tt.text, err)
			continue
		}
		found := false
		for _, n := range unknown.Nearest {
			found = found || n == tt.nearest
		}
		if !found {
			t.Errorf("%.20q: nearest %v do not hold %s", tt.text, unknown.Nearest, tt.nearest)
		}
		if !strings.Contains(unknown.Hint, tt.hint) || (tt.hint == "" && unknown.Hint != "") {
			t.Errorf("%.20q: hint %q, want %q", tt.text, unknown.Hint, tt.hint)
		}
		if !strings.Contains(err.Error(), unknown.Nearest[0]) {
			t.Errorf("%.20q: the message does not name the nearest: %v", tt.text, err)
		}
	}
	// The very nearest comes first.
	_, err := bolting.ParseThread("M19")
	var unknown *bolting.UnknownThreadError
	if !errors.As(err, &unknown) || unknown.Nearest[0] != "M18" && unknown.Nearest[0] != "M20" {
		t.Errorf("M19: %v", err)
	}
}

func FuzzParseThread(f *testing.F) {
	for _, seed := range []string{"M12", "M12x1.25-6g", "1/2-13 UNC-2A", "1-1/8-7", ".5-13", `1"-8`, "M", "M.", "M12x", "1/0", "-", "M12x35", "İ12", "\xff", "1 1 1"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		th, err := bolting.ParseThread(text)
		if err != nil {
			var unknown *bolting.UnknownThreadError
			if !errors.As(err, &unknown) || unknown.Text != text || len(unknown.Nearest) == 0 {
				t.Fatalf("%q: %v", text, err)
			}
			for _, n := range unknown.Nearest {
				if _, err := bolting.ParseThread(n); err != nil {
					t.Fatalf("%q: the suggestion %q is no thread: %v", text, n, err)
				}
			}
			return
		}
		again, err := bolting.ParseThread(th.Designation)
		if err != nil || again != th {
			t.Fatalf("%q gave %q, which reads back as %+v, %v", text, th.Designation, again, err)
		}
		if th.Pitch <= 0 || th.RootDiameter() <= 0 || th.StressArea() <= 0 {
			t.Fatalf("%q: impossible thread %+v", text, th)
		}
	})
}

func TestThreadsIsACopy(t *testing.T) {
	bolting.Threads()[0].Nominal = 99
	if got := bolting.Threads()[0].Nominal; got != 5 {
		t.Errorf("the table was changed from outside: %v", got)
	}
	if n := len(bolting.Threads()); n != 31 {
		t.Errorf("%d threads, want 15 coarse, 4 fine, 12 UNC", n)
	}
	for _, th := range bolting.Threads() {
		if th.AreaSource.Title == "" || th.AreaSource.Mark == "" {
			t.Errorf("%s: no source", th.Designation)
		}
	}
}

// Exact by definition (NIST SP 811, seen).
func TestUnits(t *testing.T) {
	near(t, "lbf", float64(bolting.PoundsForce(1)), 4.4482216152605, 1e-15)
	near(t, "lbf·ft", float64(bolting.PoundForceFeet(1)), 1.3558179483314004, 1e-15)
	near(t, "lbf·in", float64(bolting.PoundForceInches(1)), 0.1129848290276167, 1e-15)
	near(t, "kgf·m", float64(bolting.KilogramForceMetres(1)), 9.80665, 1e-15)
	near(t, "ksi", float64(bolting.Ksi(1)), 6.894757293168, 1e-15)
	near(t, "N·m in lbf·ft", bolting.NewtonMetres(1).PoundForceFeet(), 0.737562149277, 1e-11)
	near(t, "N·m in lbf·in", bolting.NewtonMetres(1).PoundForceInches(), 8.850745791, 1e-9)
	near(t, "in", float64(bolting.Inches(2)), 50.8, 1e-15)
	near(t, "ksi back", bolting.Ksi(85).Ksi(), 85, 1e-15)
	near(t, "lbf back", bolting.PoundsForce(85).PoundsForce(), 85, 1e-15)
}

func TestThreadsForFlats(t *testing.T) {
	tests := []struct {
		width bolting.Millimetres
		want  []string // threads that must be among the matches
	}{
		// Seen: 19 mm is the old M12 and fits the 3/4 in flats of 1/2-13.
		{19, []string{"M12", "1/2-13 UNC"}},
		{10, []string{"M6"}}, {13, []string{"M8", "M10"}}, {16, []string{"M10"}}, {17, []string{"M10"}}, {18, []string{"M12"}},
		{24, []string{"M16"}}, {30, []string{"M20"}}, {32, []string{"M22", "M20"}}, {36, []string{"M24"}}, {15, []string{"M10"}},
		{bolting.Inches(0.75), []string{"1/2-13 UNC", "M12"}},
		{bolting.Inches(1.25), []string{"3/4-10 UNC"}},
		{100, nil},
	}
	for _, tt := range tests {
		got, err := bolting.ThreadsForFlats(tt.width)
		if err != nil {
			t.Fatal(err)
		}
		if tt.want == nil && len(got) > 0 {
			t.Errorf("%v mm: %v", tt.width, got)
		}
		for _, want := range tt.want {
			found := false
			for _, m := range got {
				found = found || m.Thread == want
			}
			if !found {
				t.Errorf("%v mm: %+v lacks %s", tt.width, got, want)
			}
		}
	}
	got, err := bolting.ThreadsForFlats(bolting.Inches(0.75))
	if err != nil || got[0].Thread != "1/2-13 UNC" {
		t.Errorf("nearest first: %+v, %v", got, err)
	}
	_, err = bolting.ThreadsForFlats(0)
	wantRangeError(t, err, "width across flats")
	for _, r := range bolting.FlatsRows() {
		if _, err := bolting.ParseThread(r.Thread); err != nil {
			t.Errorf("the table names an unknown thread: %v", err)
		}
	}
}
