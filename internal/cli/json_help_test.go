package cli

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The names are a promise to those who read the answers with programs: one that is
// gone or renamed shows here. After adding one, write what `trackctl help json`
// prints to the file.
func TestJSONNamesStay(t *testing.T) {
	code, out, _ := run(t, "", nil, "help", "json")
	want, err := os.ReadFile(filepath.Join("testdata", "json_names.golden"))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), out); code != 0 || d != "" {
		t.Errorf("exit %d (-want +got):\n%s", code, d)
	}
}

func TestJSONNamesAreInSnakeCase(t *testing.T) {
	form := regexp.MustCompile(`^[a-z]+(_[a-z0-9]+)*$`)
	for _, a := range jsonAnswers() {
		seen := map[string]bool{}
		for _, name := range append(append([]string{a.key}, a.members...), a.notes...) {
			if !form.MatchString(name) {
				t.Errorf("%s: %q", a.commands, name)
			}
		}
		if len(a.members) == 0 {
			t.Errorf("%s has no members", a.commands)
		}
		for _, name := range a.members {
			if seen[name] {
				t.Errorf("%s has %s twice", a.commands, name)
			}
			seen[name] = true
		}
	}
}
