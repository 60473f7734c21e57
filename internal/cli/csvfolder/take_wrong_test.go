package csvfolder

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	pb "jointledger/proto/jointledger/v1"
)

// What a line has wrong by itself and what the server refuses of the others is told
// in one round, and nothing is kept of either.
func TestTakeTellsBothKindsOfMistakesAtOnce(t *testing.T) {
	files := fleet()
	files["joints.csv"] += "ASH,CT1,C3,J1,seam,false,S1,0\nASH,CT1,C4,J2,seam,false,S9,2\nASH,CT1,C5,J3,seam,false,S1,2\n"
	want := []string{
		`joints.csv:4:29: column fasteners: expected a whole number from 1 to 100000, got "0"`,
		`joints.csv:5:26: column spec: specification "S9" is not known`,
	}
	for _, options := range []Options{{}, {DryRun: true}} {
		dir, server := write(t, files), newKeeper()
		server.refuse["sites/ASH/towers/CT1/cells/C4/joints/J2"] = &pb.Refusal{Reason: pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE,
			ResourceName: "specifications/S9", Message: `specification "S9" is not known`}
		reports, err := Take(t.Context(), dir, server, options)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, problemsOf(dir, reports)); d != "" {
			t.Errorf("%+v: (-want +got):\n%s", options, d)
		}
		for _, r := range reports {
			if r.File == jointsFile && (r.Status != StatusRefused || r.Refused != 2 || !options.DryRun && r.Taken != 0) {
				t.Errorf("%+v: %+v", options, r)
			}
		}
		for name := range server.kept {
			if strings.Contains(name, "/cells/") {
				t.Errorf("%+v: %s was kept", options, name)
			}
		}
	}
}

// With --keep-good a file of which nothing could be taken is refused, not partly
// taken; what was known before counts.
func TestTakeSaysRefusedWhenNothingIsLeft(t *testing.T) {
	files := fleet()
	files["batches.csv"] = "batch,kind,product\nB1,glue,x\n"
	files["lots.csv"] += "L2,Boltworks,H1,M10,0,304,A2-70,plain,hex\n"
	for _, options := range []Options{{KeepGood: true}, {KeepGood: true, DryRun: true}} {
		dir, server := write(t, files), newKeeper()
		if _, err := Take(t.Context(), write(t, map[string]string{"lots.csv": fleet()["lots.csv"]}), server, Options{}); err != nil {
			t.Fatal(err)
		}
		reports, err := Take(t.Context(), dir, server, options)
		if err != nil {
			t.Fatal(err)
		}
		got := summary(reports)
		if got[3] != "lots.csv 0 1 1 partly-taken" || got[4] != "batches.csv 0 0 1 refused" {
			t.Errorf("%+v: %q", options, got)
		}
		if p := problemsOf(dir, reports); len(p) != 2 || p[0] != `lots.csv:3:21: column length_mm: expected above 0, or nothing, got "0"` {
			t.Errorf("%q", p)
		}
	}
}

// Zeros that would pass for "not given", and decimal commas in lists.
func TestTakeRefusesAZeroThatMeansNothing(t *testing.T) {
	files := fleet()
	files["calibrations.csv"] = strings.ReplaceAll(strings.ReplaceAll(files["calibrations.csv"], "0.096,2", "0,0"), "24.1;24.2", "24,1;24,2")
	files["sealings.csv"] = strings.ReplaceAll(files["sealings.csv"], "25.4", "0")
	files["inspections.csv"] = strings.ReplaceAll(files["inspections.csv"], "torque-audit,,", "torque-audit,0,")
	dir := write(t, files)
	reports, err := Take(t.Context(), dir, newKeeper(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		`calibrations.csv:2:91: column expanded_uncertainty_n_m: expected above 0, or nothing, got "0"`,
		`calibrations.csv:2:93: column coverage_factor: expected above 0, or nothing, got "0"`,
		`calibrations.csv:3:82: column readings_n_m: expected 10 fields, got 12; 24,1;24,2 looks like numbers with a decimal comma: write 24.1;24.2`,
		`sealings.csv:2:85: column width_mm: expected above 0, or nothing, got "0"`,
		`inspections.csv:2:89: column sample: expected above 0, or nothing, got "0"`,
	}
	if d := cmp.Diff(want, problemsOf(dir, reports)); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}
