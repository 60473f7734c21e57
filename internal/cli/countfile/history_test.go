package countfile

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
)

func TestReadHistory(t *testing.T) {
	for text, want := range map[string]*History{
		"label,x,n\na,1,10\nb,0,0\n":                      {Rows: []analysis.TrendRow{{Label: "a", Failures: 1, Attempts: 10}, {Label: "b"}}},
		"failures,attempts\n1,10\n2,5\n":                  {Rows: []analysis.TrendRow{{Failures: 1, Attempts: 10}, {Failures: 2, Attempts: 5}}},
		"successes,x,day\n9,1,2026-03-01\n5,0,2026-03-03": {Rows: []analysis.TrendRow{{Label: "2026-03-01", Failures: 1, Attempts: 10}, {Label: "2026-03-03", Attempts: 5}}},
		"month,exposure,x\n2026-01,2.5,3\n2026-02,1,0\n": {PerExposure: true, Rows: []analysis.TrendRow{
			{Label: "2026-01", Failures: 3, Exposure: 2.5}, {Label: "2026-02", Exposure: 1}}},
		"time,x,n\n2026-03-02T23:00:00-05:00,0,1\n2026-03-03T05:00:00+00:00,1,1\n": {Rows: []analysis.TrendRow{
			{Label: "2026-03-02T23:00:00-05:00", Attempts: 1}, {Label: "2026-03-03T05:00:00+00:00", Failures: 1, Attempts: 1}}},
	} {
		got, err := ReadHistory("h.csv", strings.NewReader(text))
		if err != nil {
			t.Errorf("%q: %s", text, problems(t, err))
			continue
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%q (-want +got):\n%s", text, d)
		}
	}
}

func TestReadHistoryRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"label,x\na,1\n":                            "h.csv:1: column n: expected a column n, attempts, successes or exposure, got none",
		"label,n\na,1\n":                            "h.csv:1: column x: expected a column x or failures, got none",
		"label,exposure\na,1\n":                     "h.csv:1: column x: expected a column x or failures, got none",
		"label,x,n,exposure\na,1,2,3\n":             "h.csv:1: column n: expected either attempts or an exposure, got n and exposure",
		"label,x,failures,n\na,1,1,3\n":             "h.csv:1: column failures: expected one of the columns x, failures, got x and failures",
		"label,x,n,attempts\na,1,1,3\n":             "expected one of the columns n, attempts, got n and attempts",
		"day,month,x,n\n2026-01-01,2026-01,1,3":     "h.csv:1: column month: expected one of the columns label, day, date, month, time, got day and month",
		"day,x,n\n2026-03-02,1,3\n2026-03-02,1,3\n": "h.csv:3:1: column day: expected rows oldest first, each once, and so one after 2026-03-02, got 2026-03-02",
		"month,x,n\n2026-03,1,3\n2026-02,1,3\n":     "expected rows oldest first, each once, and so one after 2026-03, got 2026-02",
		"day,x,n\n2.3.2026,1,3\n":                   `column day: expected a date YYYY-MM-DD, got "2.3.2026"`,
		"day,x,n\n,1,3\n":                           "column day: expected a date YYYY-MM-DD, got nothing",
		"label,x,n\n,1,3\n":                         "column label: expected a name for the row, got nothing",
		"x,n\n4,3\n":                                "h.csv:2:3: column n: expected at least as many as failed, 4, got 3",
		"x,exposure\n4,0\n":                         "column exposure: expected above 0, since 4 failed, got 0",
		"x,exposure\n4,-1\n":                        "column exposure: expected a number from 0 to 1099511627776, got -1",
		"x,exposure\n4,NaN\n":                       `column exposure: expected a number such as 12.5, got "NaN"`,
		"x,exposure\n4,\"1,5\"\n":                   `expected a number with a decimal point, got "1,5" with a comma`,
		"x,exposur\n4,1\n":                          `"exposur" is none of the columns that this analysis reads; did you mean exposure?`,
		"x,n\n":                                     "expected at least one row of counts below the header, got none",
	} {
		_, err := ReadHistory("h.csv", strings.NewReader(text))
		if got := problems(t, err); !strings.Contains(got, want) {
			t.Errorf("%q: got\n%s\nwant %s", text, got, want)
		}
	}
}

func TestReadStock(t *testing.T) {
	got, err := ReadStock("s.csv", strings.NewReader("stock,fastener,site,failures,attempts,remaining,per_day,lead_days,pack\n-5,M10,RVB,1,20,30,2.5,14,100\n7,M10,QLT,0,9,0,,,\n"))
	if err != nil {
		t.Fatal(problems(t, err))
	}
	want := []analysis.SparesLine{
		{Fastener: "M10", Site: "RVB", Failures: 1, Attempts: 20, Remaining: 30, OnHand: -5, InstallsPerDay: 2.5, LeadTimeDays: 14, PackSize: 100},
		{Fastener: "M10", Site: "QLT", Attempts: 9, OnHand: 7},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestReadStockRefuses(t *testing.T) {
	const head = "fastener,site,failures,attempts,remaining,stock,per_day,lead_days,pack\n"
	for text, want := range map[string]string{
		"fastener,failures,remaining,stock\nM10,1,2,3\n": "s.csv:1: column attempts: expected a column attempts or successes, got none",
		"fastener,failures,attempts,stock\nM10,1,2,3\n":  "column remaining: expected this column in the header",
		head + ",RVB,1,2,3,4,5,6,7\n":                    "s.csv:2:1: column fastener: expected a lot or the name of a fastener, got nothing",
		head + "M10,RVB,1,2,,4,5,6,7\n":                  "column remaining: expected a whole number from 0 to",
		head + "M10,RVB,1,2,3,x,5,6,7\n":                 `column stock: expected a whole number, got "x"`,
		head + "M10,RVB,1,2,3,4,-5,6,7\n":                "column per_day: expected installs a day of at least 0, got -5",
		head + "M10,RVB,1,2,3,4,5,-6,7\n":                "column lead_days: expected a whole number from 0 to 36500",
		head + "M10,RVB,1,2,3,4,5,6,0\n":                 "column pack: expected above 0, or nothing",
		head + "M10,RVB,3,2,3,4,5,6,7\n":                 "column attempts: expected at least as many as failed, 3, got 2",
		head + "M10,RVB,1,2,3,4,5,6,7\nM10,RVB,,,,,,,\n": "s.csv:3:1: column fastener: expected each fastener of a site once, got \"M10\" again; it stands in line 2 too",
	} {
		_, err := ReadStock("s.csv", strings.NewReader(text))
		if got := problems(t, err); !strings.Contains(got, want) {
			t.Errorf("%q: got\n%s\nwant %s", text, got, want)
		}
	}
}

func TestReadErrorsPassOn(t *testing.T) {
	broken := errors.New("broken")
	for _, read := range []func() error{
		func() error { _, err := ReadCounts("f", failing{broken}); return err },
		func() error { _, err := ReadHistory("f", failing{broken}); return err },
		func() error { _, err := ReadStock("f", failing{broken}); return err },
	} {
		if err := read(); !errors.Is(err, broken) {
			t.Error(err)
		}
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// Whatever the bytes are, reading ends, and rows that are taken are sound.
func FuzzReadHistory(f *testing.F) {
	f.Add("label,x,n\na,1,2\n")
	f.Add("day,x,exposure\n2026-01-01,1,0.5\n2026-01-02,0,1e3\n")
	f.Fuzz(func(t *testing.T, text string) {
		h, err := ReadHistory("h.csv", strings.NewReader(text))
		if err != nil {
			var wrong *WrongError
			if !errors.As(err, &wrong) || wrong.Problems.Count() == 0 {
				t.Fatal(err)
			}
			return
		}
		for _, r := range h.Rows {
			if r.Failures < 0 || !h.PerExposure && r.Failures > r.Attempts || h.PerExposure && !(r.Exposure >= 0) {
				t.Fatalf("%+v", r)
			}
		}
	})
}
