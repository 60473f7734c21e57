package cli

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// reckoned runs a calculator without a server and reads its JSON.
func reckoned(t *testing.T, args ...string) map[string]any {
	t.Helper()
	code, out, errOut := run(t, "", nil, append([]string{"reckon"}, append(args, "--output", "json")...)...)
	if code != exitDone || errOut != "" {
		t.Fatalf("%q: exit %d, %s", args, code, errOut)
	}
	var got map[string]any
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%q: %v in %s", args, err, out)
	}
	return got
}

// figureCheck is one figure that a source gives.
type figureCheck struct {
	name      string
	want      float64
	tolerance float64 // relative
}

// The calculators give what publications give; each case names its source. The
// figures marked derived were worked out by hand or with another program from
// published values, not with this one.
func TestReckonPublishedFigures(t *testing.T) {
	for _, tc := range []struct {
		source string
		args   []string
		want   []figureCheck
	}{
		// R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I; digits
		// recomputed with R 4.2.2.
		{"Newcombe 1998, method 3", []string{"interval", "--failures", "81", "--attempts", "263", "--method", "wilson", "--confidence", "0.95"},
			[]figureCheck{{"estimate", 81.0 / 263, 1e-15}, {"lower", 0.255288519878, 1e-11}, {"upper", 0.366209576983, 1e-11}}},
		{"Newcombe 1998, method 5", []string{"interval", "--failures", "15", "--attempts", "148", "--method", "clopper-pearson"},
			[]figureCheck{{"lower", 0.0578440100834, 1e-10}, {"upper", 0.161650490349, 1e-10}}},
		{"Newcombe 1998, Jeffreys by R", []string{"interval", "--failures", "81", "--attempts", "263", "--method", "jeffreys"},
			[]figureCheck{{"lower", 0.254521934991, 1e-10}, {"upper", 0.365647499174, 1e-10}}},
		// J. A. Hanley, A. Lippman-Hand, JAMA 249 (1983) 1743: 1 − 0.05^(1/n).
		{"rule of three", []string{"interval", "--failures", "0", "--attempts", "300", "--method", "clopper-pearson", "--side", "upper"},
			[]figureCheck{{"lower", 0, 0}, {"upper", 0.00993608194446, 1e-10}}},
		// Welsh nickel workers, first example of R's poisson.test.
		{"Garwood, nickel workers", []string{"interval", "--failures", "137", "--exposure", "24.19893"},
			[]figureCheck{{"estimate", 5.661407, 1e-6}, {"lower", 4.753125, 1e-6}, {"upper", 6.692709, 1e-6}}},

		// ISO 898-1:2013 tables (in reprints): 580 MPa, 84.3 mm²; T = K·F·d by hand.
		{"M12 8.8 at 75 % of proof", []string{"torque", "--thread", "M12", "--class", "8.8", "--nut-factor", "0.20", "--fraction", "0.75", "--method", "torque-dry"},
			[]figureCheck{{"proof_load_newtons", 48894, 1e-12}, {"preload_newtons", 36670.5, 1e-12}, {"torque_newton_metres", 88.0092, 1e-12},
				{"preload_low_newtons", 23840, 1e-3}, {"preload_high_newtons", 49510, 1e-3}, {"preload_high_of_proof", 1.0125, 1e-3}, {"tightening_factor", 2.077, 1e-3}}},
		// SAE J429 as published in torque charts: 4 940 lb, 30 and 23 lb-ft (seen).
		{"3/8-16 Grade 5", []string{"torque", "--thread", "3/8-16", "--class", "Grade 5", "--nut-factor", "0.20", "--fraction", "0.75"},
			[]figureCheck{{"preload_newtons", 4940 * 4.4482216152605, 1e-3}, {"torque_newton_metres", 30.88 * 1.3558179483314004, 1e-3}}},
		{"3/8-16 Grade 5, oiled", []string{"torque", "--thread", "3/8-16", "--class", "Grade 5", "--nut-factor", "0.15", "--fraction", "0.75"},
			[]figureCheck{{"torque_newton_metres", 23.16 * 1.3558179483314004, 1e-3}}},
		// ISO 3506-1: A2-70 has 450 MPa at 0.2 %; derived.
		{"A2-70 M10", []string{"torque", "--thread", "M10", "--class", "A2-70", "--nut-factor", "0.13", "--fraction", "0.65", "--of", "yield"},
			[]figureCheck{{"preload_newtons", 16965, 1e-4}, {"torque_newton_metres", 22.05, 1e-3}}},
		// FAA AC 43.13-1B, 7-40: the running torque is added; derived: 50 lbf·ft and
		// 24 lbf·in make 70.50 N·m. The seating torque is that of 0.75·85 ksi·0.1419 in².
		{"1/2-13 with a self-locking nut", []string{"torque", "--thread", "1/2-13", "--class", "Grade 5", "--nut-factor", "0.13", "--fraction", "0.75", "--running", "24 lbf.in"},
			[]figureCheck{{"torque_newton_metres", 49.0 * 1.3558179483314004, 1e-3}, {"final_torque_newton_metres", (49.0 + 2) * 1.3558179483314004, 1e-3}}},
		// VDI 2230, M12 class 8.8, μ = 0.14: 41.9 kN and 92.9 N·m (seen in reprints).
		{"M12 long form", []string{"preload", "--thread", "M12", "--torque", "92.9 N.m", "--friction", "0.14"},
			[]figureCheck{{"preload_newtons", 41900, 5e-3}, {"nut_factor", 0.184, 5e-3}, {"pitch_torque_newton_metres", 0.126 * 92.9, 5e-3}, {"bearing_torque_newton_metres", 0.477 * 92.9, 5e-3}}},
		{"M12 short form", []string{"preload", "--thread", "M12", "--torque", "88.0092 N.m", "--nut-factor", "0.2", "--class", "8.8"},
			[]figureCheck{{"preload_newtons", 36670.5, 1e-9}, {"preload_of_proof", 0.75, 1e-9}}},
		{"running torque is taken off", []string{"preload", "--thread", "M12", "--torque", "90.0092 N.m", "--running", "2 N.m", "--nut-factor", "0.2"},
			[]figureCheck{{"preload_newtons", 36670.5, 1e-9}, {"seating_torque_newton_metres", 88.0092, 1e-12}}},
		// (1 + Γ)/(1 − Γ), VDI 2230: 0.28 → 1.778, and 0.43 → 2.509.
		{"scatter", []string{"scatter", "--preload", "10 kN", "--scatter", "0.28"},
			[]figureCheck{{"preload_low_newtons", 7200, 1e-12}, {"preload_high_newtons", 12800, 1e-12}, {"tightening_factor", 1.778, 1e-3}}},
		// Derived from the same tables: the torque of a dry 1/2-13 Grade 5 on
		// anti-seize reaches 115.4 % of proof and 106.6 % of yield.
		{"dry value on lubricated threads", []string{"wrong-basis", "--assumed", "0.20", "--actual", "0.13", "--thread", "1/2-13", "--class", "Grade 5", "--fraction", "0.75"},
			[]figureCheck{{"preload_ratio", 0.20 / 0.13, 1e-12}, {"preload_newtons", 13917 * 4.4482216152605, 1e-3}, {"preload_of_proof", 1.154, 1e-3},
				{"preload_of_yield", 1.066, 1e-3}, {"torque_newton_metres", 75.38 * 1.3558179483314004, 1e-3}, {"right_torque_newton_metres", 49.0 * 1.3558179483314004, 1e-3}}},
		// Navy NAVEDTRA 14315: 100 lbf·in, 12 in and 6 in → 66.67 lbf·in (seen).
		{"adapter", []string{"adapter", "--torque", "100 lbf.in", "--wrench-length", "12 in", "--extension", "6 in"},
			[]figureCheck{{"setting_newton_metres", 66.67 * 0.1129848290276167, 1e-4}}},
		// The inverse, published: set 100 N·m, 500 → 650 mm, gives 130 N·m (seen).
		{"adapter, inverse", []string{"adapter", "--setting", "100 N.m", "--wrench-length", "500 mm", "--extension", "150 mm"},
			[]figureCheck{{"torque_newton_metres", 130, 1e-12}}},
		// At 90° there is no correction (from memory).
		{"adapter, square", []string{"adapter", "--torque", "100 N.m", "--wrench-length", "500 mm", "--extension", "150 mm", "--angle", "90"},
			[]figureCheck{{"setting_newton_metres", 100, 1e-12}}},

		// Magnus formula with the coefficients of WMO-No. 8 (Sonntag 1990), Alduchov
		// and Eskridge 1996, Bolton 1980; 22 °C and 78 % are published as 17.98.
		{"dew point, WMO", []string{"dewpoint", "--air", "10C", "--humidity", "90"}, []figureCheck{{"dew_point_celsius", 8.434, 1e-4}}},
		{"dew point, published", []string{"dewpoint", "--air", "22 C", "--humidity", "78%"}, []figureCheck{{"dew_point_celsius", 17.98, 5e-4}}},
		{"dew point, from °F", []string{"dewpoint", "--air", "50F", "--humidity", "90"}, []figureCheck{{"dew_point_celsius", 8.434, 1e-4}}},
		{"dew point, saturated", []string{"dewpoint", "--air", "10C", "--humidity", "100"}, []figureCheck{{"dew_point_celsius", 10, 1e-12}}},
		{"dew point, Bolton", []string{"dewpoint", "--air", "25C", "--humidity", "60", "--coefficients", "bolton-1980"}, []figureCheck{{"dew_point_celsius", 16.705, 1e-4}}},
		{"margin", []string{"dewpoint", "--air", "10C", "--humidity", "90", "--surface", "11C"}, []figureCheck{{"margin_celsius", 2.57, 2e-3}}},

		// MIL-STD-105E, tables I and II-A: 1000 at level II is letter J; AQL 1.0 there
		// is 80, accept 2. Limiting quality: n 80, c 2.
		{"plan J", []string{"sample", "--lot-size", "1000", "--level", "II", "--aql", "1.0"},
			[]figureCheck{{"sample_size", 80, 0}, {"accept", 2, 0}, {"reject", 3, 0}, {"share_rule_sample_size", 100, 0}}},
		// G at AQL 1.0 holds an arrow down to H: 50, accept 1.
		{"plan by an arrow", []string{"sample", "--lot-size", "200", "--aql", "1.0"}, []figureCheck{{"sample_size", 50, 0}, {"accept", 1, 0}}},
	} {
		t.Run(tc.source, func(t *testing.T) {
			got := reckoned(t, tc.args...)
			for _, w := range tc.want {
				v, ok := got[w.name].(float64)
				if !ok || math.Abs(v-w.want) > w.tolerance*math.Abs(w.want) {
					t.Errorf("%s is %v, want %v", w.name, got[w.name], w.want)
				}
			}
		})
	}
}

// points gives a list of an answer as pairs.
func points(t *testing.T, got map[string]any, list, x, y string) map[float64]float64 {
	t.Helper()
	rows, ok := got[list].([]any)
	if !ok || len(rows) == 0 {
		t.Fatalf("%s is %v", list, got[list])
	}
	pairs := map[float64]float64{}
	for _, r := range rows {
		row := r.(map[string]any)
		pairs[row[x].(float64)] = row[y].(float64)
	}
	return pairs
}

func TestReckonSampleCurves(t *testing.T) {
	// Binomial, n 80, c 2: 0.95345 at 1 %, 0.23062 at 5 % (computed apart).
	oc := points(t, reckoned(t, "sample", "--lot-size", "1000", "--aql", "1.0", "--quality", "1%,5"), "operating_characteristic", "nonconforming_percent", "acceptance_probability")
	for p, want := range map[float64]float64{1: 0.95345, 5: 0.23062} {
		if math.Abs(oc[p]-want) > 5e-6 || len(oc) != 2 {
			t.Errorf("%v %%: %v, want %v", p, oc[p], want)
		}
	}
	// RCSC arbitration, 10 % and at least 2: of 24 bolts 3, which find one of two
	// loose ones with 1 − (22·21·20)/(24·23·22) = 0.2391; of 48 bolts 5: 0.1995.
	for lot, want := range map[string]float64{"24": 0.2391, "48": 0.1995} {
		power := points(t, reckoned(t, "sample", "--lot-size", lot, "--nonconforming", "2"), "share_rule_detection", "nonconforming", "detection_probability")
		if math.Abs(power[2]-want) > 5e-5 {
			t.Errorf("%s bolts: %v, want %v", lot, power[2], want)
		}
	}
	// An AQL above 10 counts nonconformities per 100 units: Poisson. Letter A, n 2,
	// AQL 25 is accept 1: at 100 per 100 units e⁻²·(1 + 2) = 0.40601.
	oc = points(t, reckoned(t, "sample", "--lot-size", "8", "--aql", "25", "--quality", "100"), "operating_characteristic", "nonconformities_per_100", "acceptance_probability")
	if math.Abs(oc[100]-3*math.Exp(-2)) > 1e-12 {
		t.Errorf("Poisson: %v", oc)
	}
	// The sample of a small lot would be the lot.
	got := reckoned(t, "sample", "--lot-size", "5", "--aql", "0.65")
	if got["full_inspection"] != true || got["sample_size"] != 5.0 || got["operating_characteristic"] != nil {
		t.Errorf("full inspection: %v", got)
	}
}

// Every answer shows how it was found, from what, and what to mind.
func TestReckonShowsFormulaSourceAndCautions(t *testing.T) {
	for name, args := range map[string][]string{
		"torque":      {"--thread", "M12", "--class", "8.8", "--condition", "machine-oil", "--fraction", "0.75"},
		"preload":     {"--thread", "M12", "--torque", "65 lbf.ft", "--friction", "0.12"},
		"scatter":     {"--preload", "9046 lbf"},
		"wrong-basis": {"--assumed", "plain-steel-dry", "--actual", "anti-seize-on-steel"},
		"adapter":     {"--torque", "100 N.m", "--wrench-length", "500 mm", "--extension", "150 mm"},
		"dewpoint":    {"--air", "10C", "--humidity", "90", "--surface", "52F"},
		"sample":      {"--lot-size", "24", "--aql", "1.5"},
	} {
		got := reckoned(t, append([]string{name}, args...)...)
		for _, key := range []string{"formulas", "sources", "cautions", "governed_by"} {
			if list, ok := got[key].([]any); !ok || len(list) == 0 {
				t.Errorf("%s: %s is %v", name, key, got[key])
			}
		}
		for key := range got {
			if key != strings.ToLower(key) || strings.ContainsAny(key, "- ") {
				t.Errorf("%s: %q is not snake_case", name, key)
			}
		}
		code, out, errOut := run(t, "", nil, append([]string{"reckon", name}, args...)...)
		for _, want := range []string{"\nformula: ", "\nsource: ", "\ncaution: "} {
			if code != exitDone || errOut != "" || !strings.Contains(out, want) {
				t.Errorf("%s: exit %d, %q, no %q in\n%s", name, code, errOut, want, out)
			}
		}
	}
}

// A person reads both systems of units; CSV has the figures in one line.
func TestReckonForAPersonAndASpreadsheet(t *testing.T) {
	args := []string{"reckon", "torque", "--thread", "M12", "--class", "8.8", "--nut-factor", "0.20", "--fraction", "0.75"}
	_, out, _ := run(t, "", nil, args...)
	for _, want := range []string{"88.01 N·m = 64.91 lbf·ft", "36.67 kN = 8244 lbf", "of the", "proof load", "Never use a dry value on a lubricated bolt"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	for _, line := range strings.Split(out, "\n") {
		if n := len([]rune(line)); n > 100 {
			t.Errorf("%d characters in %q", n, line)
		}
	}
	code, out, errOut := run(t, "", nil, append(args, "-o", "csv")...)
	lines := strings.Split(out, "\n")
	if code != exitDone || len(lines) != 3 || !strings.HasPrefix(lines[0], "thread,stress_area_square_millimetres,class,") || !strings.HasPrefix(lines[1], "M12,84.3,8.8,") ||
		!strings.Contains(errOut, "caution: ") {
		t.Errorf("exit %d\n%s\n%s", code, out, errOut)
	}
	_, out, errOut = run(t, "", nil, "reckon", "sample", "--lot-size", "24", "--nonconforming", "2", "-o", "csv")
	if out != "nonconforming,detection_probability\n2,0.2391304347826087\n" || !strings.Contains(errOut, "customary sample size: 3\n") {
		t.Errorf("%s\n%s", out, errOut)
	}
}

// What is wrong is told by its flag, with what was expected.
func TestReckonRefusals(t *testing.T) {
	for _, tc := range []struct{ args, want string }{
		{"torque --thread M13 --class 8.8 --nut-factor 0.2 --fraction 0.75", `--thread: no thread "M13" in the tables; nearest: M12, M14`},
		{"torque --thread M12 --class 8.9 --nut-factor 0.2 --fraction 0.75", `--class: no property class or grade "8.9"; there are 8.8, 10.9`},
		{"torque --thread 1/2-13 --class 8.8 --nut-factor 0.2 --fraction 0.75", "--class: 8.8 has no value for 1/2-13 UNC; it has values for d <= 16 mm"},
		{"torque --thread M10 --class A2-70 --nut-factor 0.2 --fraction 0.75", "--of: the standard gives no proof load for A2-70: take a fraction of the yield stress instead, with --of yield"},
		{"torque --thread 3/4-10 --class A307-Grade-A --nut-factor 0.2 --fraction 0.75 --of yield", "--of: the standard gives no yield stress for A307 Grade A"},
		{"torque --thread M10 --class 8.8 --nut-factor 20 --fraction 0.75", "--nut-factor: nut factor is 20; allowed: above 0 and up to 1"},
		{"torque --thread M10 --class 8.8 --nut-factor 0.2 --fraction 75", "--fraction: expected a fraction above 0 and up to 1 of the proof load, got 75"},
		{"torque --thread M10 --class 8.8 --nut-factor 0.2 --fraction 0.75 --of tensile", `--of: expected proof or yield, got "tensile"`},
		{"torque --thread M10 --class 8.8 --fraction 0.75", "needs one of --nut-factor, --condition; got 0 of them"},
		{"torque --thread M10 --class 8.8 --fraction 0.75 --nut-factor 0.2 --friction 0.1", "expected a nut factor (--nut-factor or --condition) or friction, got both"},
		{"torque --thread M10 --class 8.8 --fraction 0.75 --friction 1.5", "--thread-friction: thread friction is 1.5; allowed: 0 up to, not including, 1"},
		{"torque --thread M10 --class 8.8 --fraction 0.75 --condition machine-oill", `(did you mean machine-oil?)`},
		{"torque --thread M10 --class 8.8 --fraction 0.75 --condition threadlocker-wet-on-plain", "--condition: sources contradict each other on threadlocker-wet-on-plain; expected a nut factor"},
		{"torque --thread M10 --class 8.8 --fraction 0.75 --nut-factor 0.2 --method gess", "--method: no published scatter for tightening method"},
		{"torque --thread M10 --class 8.8 --fraction 0.75 --nut-factor 0.2 --scatter 35", "--scatter: scatter of preload is 35; allowed: 0 up to, not including, 1"},
		{"preload --thread M10 --torque 150mm --nut-factor 0.2", `--torque: "150mm": mm is a length; torque is given in N.m, lbf.ft, lbf.in or kgf.m`},
		{"preload --thread M10 --torque 150 --nut-factor 0.2", `--torque: "150": 150 has no unit`},
		{"preload --thread M10 --torque 0N.m --nut-factor 0.2", "--torque: torque is 0; allowed: above 0"},
		{"preload --thread M10 --torque 5N.m --running 6N.m --nut-factor 0.2", "--running: expected less than the torque of 5 N·m"},
		{"preload --thread 1/2-13 --torque 50N.m --friction 0.14", "give --bearing-outer and --hole"},
		{"preload --thread M12 --torque 50N.m --friction 0.14 --hole 13mm", "needs --bearing-outer"},
		{"preload --thread M12 --torque 50N.m --friction 0.14 --hole 13mm --bearing-outer 12mm", "--bearing-outer: outer diameter of the bearing face is 12"},
		{"preload --thread M12 --torque 50N.m --thread-friction 0.14", "needs --bearing-friction"},
		{"preload --thread M12 --torque 50N.m --nut-factor 0.2 --hole 13mm", "--bearing-outer and --hole need --friction"},
		{"scatter --preload 0kN --scatter 0.2", "--preload: preload is 0"},
		{"scatter --preload 10kN --class 8.8", "needs --thread"},
		{"wrong-basis --assumed 2 --actual 0.2", "--assumed: nut factor assumed by the torque is 2"},
		{"wrong-basis --assumed 0.2 --actual 2", "--actual: nut factor of the threads is 2"},
		{"wrong-basis --assumed 0.2 --actual threadlocker-wet-on-plain", "--actual: sources contradict each other"},
		{"wrong-basis --assumed dry --actual 0.2", `--assumed: "dry" is not a nut factor or condition`},
		{"wrong-basis --assumed 0.1 --actual 0.2 --thread M12", "needs --class, --fraction"},
		{"adapter --torque 10N.m --wrench-length 0mm --extension 10mm", "--wrench-length: length of the wrench is 0"},
		{"adapter --torque 10N.m --wrench-length 100mm --extension 10mm --angle 200", "--angle: angle of the adapter is 200; allowed: 0 to 180 degrees"},
		{"adapter --wrench-length 100mm --extension 10mm", "needs one of --torque, --setting; got 0 of them"},
		{"dewpoint --air 10C --humidity 0", "--humidity: relative humidity is 0; allowed: above 0 and up to 100 %"},
		{"dewpoint --air 10C --humidity 101", "--humidity: relative humidity is 101; allowed: above 0 and up to 100 %"},
		{"dewpoint --air 10C --humidity NaN", `--humidity: expected a number such as 12.5, got "NaN"`},
		{"dewpoint --air 10 --humidity 50", `--air: "10": 10 has no unit`},
		{"dewpoint --air 99C --humidity 50", "--air: air temperature is 99; allowed: -45 to 60 °C"},
		{"dewpoint --air 10C --humidity 50 --surface 99C", "--surface: surface temperature is 99"},
		{"dewpoint --air 10C --humidity 50 --coefficients magnus", "--coefficients: no Magnus coefficient set"},
		{"dewpoint --air 10C --humidity 50 --min-margin -1", "--min-margin: expected at least 0, got -1"},
		{"dewpoint --humidity 50", "needs --air"},
		{"interval --failures 5 --attempts 3", "--failures: failures is 5, but must be at most the number of attempts, 3"},
		{"interval --failures -1 --attempts 3", "--failures: expected a whole number of at least 0, got -1"},
		{"interval --failures 1 --attempts 0", "--attempts: expected a whole number of at least 1, got 0"},
		{"interval --failures 1 --attempts 3 --confidence 95", "--confidence: confidence is 95, but must lie between 0 and 1"},
		{"interval --failures 1 --attempts 3 --method garwood", `--method: method is "garwood", but must be wilson, clopper-pearson or jeffreys`},
		{"interval --failures 1 --exposure 3 --method wilson", `--method: method is "wilson", but must be garwood or mid-p`},
		{"interval --failures 1 --exposure 0", "--exposure: exposure is 0"},
		{"interval --failures 1 --attempts 3 --method wilsn", "(did you mean wilson?)"},
		{"interval --failures 1 --attempts 3 --side left", "--side: side is \"left\", but must be lower or upper"},
		{"interval --failures 1", "needs one of --attempts, --exposure; got 0 of them"},
		{"sample --lot-size 0", "--lot-size: expected a whole number of at least 1, got 0"},
		{"sample --lot-size 100 --aql 1.1", "--aql: AQL 1.1 is no preferred value; there are 0.010"},
		{"sample --lot-size 100 --aql 1.0 --level IV", `--level: no inspection level "IV"`},
		{"sample --lot-size 100 --level II", "--level and --quality belong to a plan: expected --aql with them"},
		{"sample --lot-size 100 --aql 1.0 --quality 101", "--quality: fraction nonconforming is 1.01"},
		{"sample --lot-size 10 --nonconforming 11", "--nonconforming: nonconforming items is 11; allowed: 0 up to the lot size"},
		{"sealing-window", "needs --from"},
		{"sealing-window --from x --skin-time -1h", "--skin-time: expected a time of at least 0"},
		{"torq", `trackctl reckon has no command "torq"; did you mean torque?`},
	} {
		code, out, errOut := run(t, "", nil, append([]string{"reckon"}, strings.Fields(tc.args)...)...)
		if code != exitUsage || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%s: exit %d, out %q, err %q; want %q", tc.args, code, out, errOut, tc.want)
		}
	}
}

const hours = `time,air_c,surface_c,humidity_pct
2026-05-04T05:00:00+01:00,4,3,85
2026-05-04T06:00:00+01:00,10,11,90
2026-05-04T07:00:00+01:00,12,13,70
2026-05-04T08:00:00+01:00,14,,60
2026-05-04T11:00:00+01:00,14,16,60
`

func TestReckonSealingWindow(t *testing.T) {
	file := filepath.Join(t.TempDir(), "hours.csv")
	if err := os.WriteFile(file, []byte(hours), 0o600); err != nil {
		t.Fatal(err)
	}
	got := reckoned(t, "sealing-window", "--from", file, "--skin-time", "90m")
	windows, closures := got["windows"].([]any), got["closures"].([]any)
	if len(windows) != 2 || len(closures) != 3 {
		t.Fatalf("%d windows, %d closures", len(windows), len(closures))
	}
	first, second := windows[0].(map[string]any), windows[1].(map[string]any)
	if first["start"] != "2026-05-04T07:00:00+01:00" || first["end"] != "2026-05-04T09:00:00+01:00" || first["hours"] != 2.0 ||
		first["surface_assumed"] != true || first["last_start"] != "2026-05-04T07:30:00+01:00" || second["last_start"] != nil {
		t.Errorf("windows: %v", windows)
	}
	// 10 °C and 90 %: dew point 8.43 °C (WMO-No. 8), steel at 11 °C is 2.57 over it.
	near, hole := closures[1].(map[string]any), closures[2].(map[string]any)
	if near["limiting"] != "surface too near the dew point" || math.Abs(near["value"].(float64)-2.57) > 0.005 || near["limit"] != 3.0 ||
		hole["limiting"] != "no data" || hole["value"] != nil || hole["start"] != "2026-05-04T09:00:00+01:00" {
		t.Errorf("closures: %v", closures)
	}
	// 4 °C and 85 %: g = ln 0.85 + 17.62·4/247.12 = 0.1227, dew point 243.12·g/(17.62 − g)
	// = 1.70 °C by hand; steel at 3 °C is 1.3 over it, and it and the air are too cold.
	_, out, _ := run(t, "", nil, "reckon", "sealing-window", "--from", file)
	for _, want := range []string{
		"2026-05-04 05:00 +01:00  06:00  wait     surface too near the dew point: 1.3 °C, at least 3.0 °C (+2)\n",
		"2026-05-04 07:00 +01:00  09:00  go       least margin ",
		"2026-05-04 09:00 +01:00  11:00  wait     no data\n",
		"note: the air stood in for the surface",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if code, out, _ := run(t, "", nil, "reckon", "sealing-window", "--from", file, "-o", "csv"); code != exitDone || strings.Count(out, "\n") != 3 ||
		!strings.HasPrefix(out, "start,end,hours,least_margin_celsius,surface_assumed,last_start\n") {
		t.Errorf("CSV: %s", out)
	}
	// The limits can be set; with none of the humidity allowed there is no window.
	got = reckoned(t, "sealing-window", "--from", file, "--max-humidity", "50", "--min-temperature", "40F", "--max-temperature", "90F", "--min-margin", "2.5")
	if len(got["windows"].([]any)) != 0 || got["maximum_humidity_percent"] != 50.0 || got["minimum_margin_celsius"] != 2.5 {
		t.Errorf("with limits: %v", got)
	}
}

func TestReckonSealingWindowRefusals(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	bad := write("bad.csv", "time,air_c,surface_c,humidity_pct\n"+
		"2026-05-04T05:00:00Z,4,3,0\n2026-05-04T06:00:00Z,4,3,101\n2026-05-04T07:00:00Z,99,3,80\n2026-05-04T08:00:00Z,4,-99,80\n"+
		"2026-05-04T09:00:00,4,3,80\n2026-05-04T10:00:00Z,4,3,80\n2026-05-04T10:00:00Z,4,3,80\n2026-05-04T11:00:00Z,\"4,5\",3,80\n")
	code, out, errOut := run(t, "", nil, "reckon", "sealing-window", "--from", bad)
	if code != exitData || out != "" || !strings.Contains(errOut, "7 lines refused") {
		t.Errorf("exit %d, %q\n%s", code, out, errOut)
	}
	for _, want := range []string{
		bad + ":2:26: column humidity_pct: expected a relative humidity above 0 and up to 100 %, got 0\n",
		bad + ":3:26: column humidity_pct: expected a relative humidity above 0 and up to 100 %, got 101\n",
		bad + ":4:22: column air_c: expected -45 to 60 °C, got 99\n",
		bad + ":5:24: column surface_c: expected -45 to 60 °C, got -99\n",
		bad + ":6:1: column time: expected a time with its zone such as ",
		bad + ":8:1: column time: expected a time after that of the row before, got \"2026-05-04T10:00:00Z\"\n",
		bad + ":9:22: column air_c: expected a number with a decimal point, got \"4,5\" with a comma\n",
	} {
		if !strings.Contains(errOut, want) {
			t.Errorf("no %q in\n%s", want, errOut)
		}
	}
	if code, _, errOut := run(t, "", nil, "reckon", "sealing-window", "--from", filepath.Join(dir, "absent.csv")); code != exitNoInput || !strings.Contains(errOut, "absent.csv can't be read: ") {
		t.Errorf("absent: exit %d, %s", code, errOut)
	}
	if code, _, errOut := run(t, "", nil, "reckon", "sealing-window", "--from", write("head.csv", "time,air_c,humidity_pct\n")); code != exitData || !strings.Contains(errOut, "expected at least one row of hours") {
		t.Errorf("no rows: exit %d, %s", code, errOut)
	}
	many := "time,air_c,humidity_pct\n" + strings.Repeat("2026-05-04T05:00:00Z,4,0\n", 30)
	if code, _, errOut := run(t, "", nil, "reckon", "sealing-window", "--from", write("many.csv", many)); code != exitData || !strings.Contains(errOut, "30 lines refused\n") || !strings.Contains(errOut, "  and 10 more\n") {
		t.Errorf("many: exit %d, %s", code, errOut)
	}
	// - is standard input, which is empty here.
	if code, _, errOut := run(t, "", nil, "reckon", "sealing-window", "--from", "-"); code != exitData || !strings.Contains(errOut, "got an empty file") {
		t.Errorf("standard input: exit %d, %s", code, errOut)
	}
}

// The hourly table never makes the calculator fall over, whatever it holds.
func FuzzReadHours(f *testing.F) {
	f.Add([]byte(hours))
	f.Add([]byte("time,air_c,humidity_pct\n2026-05-04T05:00:00Z,-45,100\n2026-05-04T05:30:00Z,60,1e-300\n"))
	f.Add([]byte("\xff\xfe"))
	o := &limitOptions{}
	c, err := o.coefficients()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		rows, err := readHours("-", bytes.NewReader(data), c)
		if err != nil {
			return
		}
		outlook, err := c.Windows(rows, o.limits())
		if err != nil {
			t.Fatalf("rows that were taken are refused: %v", err)
		}
		if len(outlook.Windows)+len(outlook.Closures) == 0 {
			t.Error("rows were taken, but there is neither window nor closure")
		}
	})
}
