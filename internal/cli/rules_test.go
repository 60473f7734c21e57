package cli

import (
	"encoding/json"
	"strings"
	"testing"
)

// The table that is printed has every rule that the design names, each with its
// limit and its sentence.
func TestRules(t *testing.T) {
	designed := []string{"tool-calibration-lapsed", "tool-calibration-unknown", "tool-calibration-failed", "tool-range", "tool-elsewhere", "torque-window",
		"torque-basis", "treatment-missing", "treatment-conflict", "locking-missing", "impact-final", "lot-held", "lot-not-here", "lot-overdrawn",
		"fastener-substituted", "seal-cold", "seal-dew", "seal-stale-clean", "seal-width", "seal-splice", "batch-expired", "person-unqualified", "clock"}
	code, out, errOut := run(t, "", nil, "rules", "-o", "json")
	var got struct {
		Rules []struct {
			Code, Limit, Sentence string
			Severities, Records   []string
		}
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitDone || errOut != "" {
		t.Fatalf("exit %d, %v, %s", code, err, errOut)
	}
	found := map[string]bool{}
	for _, r := range got.Rules {
		found[r.Code] = true
		if r.Limit == "" || r.Sentence == "" || len(r.Severities) == 0 || len(r.Records) == 0 {
			t.Errorf("%s: %+v", r.Code, r)
		}
	}
	for _, d := range designed {
		if !found[d] {
			t.Errorf("no rule %s", d)
		}
	}
	_, out, _ = run(t, "", nil, "rules")
	for _, d := range designed {
		if !strings.Contains(out, d+" (") {
			t.Errorf("the table has no %s", d)
		}
	}
	for _, line := range strings.Split(out, "\n") {
		if n := len([]rune(line)); n > 100 {
			t.Errorf("%d characters in %q", n, line)
		}
	}
	_, out, _ = run(t, "", nil, "rules", "seal-dew", "-o", "csv")
	if lines := strings.Split(out, "\n"); len(lines) != 3 || lines[0] != "code,severities,records,limit,sentence" || !strings.HasPrefix(lines[1], "seal-dew,hold,sealing,") {
		t.Errorf("one rule: %s", out)
	}
	if code, _, errOut := run(t, "", nil, "rules", "seal-dev"); code != exitUnknown || !strings.Contains(errOut, "did you mean seal-dew?") {
		t.Errorf("exit %d, %s", code, errOut)
	}
}
