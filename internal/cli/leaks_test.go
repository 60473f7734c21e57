package cli

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
)

// Fisher's table of convictions (J. Roy. Statist. Soc. A 125 (1962) 604-607) as seals
// laid below and above 4.4 °C: 10 of 13 and 2 of 17. Pearson's chi-square of it
// without correction is 13.0318 by hand: 30(2·3−15·10)²/(17·13·12·18).
func TestLeaksFromAFile(t *testing.T) {
	var b strings.Builder
	b.WriteString("site,joint,day,surface_c,dew_margin_c,splice,failed,tested\n")
	for i := range 30 {
		surface, failed := 15, i < 2
		if i >= 17 {
			surface, failed = 2, i < 27
		}
		fmt.Fprintf(&b, "RVB,J%03d,2026-03-%02d,%d,%g,none,%d,%d\n", i, 1+i%28, surface, 4+float64(i%3), map[bool]int{true: 1}[failed], i%2)
	}
	code, out, errOut := run(t, "", nil, "leaks", "--from", fileOf(t, "sealings.csv", b.String()), "--output", "json")
	if code != 0 {
		t.Fatalf("exit %d\n%s", code, errOut)
	}
	var got struct {
		Headline                 string
		Sealings, Failed, Tested int
		Never                    int `json:"joints_never_tested"`
		Bands                    []struct {
			Condition, Band  string
			Sealings, Failed int
			PValue           *float64 `json:"p_value"`
		}
		Model []struct {
			Term  string
			Ratio *float64
		}
		Cautions []string
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if got.Sealings != 30 || got.Failed != 12 || got.Tested != 15 || got.Never != 15 {
		t.Errorf("%+v", got)
	}
	chi := 30 * math.Pow(2*3-15*10, 2) / (17 * 13 * 12 * 18)
	want := math.Erfc(math.Sqrt(chi / 2)) // the upper tail of chi-square with one degree of freedom
	cold := got.Bands[0]
	if cold.Band != "below 4.4 °C" || cold.Failed != 10 || cold.Sealings != 13 || cold.PValue == nil || math.Abs(*cold.PValue-want) > 1e-12 {
		t.Errorf("%+v, expected p %v", cold, want)
	}
	if len(got.Model) != 3 || got.Model[2].Term != interceptName || got.Model[2].Ratio != nil || got.Model[0].Term != "surface_c" || !strings.Contains(got.Headline, "failures go with surface temperature") {
		t.Errorf("%+v\n%s", got.Model, got.Headline)
	}
	said := strings.Join(got.Cautions, " ")
	for _, part := range []string{"15 were never leak-tested", "fewer than half of the sealings: time since cleaning, solvent", "the same in all sealings that take part: splice"} {
		if !strings.Contains(said, part) {
			t.Errorf("%q is missing in %q", part, got.Cautions)
		}
	}
}

func TestLeaksRefusals(t *testing.T) {
	for _, c := range []struct {
		content string
		says    string
	}{
		{"surface_c\n4\n", "column failed: expected this column"},
		{"failed,surfce_c\n1,4\n", "surface_c"},
		{"failed\n2\n", "expected a whole number from 0 to 1"},
		{"failed,dew_margin_c,humidity_pct\n1,3,60\n", "expected either dew_margin_c, or air_c and humidity_pct"},
		{"failed,hours_since_cleaning\n1,-2\n", "expected at least 0"},
		{"failed,surface_c,air_c,humidity_pct\n1,10,10,0\n", "expected a humidity above 0"},
	} {
		code, _, errOut := run(t, "", nil, "leaks", "--from", fileOf(t, "s.csv", c.content))
		if code != exitData || !strings.Contains(errOut, c.says) {
			t.Errorf("%q: exit %d, %q; expected %q", c.content, code, errOut, c.says)
		}
	}
	if code, _, errOut := run(t, "", nil, "leaks", "--by-person"); code != exitUsage || !strings.Contains(errOut, "--by-name") {
		t.Errorf("exit %d, %s", code, errOut)
	}
}

// What a file has no column for is not on record: it is neither said that joints were
// never tested, nor that the days were allowed for.
func TestLeaksWithoutTestsAndDays(t *testing.T) {
	var b strings.Builder
	b.WriteString("joint,surface_c,failed\n")
	for i := range 40 {
		fmt.Fprintf(&b, "J%03d,%d,%d\n", i, i%20, map[bool]int{true: 1}[i%3 == 0])
	}
	code, out, errOut := run(t, "", nil, "leaks", "--from", fileOf(t, "sealings.csv", b.String()), "--output", "json")
	if code != 0 {
		t.Fatalf("exit %d\n%s", code, errOut)
	}
	var got struct {
		Tested  *int
		Never   *int `json:"joints_never_tested"`
		Unknown int  `json:"joints_testing_unknown"`
		Model   []struct {
			Robust *float64 `json:"robust_standard_error"`
		}
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if got.Tested != nil || got.Never != nil || got.Unknown != 40 || len(got.Model) != 2 || got.Model[0].Robust != nil {
		t.Errorf("%+v", got)
	}
	for _, part := range []string{"Whether the joints were leak-tested is not on record", "The day of sealing is not on record"} {
		if !strings.Contains(out, part) {
			t.Errorf("%q is missing in %s", part, out)
		}
	}
	for _, part := range []string{"never leak-tested", "site and day", "sites and days", "Fasteners of one joint"} {
		if strings.Contains(out, part) {
			t.Errorf("%q is said in %s", part, out)
		}
	}
}
