package ledger_test

import (
	"strings"
	"testing"

	"jointledger/internal/ledger"
)

// FuzzParsePolicy reads any text as a due policy: what is read is written back so that
// it reads the same, and what is refused gives no half of a policy.
func FuzzParsePolicy(f *testing.F) {
	for _, seed := range []string{
		"calibration=12mo,5000cycles,after-event", "periodic-inspection = 12mo 7d", "pre-use-check=each-shift", "calibration=0mo", "calibration=-1d",
		"calibration=+5d", "calibration=1mo,1mo", "=12mo", "calibration=", "calibration==1d", "calibration=99999999999d", "CALIBRATION=1MO", "calibration=1\u00a0mo", "calibration=\u212a", "x=\xff",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ledger.ParsePolicy(text)
		if err != nil {
			if p != (ledger.Policy{}) || !strings.Contains(err.Error(), "expected") && !strings.Contains(err.Error(), "one of") {
				t.Errorf("%q is %+v besides the error %v", text, p, err)
			}
			return
		}
		if p.Months < 0 || p.Days < 0 || p.Cycles < 0 || p == (ledger.Policy{Action: p.Action}) || !ledger.PolicyActions.Known(p.Action) {
			t.Errorf("%q is %+v", text, p)
		}
		if again, err := ledger.ParsePolicy(p.String()); err != nil || again != p {
			t.Errorf("%q is %+v, written %q, which reads as %+v, %v", text, p, p.String(), again, err)
		}
	})
}
