package csvfolder

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	pb "jointledger/proto/jointledger/v1"
)

// What the records of a file break is counted once, though each is sent twice, and
// the same again when the folder is taken in again.
func TestTakeCountsFindings(t *testing.T) {
	server := newKeeper()
	hold, warn := pb.Severity_SEVERITY_HOLD, pb.Severity_SEVERITY_WARN
	server.found = map[string][]*pb.Finding{
		"incidents/019cadd3-6bc0-77c9-9e41-58325664ba11": {{Rule: "clock", Severity: warn}},
		"incidents/019cadd3-6bc0-77c9-9e41-58325664ba12": {{Rule: "clock", Severity: warn}, {Rule: "lot-held", Severity: hold}},
		"sealings/019cad6f-a0e0-7a40-8637-7ab521c5dcf2":  {{Rule: "seal-cold", Severity: hold}},
	}
	dir := write(t, fleet())
	for _, options := range []Options{{DryRun: true}, {}, {}, {KeepGood: true}} {
		reports, err := Take(t.Context(), dir, server, options)
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]map[Broken]int{}
		for _, r := range reports {
			if r.Findings != nil {
				got[r.File] = r.Findings
			}
		}
		want := map[string]map[Broken]int{
			"incidents.csv": {{"clock", warn}: 2, {"lot-held", hold}: 1},
			"sealings.csv":  {{"seal-cold", hold}: 1},
		}
		if options.DryRun {
			// Nothing is kept, so the joint of the galling and of the sealing is not
			// known to the server, and it can't judge them.
			want = map[string]map[Broken]int{}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%+v (-want +got):\n%s", options, d)
		}
	}
}
