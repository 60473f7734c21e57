package metrology_test

import (
	"math"
	"testing"
	"time"

	"jointledger/internal/metrology"
)

// A refusal names what was asked for and what there is instead.
func TestErrorMessages(t *testing.T) {
	messages := map[string]error{}
	_, messages["class"] = metrology.ParseToolClass("IV")
	_, messages["edition"] = metrology.DeviceLimitPercent("1992", 4)
	_, messages["rule"] = metrology.Result{Limit: 4, ExpandedUncertainty: 1}.AcceptanceLimit("by-eye")
	_, messages["range"] = metrology.Reading{Target: -1, Reference: 1}.DeviationPercent()
	now := time.Unix(0, 0)
	_, messages["order"] = metrology.CycleUse{Uses: []metrology.Use{{At: now}, {At: now.Add(-1)}}, AsOf: now}.Due(1)
	for key, want := range map[string]string{
		"class":   `no tool class "IV" in ISO 6789-1; there are I-A, I-B, I-C, I-D, I-E, II-A, II-B, II-C, II-D, II-E, II-F, II-G`,
		"edition": `no edition "1992" of ISO 6789; there are 2003 and 2017`,
		"rule":    `no decision rule "by-eye"; there are simple-acceptance, guard-band and managed-guard-band`,
		"range":   "target torque is -1; allowed: above 0 (N·m)",
		"order":   "use 1 is earlier than the use before it",
	} {
		if err := messages[key]; err == nil || err.Error() != want {
			t.Errorf("%s: %v, want %s", key, err, want)
		}
	}
}

func TestEveryRuleHasAnAcceptanceLimit(t *testing.T) {
	r := metrology.Result{Limit: 4, ExpandedUncertainty: 1}
	for _, rule := range metrology.DecisionRules() {
		limit, err := r.AcceptanceLimit(rule)
		if err != nil {
			t.Fatal(err)
		}
		// Inside the acceptance limit every rule passes; just outside none does.
		for _, tt := range []struct {
			deviation float64
			pass      bool
		}{{limit, true}, {-limit, true}, {limit + 1e-6, false}} {
			r.Deviation = tt.deviation
			got, err := r.Decide(rule)
			if err != nil || (got == metrology.Pass) != tt.pass {
				t.Errorf("%s at %g: %v, %v", rule, tt.deviation, got, err)
			}
		}
	}
	_, err := r.AcceptanceLimit("")
	if err == nil {
		t.Error("a verdict without a rule")
	}
	r.ExpandedUncertainty = math.Inf(1)
	_, err = r.AcceptanceLimit(metrology.GuardBand)
	wantRangeError(t, err, "expanded uncertainty")
}

// A tolerance open to one side, everything accepted: the consumer takes the tail
// beyond the limit, 1 − Φ(2) = 0.02275013194817921 (computed to 40 digits).
func TestGlobalRiskOneSided(t *testing.T) {
	p := metrology.Population{Mean: 10, StandardDeviation: 1}
	for _, tolerance := range []metrology.Tolerance{metrology.AtMost(12), metrology.AtLeast(8)} {
		risk, err := p.GlobalRisk(tolerance, metrology.Tolerance{Lower: -1e6, Upper: 1e6}, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "consumer", risk.Consumer, 0.02275013194817921, 1e-10)
		closeTo(t, "producer", risk.Producer, 0, 1e-10)
	}
	_, err := p.GlobalRisk(metrology.AtMost(12), metrology.Tolerance{Lower: 1, Upper: 1}, 0.5)
	wantRangeError(t, err, "acceptance interval")
	_, err = p.GlobalRisk(metrology.Tolerance{Lower: 1, Upper: 1}, metrology.AtMost(12), 0.5)
	wantRangeError(t, err, "tolerance")
	_, err = metrology.Population{Mean: math.NaN(), StandardDeviation: 1}.GlobalRisk(metrology.AtMost(12), metrology.AtMost(12), 0.5)
	wantRangeError(t, err, "mean of the population")
}
