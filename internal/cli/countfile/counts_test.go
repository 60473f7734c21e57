package countfile

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
)

// problems are what was found wrong; none when the file is good.
func problems(t *testing.T, err error) string {
	t.Helper()
	if err == nil {
		return ""
	}
	var wrong *WrongError
	if !errors.As(err, &wrong) {
		t.Fatal(err)
	}
	var lines []string
	for _, p := range wrong.Problems.Listed() {
		lines = append(lines, p.String())
	}
	return strings.Join(lines, "\n")
}

func sums(t *testing.T, text string, by ...analysis.Grouping) []Count {
	t.Helper()
	c, err := ReadCounts("c.csv", strings.NewReader(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, problems(t, err))
	}
	got, err := c.Sum(by)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// The same counts however a spreadsheet writes them.
func TestReadCounts(t *testing.T) {
	want := []Count{{[]string{"QLT", "impact-then-torque-tool"}, 2, 50}, {[]string{"RVB", "impact-then-torque-tool"}, 4, 130}}
	for name, text := range map[string]string{
		"plain":           "site,driving_method,failures,attempts\nRVB,impact-then-torque-tool,3,100\nQLT,impact-then-torque-tool,2,50\nRVB,impact-then-torque-tool,1,30\n",
		"other order":     "attempts,driving-method,failures,site\n100,Impact Then Torque-Tool,3,RVB\n50,impact_then_torque_tool,2,QLT\n30,impact-then-torque-tool,1,RVB\n",
		"mark and CRLF":   "\ufeffsite,driving_method,failures,attempts\r\nRVB,impact-then-torque-tool,4,130\r\nQLT,impact-then-torque-tool,2,50\r\n",
		"successes":       "site,driving_method,failures,successes\nRVB,impact-then-torque-tool,4,126\nQLT,impact-then-torque-tool,2,48\n",
		"both":            "site,driving_method,failures,successes,attempts\nRVB,impact-then-torque-tool,4,126,130\nQLT,impact-then-torque-tool,2,48,50\n",
		"blank last line": "site,driving_method,failures,attempts\n RVB ,impact-then-torque-tool,4,130\nQLT,impact-then-torque-tool,2,50\n,,,\n\n",
		"quotes":          "\"site\",\"driving_method\",failures,attempts\n\"RVB\",impact-then-torque-tool,\"4\",130\nQLT,impact-then-torque-tool,2,50",
		"letter case":     "Site,Driving Method,FAILURES,Attempts\nRVB,impact-then-torque-tool,4,130\nQLT,impact-then-torque-tool,2,50\n",
		"more columns":    "site,lot,driving_method,month,failures,attempts\nRVB,L1,impact-then-torque-tool,2026-03,4,130\nQLT,L2,impact-then-torque-tool,2026-04,2,50\n",
	} {
		if d := cmp.Diff(want, sums(t, text, analysis.BySite, analysis.ByDrivingMethod)); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
	}
	all := sums(t, "failures,attempts\n1,2\n3,4\n")
	if d := cmp.Diff([]Count{{[]string{}, 4, 6}}, all); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestReadCountsRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"":                                "c.csv:1: expected a header line and rows of counts, got an empty file",
		"site,failures,attempts\n":        "c.csv:1: expected at least one row of counts below the header, got none",
		"site,failures\nA,1\n":            "c.csv:1: column attempts: expected a column attempts or successes, got none",
		"site,attempts\nA,1\n":            "column failures: expected this column in the header",
		"sote,failures,attempts\nA,1,2\n": `c.csv:1:1: "sote" is none of the columns that this analysis reads; did you mean site? It reads site, region,`,
		"site,remark,failures,attempts\nA,x,1,2\n":                   `c.csv:1:6: "remark" is none of the columns that this analysis reads: site, region, lot, supplier, treatment, material, thread, driving_method, person, tool, month, week, day, failures, attempts, successes; leave the column out`,
		"site,Site,failures,attempts\nA,B,1,2\n":                     "expected each column once",
		"site,failures,attemps\nA,1,2\n":                             `"attemps" is none of the columns that this analysis reads; did you mean attempts?`,
		"driving_method,driving-method,failures,attempts\na,b,1,2\n": "c.csv:1: column driving-method: expected one of the columns driving_method, driving-method, got driving_method and driving-method",
		"site,failures,attempts\nA,5,3\n":                            "c.csv:2:5: column attempts: expected at least as many as failed, 5, got 3",
		"site,failures,attempts\nA,1.5,3\n":                          `c.csv:2:3: column failures: expected a whole number, got "1.5"`,
		"site,failures,attempts\nA,-1,3\n":                           `column failures: expected a whole number from 0 to 1099511627776, got "-1"`,
		"site,failures,attempts\nA,1,\n":                             "column attempts: expected a whole number from 0 to 1099511627776, got nothing",
		"site,failures,attempts\nA,,3\n":                             "column failures: expected a whole number from 0 to 1099511627776, got nothing",
		"site,failures,attempts\nA,1,\"1,000\"\n":                    "column attempts: expected a whole number without thousands separators",
		"site,failures,attempts\nA,1,2,5\n":                          "c.csv:2:3: column failures: expected 3 fields, got 4; 1,2 looks like a number with a decimal comma: write 1.2",
		"site;failures;attempts\nA;1;2\n":                            "expected commas between the columns, got semicolons or tabs",
		"site,failures,successes,attempts\nA,1,2,4\n":                "column attempts: expected failures and successes together, 3, got 4",
		"month,failures,attempts\n2026-13,1,2\n":                     `c.csv:2:1: column month: expected a month YYYY-MM, got "2026-13"`,
		"month,failures,attempts\nMay 26,1,2\n":                      `expected a month YYYY-MM, got "May 26"`,
		"week,failures,attempts\n2026-W54,1,2\n":                     `column week: expected a week YYYY-Www such as 2026-W09, got "2026-W54"`,
		"day,failures,attempts\n2026-02-30,1,2\n":                    `column day: expected a date YYYY-MM-DD, got "2026-02-30"`,
		"site,failures,attempts\nA,99999999999999999999,3\n":         "column failures: expected a whole number from 0 to",
	} {
		_, err := ReadCounts("c.csv", strings.NewReader(text))
		if got := problems(t, err); !strings.Contains(got, want) {
			t.Errorf("%q: got\n%s\nwant %s", text, got, want)
		}
	}
}

// Rows are added up as they are read: many rows of few combinations take no room, and
// give the same as the few.
func TestRowsAddUp(t *testing.T) {
	var b strings.Builder
	b.WriteString("site,lot,failures,attempts\n")
	const rows = 30_000
	for i := range rows {
		fmt.Fprintf(&b, "S%d,L%d,%d,10\n", i%3, i%5, i%2)
	}
	c, err := ReadCounts("c.csv", strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	if len(c.rows) != 15 {
		t.Errorf("%d combinations are held, expected 15", len(c.rows))
	}
	got, err := c.Sum([]analysis.Grouping{analysis.BySite})
	if err != nil {
		t.Fatal(err)
	}
	want := []Count{{[]string{"S0"}, 5000, 100_000}, {[]string{"S1"}, 5000, 100_000}, {[]string{"S2"}, 5000, 100_000}}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// Columns of whatever name are told apart by letter case where they differ in it.
func TestReadTableKeepsNames(t *testing.T) {
	table, err := ReadTable("t.csv", strings.NewReader("a,A,y\n1,2,3\n"))
	if err != nil {
		t.Fatal(err)
	}
	var names, cells []string
	for _, c := range table.Columns {
		names, cells = append(names, c.Name), append(cells, c.Words...)
	}
	if strings.Join(names, " ") != "a A y" || strings.Join(cells, " ") != "1 2 3" {
		t.Errorf("%v, %v", names, cells)
	}
}

func TestSumRefuses(t *testing.T) {
	c, err := ReadCounts("c.csv", strings.NewReader("site,failures,attempts\nA,1,1099511627776\nA,1,1\n"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.Sum([]analysis.Grouping{analysis.BySite}); err == nil || !strings.Contains(err.Error(), "the attempts of A add up to more than") {
		t.Error(err)
	}
	if _, err := c.Sum([]analysis.Grouping{analysis.ByDrivingMethod}); err == nil || !strings.Contains(err.Error(), "no column driving_method") {
		t.Error(err)
	}
}

func TestLookAlikes(t *testing.T) {
	c, err := ReadCounts("c.csv", strings.NewReader("lot,treatment,failures,attempts\nL-7,anti-seize,1,2\nl 7,Anti Seize,1,2\nL-8,anti_seize,1,2\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(c.LookAlikes(analysis.ByLot), "\n"); !strings.HasPrefix(got, "Column lot has L-7 and l 7,") {
		t.Errorf("lots: %q", got)
	}
	// Words of the trade are spelt one way whatever the file has.
	if got := c.LookAlikes(analysis.ByTreatment); got != nil {
		t.Errorf("treatments: %q", got)
	}
	if got := c.LookAlikes(analysis.ByTool); got != nil {
		t.Errorf("tools: %q", got)
	}
}

// Whatever the bytes are, reading ends, nothing is lost without a word, and sums add
// up to the rows.
func FuzzReadCounts(f *testing.F) {
	f.Add("site,failures,attempts\nA,1,2\nB,0,5\n")
	f.Add("\ufeffsite,driving-method,failures,successes\r\n\"A\nB\",x,1,2\r\n")
	f.Add("failures,attempts\n1,2,3\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		c, err := ReadCounts("c.csv", strings.NewReader(text))
		var wrong *WrongError
		if err != nil {
			if !errors.As(err, &wrong) || wrong.Problems.Count() == 0 {
				t.Fatalf("%v", err)
			}
			return
		}
		sums, err := c.Sum(c.By)
		if err != nil {
			return
		}
		var rows, all Count
		for _, r := range c.rows {
			rows.Failures, rows.Attempts = rows.Failures+r.Failures, rows.Attempts+r.Attempts
		}
		for _, s := range sums {
			all.Failures, all.Attempts = all.Failures+s.Failures, all.Attempts+s.Attempts
			if s.Failures < 0 || s.Failures > s.Attempts {
				t.Fatalf("%+v", s)
			}
		}
		if rows.Failures != all.Failures || rows.Attempts != all.Attempts || len(c.rows) == 0 {
			t.Fatalf("rows %+v, sums %+v", rows, all)
		}
	})
}
