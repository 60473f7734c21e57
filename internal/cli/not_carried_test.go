package cli

import (
	"strings"
	"testing"
	"time"

	pb "jointledger/proto/jointledger/v1"
)

// That no rule is broken is said without reserve only where everything was known.
func TestByDataOf(t *testing.T) {
	at := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		j    judged
		want string
	}{
		{judged{dataOf: at}, ": no rule is broken"},
		{judged{dataOf: at, unknown: true}, "no rule is broken as far as they tell, and they do not know everything that the entry names"},
		{judged{dataOf: at, findings: []*pb.Finding{{}}}, "Z"},
		{judged{dataOf: at, findings: []*pb.Finding{{}}, unknown: true}, "Z"},
	} {
		if got := byDataOf(tc.j); !strings.HasPrefix(got, "by data of 2026-03-02 07:00") || !strings.HasSuffix(got, tc.want) {
			t.Errorf("%q; expected it to end with %q", got, tc.want)
		}
	}
}
