package rules_test

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// The codes and severities of the rules table of the domain, copied by hand from
// it in its order.
var domainTable = []struct{ code, severities string }{
	{"tool-calibration-lapsed", "hold"},
	{"tool-calibration-unknown", "hold"},
	{"tool-calibration-failed", "hold"},
	{"tool-range", "hold"},
	{"tool-elsewhere", "warn"},
	{"torque-window", "hold"},
	{"torque-basis", "hold"},
	{"treatment-missing", "warn"},
	{"treatment-conflict", "hold"},
	{"locking-missing", "hold"},
	{"impact-final", "hold"},
	{"lot-held", "hold"},
	{"lot-not-here", "warn"},
	{"lot-overdrawn", "warn"},
	{"fastener-substituted", "note hold"},
	{"seal-cold", "hold"},
	{"seal-dew", "hold"},
	{"seal-stale-clean", "warn"},
	{"seal-width", "warn"},
	{"seal-splice", "hold"},
	{"batch-expired", "hold"},
	{"person-unqualified", "warn"},
	{"clock", "warn"},
}

// beyondTheDomain are rules that its table does not have.
var beyondTheDomain = []string{"tool-held", "tool-lent-unfit", "tool-out-of-turn", "batch-kind", "audit-window", "count-over-joint"}

func TestTableIsTheDomains(t *testing.T) {
	var codes []string
	for _, r := range rules.Table() {
		if !slices.Contains(beyondTheDomain, r.Code) {
			codes = append(codes, r.Code)
		}
	}
	var want []string
	for _, d := range domainTable {
		want = append(want, d.code)
		r, ok := rules.Find(d.code)
		if !ok {
			t.Errorf("%s is not in the registry", d.code)
			continue
		}
		var words []string
		for _, s := range r.Severities {
			words = append(words, s.String())
		}
		if got := strings.Join(words, " "); got != d.severities {
			t.Errorf("%s: severities %q; expected %q", d.code, got, d.severities)
		}
	}
	if !slices.Equal(codes, want) {
		t.Errorf("order %v; expected %v", codes, want)
	}
}

func TestEveryRuleExplainsItself(t *testing.T) {
	code := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	seen := map[string]bool{}
	for _, r := range rules.Table() {
		if !code.MatchString(r.Code) || seen[r.Code] {
			t.Errorf("code %q is malformed or twice there", r.Code)
		}
		seen[r.Code] = true
		if r.Limit == "" || !strings.HasSuffix(r.Sentence, ".") || len(r.Severities) == 0 || len(r.Kinds) == 0 {
			t.Errorf("%s: limit %q, sentence %q, severities %v, kinds %v", r.Code, r.Limit, r.Sentence, r.Severities, r.Kinds)
		}
		for _, k := range r.Kinds {
			if !ledger.RecordKinds.Known(k) {
				t.Errorf("%s judges records of the unknown kind %d", r.Code, k)
			}
		}
	}
	if _, ok := rules.Find("no-such-rule"); ok {
		t.Error("a rule that does not exist was found")
	}
}

func TestTableIsACopy(t *testing.T) {
	rules.Table()[0].Severities[0] = rules.Note
	if r := rules.Table()[0]; r.Severities[0] != rules.Hold {
		t.Error("a caller changed the registry")
	}
}

// The figures of trade practice, each with where it comes from: reference,
// sections F (usable range 20 to 100 % of the maximum: common practice) and I
// (40 °F = 4.4 °C: common practice; dew margin 3 °C: ISO 8502-4, from memory;
// one hour from cleaning: common practice). The limits of the clock are the
// project's own choice.
func TestDefaults(t *testing.T) {
	want := map[string]struct {
		value              float64
		unit, rule, source string
	}{
		"tool-range-low":           {20, "% of the maximum", "tool-range", "common practice"},
		"tool-range-high":          {100, "% of the maximum", "tool-range", "common practice"},
		"seal-minimum-temperature": {4.4, "°C", "seal-cold", "common practice"},
		"seal-dew-margin":          {3, "°C", "seal-dew", "ISO 8502-4"},
		"seal-clean-to-seal":       {1, "h", "seal-stale-clean", "common practice"},
		"clock-ahead":              {5, "min", "clock", "choice of this project"},
		"clock-behind":             {24, "h", "clock", "choice of this project"},
	}
	for _, d := range rules.Defaults() {
		w, ok := want[d.Key]
		delete(want, d.Key)
		if !ok || d.Limit.Value != w.value || d.Limit.Unit != w.unit || d.Rule != w.rule || !strings.Contains(d.Limit.Source.String(), w.source) {
			t.Errorf("%s: %+v of rule %s; expected %+v", d.Key, d.Limit, d.Rule, w)
		}
		r, known := rules.Find(d.Rule)
		if !known || d.Meaning == "" {
			t.Errorf("%s: rule %q, meaning %q", d.Key, d.Rule, d.Meaning)
		}
		if number := strconv.FormatFloat(d.Limit.Value, 'f', -1, 64); !strings.Contains(r.Limit, number) {
			t.Errorf("%s: rule %s hides the number %s: %q", d.Key, d.Rule, number, r.Limit)
		}
	}
	if len(want) != 0 {
		t.Errorf("missing defaults: %v", want)
	}
}
