package analysis_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// The wrench is at home at RVB; the custody is of 20 February 2026.
func TestSendingError(t *testing.T) {
	for what, tt := range map[string]struct {
		kind         ledger.CustodyKind
		site, holder string
		from, to     string
		want         []string
		detail       string
	}{
		"never moved":             {from: "RVB", to: "PCL"},
		"taken back":              {kind: ledger.CustodyReturned, site: "RVB", from: "RVB", to: "PCL"},
		"home from where it came": {kind: ledger.CustodyReceived, site: "PCL", from: "PCL", to: "RVB"},
		"repaired":                {kind: ledger.CustodyRepaired, site: "PCL", from: "PCL", to: "RVB"},
		"dropped in the crib":     {kind: ledger.CustodyDropped, site: "RVB", from: "RVB", to: "PCL"},
		"to where it is":          {from: "RVB", to: "RVB", want: []string{"THERE_ALREADY"}, detail: "it is at RVB already"},
		"lent there":              {kind: ledger.CustodyIssued, site: "RVB", holder: "ab", from: "RVB", to: "RVB", want: []string{"LENT", "THERE_ALREADY"}},
		"from there to there":     {kind: ledger.CustodyReceived, site: "PCL", from: "RVB", to: "RVB", want: []string{"AT_ANOTHER_SITE", "SAME_SITE"}, detail: "are both RVB"},
		"there already":           {kind: ledger.CustodyReceived, site: "PCL", from: "RVB", to: "PCL", want: []string{"AT_ANOTHER_SITE", "THERE_ALREADY"}, detail: "it is at PCL already"},
		"from where it is not":    {kind: ledger.CustodyReceived, site: "PCL", from: "RVB", to: "LKS", want: []string{"AT_ANOTHER_SITE"}, detail: "at site PCL since 2026-02-20"},
		"sent twice":              {kind: ledger.CustodySent, site: "RVB", from: "RVB", to: "PCL", want: []string{"IN_TRANSIT"}, detail: "sent off on 2026-02-20 and not received since"},
		"sent on, then back":      {kind: ledger.CustodySent, site: "RVB", from: "PCL", to: "RVB", want: []string{"IN_TRANSIT"}},
		"lent":                    {kind: ledger.CustodyIssued, site: "RVB", holder: "ab", from: "RVB", to: "PCL", want: []string{"LENT"}, detail: "lent to ab on 2026-02-20: take it back first"},
		"dropped by its holder":   {kind: ledger.CustodyDropped, site: "RVB", holder: "ab", from: "RVB", to: "PCL", want: []string{"LENT"}},
		"lost":                    {kind: ledger.CustodyLost, site: "RVB", from: "RVB", to: "PCL", want: []string{"LOST"}, detail: "reported lost on 2026-02-20"},
	} {
		w := trackedWrench(t, "TW-1", 100)
		if tt.kind != 0 {
			w.Custody = &analysis.ToolCustody{Kind: tt.kind, Site: tt.site, Holder: tt.holder, Since: at(t, "2026-02-20T09:00:00Z")}
		}
		err := w.SendingError(tt.from, tt.to)
		var e *ledger.Error
		if errors.As(err, &e) != (tt.want != nil) {
			t.Errorf("%s: %v", what, err)
			continue
		}
		if e == nil {
			continue
		}
		var got []string
		for _, v := range e.Violations {
			got = append(got, v.Type)
		}
		if !slices.Equal(got, tt.want) || e.Kind != ledger.KindPrecondition || !strings.HasPrefix(e.Message, "tool TW-1 can't be sent to "+tt.to+": ") || !strings.Contains(e.Message, tt.detail) {
			t.Errorf("%s: %v %v; expected %v", what, got, e, tt.want)
		}
	}
}
