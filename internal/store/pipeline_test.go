package store_test

import (
	"strings"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
)

// A panic while an answer is read fails the one who asked, and the writer goes on: with the
// connection, or with another one.
func TestAPanicWhileAnAnswerIsRead(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		refused := wantError(t, s.AskAndPanic(t.Context(), "a row of nonsense"), ledger.KindInternal, ledger.ReasonInternal)
		for _, part := range []string{"a row of nonsense", "AskAndPanic"} { // and where it came from
			if !strings.Contains(refused.Cause.Error(), part) {
				t.Errorf("the cause lacks %q: %v", part, refused.Cause)
			}
		}
		keep(t, s, storetest.NewTightening(storetest.DenverJoint))
		soundReport(t, s)
	})
}
