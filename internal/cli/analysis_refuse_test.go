package cli

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
)

// What is asked wrongly is a fault of the command line, what the file has wrong one of
// the data; each says what was expected.
func TestAnalysesRefuse(t *testing.T) {
	counts := countFile(t, "treatment,site,person,failures,attempts", "anti-seize,RVB,AB,1,100", "none,RVB,CD,5,100", "none,QLT,AB,2,90")
	history := countFile(t, "label,x,n", "a,1,50", "b,3,50")
	exposed := countFile(t, "label,x,exposure", "a,1,5", "b,3,5")
	for _, tc := range []struct {
		args string
		code int
		want string
	}{
		{"compare treatmnt anti-seize none --from " + counts, exitUsage, `GROUPING: "treatmnt" is not a grouping (did you mean treatment?)`},
		{"compare treatment anti-size none --from " + counts, exitUnknown, `A: no row of ` + counts + ` has "anti-size" in column treatment; did you mean anti-seize?`},
		{"compare treatment anti-seize molybdenum --from " + counts, exitUnknown, "it has anti-seize, none"},
		{"compare treatment anti-seize Anti_Seize --from " + counts, exitUsage, "B: expected another treatment than A, got anti-seize"},
		{"compare treatment anti-seize none --strata treatment --from " + counts, exitUsage, "--strata: treatment is what is compared"},
		{"compare treatment anti-seize none --strata lot --from " + counts, exitData, "has no column lot; it has site, treatment, person"},
		{"compare treatment anti-seize none --confidence 1 --from " + counts, exitUsage, "--confidence: expected a number above 0 and below 1, got 1"},
		{"compare treatment anti-seize none --method katz,koopman --from " + counts, exitUsage, "expected one method for each measure, got katz and koopman"},
		{"compare treatment anti-seize none --method kats --from " + counts, exitUsage, `"kats" is not a method (did you mean katz?)`},
		{"compare treatment anti-seize none --from " + filepath.Dir(counts), exitNoInput, "can't be read: expected a file, got a folder"},
		{"compare person AB CD --from " + counts, exitUsage, "unless --by-name is given"},
		{"compare treatment anti-seize none --strata person --from " + counts, exitUsage, "unless --by-name is given"},
		{"compare treatment anti-seize none --from absent.csv", exitNoInput, "absent.csv can't be read"},
		{"standing person --from " + counts, exitUsage, "unless --by-name is given"},
		{"standing site --mix person --from " + counts, exitUsage, "unless --by-name is given"},
		{"standing site --mix site --from " + counts, exitUsage, "--mix: site is what is ranked"},
		{"standing lot --from " + counts, exitData, "has no column lot"},
		{"standing site --limit-per-1000 10 --limit-ratio 2 --from " + counts, exitUsage, "expected --limit-per-1000 or --limit-ratio, got both"},
		{"standing site --limit-per-1000 1000 --from " + counts, exitUsage, "--limit-per-1000: expected a number above 0 and below 1000"},
		{"standing site --limit-ratio 0 --from " + counts, exitUsage, "--limit-ratio: expected a number above 0, got 0"},
		{"trend --chart u --from " + history, exitUsage, "--chart: it must be p, np, laney-p, g or ewma where failures are counted among attempts, got u"},
		{"trend --chart x --from " + history, exitUsage, `--chart: "x" is not a chart`},
		{"trend --unit day --from " + history, exitUsage, "--unit belongs to an exposure"},
		{"trend --standard 5 --from " + history, exitUsage, "--standard: "},
		{"trend --standard 1/0 --from " + history, exitUsage, "--standard: expected a rate above 0 such as 10/1000 or 0.01"},
		{"trend --from " + counts, exitData, `"treatment" is none of the columns that this analysis reads: label, day`},
		{"alarm --from " + history, exitUsage, "trackctl alarm needs --in-control"},
		{"alarm --in-control 0.2", exitUsage, "trackctl alarm needs --out-of-control"},
		{"alarm --in-control 0.2 --site RVB --from " + history, exitUsage, "--site chooses among the records of the server"},
		{"alarm --in-control 0.2 --out-of-control 0.1 --from " + history, exitUsage, "--out-of-control: it must be above the in-control rate"},
		{"alarm --in-control 0.2 --out-of-control 1.5 --from " + history, exitUsage, "--out-of-control: it must be below 1 failure per attempt"},
		{"alarm --in-control 0.2 --false-alarm-after 2 --from " + history, exitUsage, "--false-alarm-after: it must lie between 10 and"},
		{"alarm --in-control 0.2 --alpha 0.1 --from " + history, exitUsage, "--alpha belongs to --test sprt"},
		{"alarm --in-control 0.2 --test sprt --head-start --from " + history, exitUsage, "--head-start belongs to --test cusum"},
		{"alarm --in-control 0.2 --look 2 --from " + history, exitUsage, "--look belongs to an exposure"},
		{"alarm --in-control 0.2 --record-size 8 --from " + exposed, exitUsage, "--record-size: "},
		{"alarm --in-control 0.2 --test sprt --alpha 0.6 --beta 0.5 --from " + history, exitUsage, "--beta: it must lie above 0 and below 1 less alpha"},
		{"spares --service-level 1 --from " + history, exitUsage, "--service-level: expected a number above 0 and below 1"},
		{"spares --as-of 1.4.2026 --from " + history, exitUsage, "--as-of: expected a date YYYY-MM-DD"},
		{"spares --from " + history, exitData, `"label" is none of the columns that this analysis reads: fastener, site`},
	} {
		code, out, errOut := run(t, "", nil, strings.Fields(tc.args)...)
		if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%s: exit %d, want %d; out %q, err %q; want %q", tc.args, code, tc.code, out, errOut, tc.want)
		}
	}
}

// Odd data have an answer with a caution, or a sentence that names what is missing;
// never a number that is none.
func TestAnalysesOfOddCounts(t *testing.T) {
	many := []string{"site,treatment,failures,attempts"}
	for i := range 500 {
		many = append(many, fmt.Sprintf("S%d,anti-seize,%d,40", i, i%3), fmt.Sprintf("S%d,none,%d,40", i, i%5))
	}
	head := "site,treatment,failures,attempts"
	for name, rows := range map[string][]string{
		"no failures":      {head, "A,anti-seize,0,10", "A,none,0,20", "B,anti-seize,0,5", "B,none,0,5"},
		"all failures":     {head, "A,anti-seize,10,10", "A,none,20,20", "B,anti-seize,5,5", "B,none,5,5"},
		"a zero cell":      {head, "A,anti-seize,0,10", "A,none,7,20", "B,anti-seize,0,9", "B,none,1,9"},
		"one arm only":     {head, "A,anti-seize,1,10", "B,none,7,20"},
		"an empty group":   {head, "A,anti-seize,1,10", "A,none,7,20", "B,none,0,0", "B,anti-seize,0,0"},
		"one attempt each": {head, "A,anti-seize,1,1", "A,none,0,1"},
		"500 groups":       many,
	} {
		for _, args := range [][]string{
			{"compare", "treatment", "anti-seize", "none", "--strata", "site"}, {"compare", "treatment", "anti-seize", "none"},
			{"standing", "site", "--limit-ratio", "2"}, {"standing", "treatment", "--mix", "site"}, {"standing", "site", "--mix", "none", "--limit-per-1000", "10"},
		} {
			args = append(args, "--from", countFile(t, rows...))
			got := analysed(t, args...)
			if len(got["cautions"].([]any)) == 0 || got["headline"] == "" {
				t.Errorf("%s: %v has no caution or headline", name, args)
			}
			code, out, errOut := run(t, "", nil, args...)
			if code != 0 || strings.Contains(out, "NaN") || strings.Contains(out, "Inf") || errOut != "" {
				t.Errorf("%s: %v: exit %d, %s%s", name, args, code, out, errOut)
			}
		}
	}
	code, _, errOut := run(t, "", nil, "compare", "treatment", "anti-seize", "none", "--from", countFile(t, head, "A,anti-seize,0,0", "A,none,1,5"))
	if code != exitData || !strings.Contains(errOut, "attempts of anti-seize is 0, but must be at least 1: there is nothing to compare") {
		t.Errorf("exit %d, %s", code, errOut)
	}
}

func TestAnalysesSayWhatIsAlike(t *testing.T) {
	got := analysed(t, "standing", "lot", "--mix", "none", "--from", countFile(t, "lot,failures,attempts", "L-7,1,50", "l-7,2,50", "L-8,0,50"))
	cautions, err := json.Marshal(got["cautions"])
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Column lot has L-7 and l-7", "Crude rates are compared"} {
		if !strings.Contains(string(cautions), want) {
			t.Errorf("%s lacks %q", cautions, want)
		}
	}
}

// People stand side by side only when that was asked for in so many words.
func TestPeopleAreRankedOnlyByName(t *testing.T) {
	file := countFile(t, "person,site,failures,attempts", "AB,RVB,1,100", "CD,RVB,5,100", "AB,QLT,2,90")
	for _, args := range []string{"standing person --by-name", "standing site --mix person --by-name", "compare person AB CD --by-name --strata site"} {
		got := analysed(t, append(strings.Fields(args), "--from", file)...)
		if got["headline"] == "" {
			t.Errorf("%s: %v", args, got)
		}
	}
}

// A history of thousands of rows has a table that a person can use.
func TestTrendOfALongHistory(t *testing.T) {
	rows := []string{"x,n"}
	for i := range 5000 {
		x := 5
		if i == 1234 {
			x = 60
		}
		rows = append(rows, fmt.Sprintf("%d,100", x+i%3))
	}
	code, out, errOut := run(t, "", nil, "trend", "--chart", "p", "--from", countFile(t, rows...))
	if code != 0 || errOut != "" || strings.Count(out, "\n") > 100 {
		t.Fatalf("exit %d, %s, %d lines", code, errOut, strings.Count(out, "\n"))
	}
	for _, want := range []string{"row 1235  610", "41 of 5000 points are listed", "each column stands for up to 74 points"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
}
