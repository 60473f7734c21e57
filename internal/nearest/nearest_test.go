package nearest

import "testing"

func TestName(t *testing.T) {
	known := []string{"M10-ST-2640C", "M10-ST-2670B", "M10-ST-2688A", "M8-S-2628A"}
	for _, c := range []struct {
		typed, want string
		ok          bool
	}{
		{"M10-ST-2688B", "M10-ST-2688A", true},
		{"m10-st-2688a", "M10-ST-2688A", true},
		{"M10-ST-268A", "M10-ST-2688A", true},
		{"zzzz", "M8-S-2628A", false},
		{"", "M8-S-2628A", false},
	} {
		got, ok := Name(c.typed, known)
		if ok != c.ok || (ok && got != c.want) {
			t.Errorf("Name(%q) = %q, %v; want %q, %v", c.typed, got, ok, c.want, c.ok)
		}
	}
	if _, ok := Name("x", nil); ok {
		t.Error("Name among nothing found something")
	}
}

// The classical pair of the literature: kitten → sitting is three edits
// (Levenshtein distance as worked in textbooks; from memory).
func TestNameKnowsClassicalDistance(t *testing.T) {
	if _, ok := Name("kitten", []string{"sitting"}); ok {
		t.Error("three edits of seven letters were taken as near")
	}
	if got, ok := Name("kitten", []string{"sitten"}); !ok || got != "sitten" {
		t.Errorf("one edit was not taken as near: %q %v", got, ok)
	}
}
