package figure

import (
	"flag"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden file anew")

// A small picture, kept as it was looked at.
func TestGoldenPicture(t *testing.T) {
	f := &Forest{Caption: Caption{Finding: "Lot B fails twice as often as the others."}, Of: "lots", Measure: "ratio to the other lots", Ratio: true, Confidence: 0.95,
		Reference: ptr(1.0), ReferenceLabel: "as the others", Rows: []ForestRow{
			{Name: "B", Failures: 40, Attempts: 2000, Value: ptr(2.0), Lower: ptr(1.4), Upper: ptr(2.9), StandsOut: true},
			{Name: "A & C", Failures: 0, Attempts: 12, Value: ptr(0.0), Upper: ptr(25.0)},
		}}
	if err := f.Validate(); err != nil {
		t.Fatal(err)
	}
	const path = "testdata/forest.svg"
	got := f.SVG("figure")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; write it with -update and look at it", err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
