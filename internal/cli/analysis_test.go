package cli

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// countFile writes a file of rows and gives its name.
func countFile(t *testing.T, rows ...string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "counts.csv")
	if err := os.WriteFile(name, []byte(strings.Join(rows, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// analysed runs a command without a server and gives its JSON.
func analysed(t *testing.T, args ...string) map[string]any {
	t.Helper()
	code, out, errOut := run(t, "", nil, append(args, "--output", "json")...)
	if code != 0 || errOut != "" {
		t.Fatalf("%v: exit %d, %s", args, code, errOut)
	}
	var answer map[string]any
	if err := json.Unmarshal([]byte(out), &answer); err != nil {
		t.Fatalf("%v: %v in %s", args, err, out)
	}
	return answer
}

// member finds a value by keys and places: "plan", "slope" or "units", 0, "ratio".
func member(t *testing.T, answer any, path ...any) any {
	t.Helper()
	for _, p := range path {
		switch p := p.(type) {
		case string:
			value, known := answer.(map[string]any)[p]
			if !known {
				t.Fatalf("there is no %q in %v", p, answer)
			}
			answer = value
		case int:
			answer = answer.([]any)[p]
		}
	}
	return answer
}

func isNear(t *testing.T, answer any, want, relative float64, path ...any) {
	t.Helper()
	got, ok := member(t, answer, path...).(float64)
	if !ok || math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%v is %v, want %.12g", path, member(t, answer, path...), want)
	}
}

// admissions are the admissions of Berkeley: P. J. Bickel, E. A. Hammel, J. W.
// O'Connell, Science 187 (1975) 398-403. To be admitted counts as the failure here, so
// that the odds ratio is the one published, of men over women.
var admissions = []string{
	"treatment,site,failures,successes",
	"male,A,512,313", "male,B,353,207", "male,C,120,205", "male,D,138,279", "male,E,53,138", "male,F,22,351",
	"female,A,89,19", "female,B,17,8", "female,C,202,391", "female,D,131,244", "female,E,94,299", "female,F,24,317",
}

// The figures are those of the reference statistics, P11.
func TestCompareGivesThePublishedFigures(t *testing.T) {
	file := countFile(t, admissions...)
	got := analysed(t, "compare", "treatment", "male", "female", "--strata", "site", "--from", file)
	isNear(t, got, 1.42694622859, 1e-9, "cochran_mantel_haenszel", "statistic")
	isNear(t, got, 0.232263462817, 1e-9, "cochran_mantel_haenszel", "p_value")
	isNear(t, got, 18.8255137052, 1e-9, "breslow_day", "statistic")
	isNear(t, got, 18.8255012521, 1e-9, "tarone", "statistic")
	isNear(t, got, 0.00207140139788, 1e-9, "tarone", "p_value")
	isNear(t, got, 0.904696828259, 1e-9, "comparisons", 1, "odds_ratio")
	isNear(t, got, 0.771907361759, 1e-9, "comparisons", 1, "odds_ratio_lower")
	isNear(t, got, 1.06032976444, 1e-9, "comparisons", 1, "odds_ratio_upper")
	if !strings.Contains(fmt.Sprint(got["disagreement"]), "Simpson's paradox") || len(got["comparisons"].([]any)) != 8 {
		t.Errorf("%v", got)
	}
	uncorrected := analysed(t, "compare", "treatment", "male", "female", "--strata", "site", "--uncorrected", "--from", file)
	isNear(t, uncorrected, 1.52460666044, 1e-9, "cochran_mantel_haenszel", "statistic")
	others := analysed(t, "compare", "treatment", "Male", "others", "--strata", "site", "--from", file)
	isNear(t, others, 0.904696828259, 1e-9, "comparisons", 1, "odds_ratio")
}

// Four failures where 3.3 were expected: D. J. Spiegelhalter, Statist. Med. 24 (2005)
// 1185-1202, and the exact limits of the reference statistics, P26. One hundredth of
// all attempts failed, and A had 330.
func TestStandingGivesThePublishedLimits(t *testing.T) {
	got := analysed(t, "standing", "site", "--from", countFile(t, "site,failures,attempts", "A,4,330", "B,196,19670"))
	isNear(t, got, 3.3, 1e-12, "units", 0, "expected_failures")
	isNear(t, got, 1.21212121212, 1e-9, "units", 0, "ratio")
	isNear(t, got, 0.330262234432, 1e-9, "units", 0, "ratio_lower")
	isNear(t, got, 3.10351171982, 1e-9, "units", 0, "ratio_upper")
}

// wafers are thirty samples of fifty chips: NIST/SEMATECH e-Handbook, section 6.3.3.2,
// and D. C. Montgomery, Introduction to Statistical Quality Control, chapter 7.
func wafers() []string {
	rows := []string{"label,x,n"}
	for i, x := range []int{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6} {
		rows = append(rows, fmt.Sprintf("%d,%d,50", i+1, x))
	}
	return rows
}

// The figures are those of the reference statistics: P20 and, for Laney's, P42 (D. B.
// Laney, Quality Engineering 14 (2002) 531-537).
func TestTrendGivesThePublishedPChart(t *testing.T) {
	file := countFile(t, wafers()...)
	got := analysed(t, "trend", "--chart", "p", "--from", file)
	isNear(t, got, 231.333333333, 1e-9, "centre")
	isNear(t, got, 52.4275480719, 1e-9, "points", 0, "lower")
	isNear(t, got, 410.239118595, 1e-9, "points", 0, "upper")
	var beyond []any
	for _, p := range got["points"].([]any) {
		if p.(map[string]any)["beyond"] != 0.0 {
			beyond = append(beyond, p.(map[string]any)["label"])
		}
	}
	if d := cmp.Diff([]any{"15", "23"}, beyond); d != "" {
		t.Error(d)
	}
	laney := analysed(t, "trend", "--from", file)
	if laney["chart"] != "laney-p" {
		t.Errorf("chose %v: %v", laney["chart"], laney["chart_reason"])
	}
	isNear(t, laney, 1.66086671974, 1e-9, "dispersion")
	isNear(t, laney, 528.471998044, 1e-9, "points", 0, "upper")
}

// Dyed cloth: Montgomery, chapter 7, as in the reference statistics, P22 (b).
func TestTrendGivesThePublishedUChart(t *testing.T) {
	rows := []string{"label,x,exposure"}
	sizes := []string{"10", "8", "13", "10", "9.5", "10", "12", "10.5", "12", "12.5"}
	for i, x := range []int{14, 12, 20, 11, 7, 10, 21, 16, 19, 23} {
		rows = append(rows, fmt.Sprintf("roll %d,%d,%s", i+1, x, sizes[i]))
	}
	got := analysed(t, "trend", "--chart", "u", "--unit", "inspection unit", "--from", countFile(t, rows...))
	isNear(t, got, 1.42325581395, 1e-9, "centre")
	isNear(t, got, 2.55503769778, 1e-9, "points", 0, "upper")
	isNear(t, got, 0.157885199984, 1e-9, "points", 1, "lower")
	isNear(t, got, 2.41589419127, 1e-9, "points", 2, "upper")
	isNear(t, got, 0.410959322778, 1e-9, "points", 9, "lower")
	if got["unit"] != "events per inspection unit" || got["attempts"] != nil {
		t.Errorf("%v, %v", got["unit"], got["attempts"])
	}
}

// NIST/SEMATECH e-Handbook, section 6.2.6, and A. Wald, Sequential Analysis (1947): the
// lines, the earliest verdict and the average sample numbers of the reference
// statistics, P27.
func TestAlarmGivesThePublishedSequentialTest(t *testing.T) {
	rows := []string{"x,n"}
	for range 30 {
		rows = append(rows, "0,1")
	}
	got := analysed(t, "alarm", "--test", "sprt", "--in-control", "1/100", "--out-of-control", "0.10", "--alpha", "0.05", "--beta", "0.10", "--from", countFile(t, rows...))
	isNear(t, got, 0.938861602567, 1e-9, "plan", "accept_intercept")
	isNear(t, got, 1.2053786463, 1e-9, "plan", "reject_intercept")
	isNear(t, got, 0.0397474322109, 1e-9, "plan", "slope")
	isNear(t, got, 27.9570211045, 1e-9, "plan", "average_to_verdict_in_control")
	isNear(t, got, 16.4466786691, 1e-9, "plan", "average_to_verdict_out_of_control")
	if got["verdict"] != "accept" || got["decided_at"] != "row 24" || got["rows_after"] != 6.0 {
		t.Errorf("%v at %v", got["verdict"], got["decided_at"])
	}
}

// A cumulative sum worked by hand: with a gain of g and a drift of d points, k
// failures one after another bring k(g − d).
func TestAlarmSignalsWhereThePlanSays(t *testing.T) {
	rows := []string{"label,failures,attempts", "good,0,500"}
	for i := range 20 {
		rows = append(rows, fmt.Sprintf("bad %d,1,1", i+1))
	}
	got := analysed(t, "alarm", "--in-control", "10/1000", "--out-of-control", "20/1000", "--from", countFile(t, rows...))
	inARow := member(t, got, "plan", "failures_in_a_row").(float64)
	step := member(t, got, "plan", "gain_points").(float64) - member(t, got, "plan", "drift_points").(float64)
	threshold := member(t, got, "plan", "threshold_points").(float64)
	if inARow != math.Ceil(threshold/step) {
		t.Errorf("%v in a row, threshold %v, step %v", inARow, threshold, step)
	}
	if want := fmt.Sprintf("bad %d", int(inARow)); member(t, got, "signals", 0, "label") != want || member(t, got, "signals", 0, "from") != "bad 1" {
		t.Errorf("%v, want one at %s", got["signals"], want)
	}
	if r := got["run_lengths"].([]any); member(t, r, 0, "run_length").(float64) < 5000 {
		t.Errorf("a false alarm after %v", r[0])
	}
}

// With the loss rate as good as known, the losses of N installs are those of the
// reference on the trade, section N (binomial with N attempts: 60, 22 and 25), or one
// more, since replacements are lost too (summed at 40 digits with mpmath: 61, 22, 26).
func TestSparesGiveThePublishedNeed(t *testing.T) {
	for _, c := range []struct {
		remaining, per1000 int
		losses             float64
	}{{2400, 20, 61}, {500, 30, 22}, {1200, 15, 26}} {
		known := fmt.Sprintf("%d,1000000000,0,0", c.per1000*1e6)
		got := analysed(t, "spares", "--from", countFile(t, "fastener,failures,attempts,remaining,stock",
			"a,"+known, "b,"+known, "c,"+known, fmt.Sprintf("M10,0,0,%d,%[1]d", c.remaining)))
		i := slices.IndexFunc(got["items"].([]any), func(i any) bool { return i.(map[string]any)["fastener"] == "M10" })
		if l := member(t, got, "items", i, "losses"); l != c.losses {
			t.Errorf("%d installs: %v losses, want %v", c.remaining, l, c.losses)
		}
	}
}

// Rows in another order, and rows split in two, are the same counts.
func TestAnalysesDoNotHangOnTheOrderOfRows(t *testing.T) {
	turned := slices.Clone(admissions)
	slices.Reverse(turned[1:])
	split := append(slices.Clone(turned), "male,A,0,5", "female,C,2,0")
	split = slices.DeleteFunc(split, func(r string) bool { return r == "male,A,512,313" || r == "female,C,202,391" })
	split = append(split, "male,A,512,308", "female,C,200,391")
	for _, args := range [][]string{{"compare", "treatment", "male", "female", "--strata", "site"}, {"standing", "site", "--mix", "treatment"}} {
		want := analysed(t, append(args, "--from", countFile(t, admissions...))...)
		for _, rows := range [][]string{turned, split} {
			if d := cmp.Diff(want, analysed(t, append(args, "--from", countFile(t, rows...))...)); d != "" {
				t.Errorf("%v (-want +got):\n%s", args, d)
			}
		}
	}
}

// analysisCases run every command on something sound.
func analysisCases(t *testing.T) map[string][]string {
	t.Helper()
	counts := countFile(t, admissions...)
	history := countFile(t, wafers()...)
	stock := countFile(t, "fastener,site,failures,attempts,remaining,stock,per_day,lead_days,pack", "M10,RVB,9,240,960,980,40,14,100", "M10,QLT,1,900,10,980,,,")
	return map[string][]string{
		"compare":           {"compare", "treatment", "male", "female", "--strata", "site", "--from", counts},
		"standing":          {"standing", "site", "--from", counts},
		"trend":             {"trend", "--from", history},
		"alarm":             {"alarm", "--in-control", "0.2", "--from", history},
		"alarm --test sprt": {"alarm", "--in-control", "0.2", "--test", "sprt", "--from", history},
		"spares":            {"spares", "--from", stock},
	}
}

// The members of the answers are those that the help on JSON names, in JSON and as the
// heading of the CSV.
func TestAnalysesHaveTheNamesOfTheHelp(t *testing.T) {
	documented := map[string]jsonAnswer{}
	for _, a := range jsonAnswers() {
		documented[a.commands] = a
	}
	for name, args := range analysisCases(t) {
		want := documented[name]
		got := analysed(t, args...)
		var keys []string
		for k := range got {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		names := append([]string{want.key}, want.notes...)
		slices.Sort(names)
		if d := cmp.Diff(names, keys); d != "" {
			t.Errorf("%s (-help +answer):\n%s", name, d)
		}
		code, out, _ := run(t, "", nil, append(args, "--output", "csv")...)
		rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		if code != 0 || err != nil || len(rows) != len(got[want.key].([]any))+1 {
			t.Fatalf("%s: exit %d, %v, %d rows", name, code, err, len(rows))
		}
		if d := cmp.Diff(want.members, rows[0]); d != "" {
			t.Errorf("%s (-help +answer):\n%s", name, d)
		}
	}
}

// A figure stays within 80 columns, and a sentence comes first.
func TestAnalysesFitATerminal(t *testing.T) {
	for name, args := range analysisCases(t) {
		code, out, errOut := run(t, "", nil, args...)
		if code != 0 || errOut != "" {
			t.Fatalf("%s: exit %d, %s", name, code, errOut)
		}
		lines := strings.Split(out, "\n")
		if !strings.Contains(strings.Join(lines[:4], " "), ".") {
			t.Errorf("%s begins with no sentence: %q", name, lines[0])
		}
		for _, l := range lines {
			figure := strings.ContainsAny(l, "|*") || strings.Contains(l, "RATIO")
			if n := len([]rune(l)); n > 98 || figure && n > 84 {
				t.Errorf("%s: %d characters: %q", name, n, l)
			}
		}
		for _, word := range []string{"NaN", "Inf", "%!"} {
			if strings.Contains(out, word) {
				t.Errorf("%s says %s", name, word)
			}
		}
	}
}
