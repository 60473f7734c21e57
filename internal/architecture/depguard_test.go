package architecture

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
)

// The linter depguard says at the line what the tests of this package say of the
// whole: its rules, in a file that golangci-lint reads, are made from the tables
// here, so that there is one statement of who may import whom.
const (
	linterFile = "../../.golangci.yml"
	begin      = "      # made by internal/architecture (UPDATE_LAYERS=1 go test ./internal/architecture); do not edit\n"
	end        = "      # end of what is made\n"
)

func TestLinterStatesTheSameLayers(t *testing.T) {
	whole, err := os.ReadFile(linterFile)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, ok := strings.Cut(string(whole), begin)
	stated, tail, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatalf("%s has no place for the layers between %q and %q", linterFile, begin, end)
	}
	made := depguardRules()
	if stated == made {
		return
	}
	if os.Getenv("UPDATE_LAYERS") == "" {
		t.Fatalf("%s states other layers than this package: UPDATE_LAYERS=1 go test ./internal/architecture", linterFile)
	}
	if err := os.WriteFile(linterFile, []byte(head+begin+made+end+tail), 0o644); err != nil {
		t.Fatal(err)
	}
}

// depguardRules gives the three tables in depguard's words. A name there is the
// beginning of a path, and of two that fit the longer one counts; files are told by
// patterns, of which those with a mark of exclamation take away.
func depguardRules() string {
	var b strings.Builder
	b.WriteString("      rules:\n")
	forbidden := make([]string, len(impure))
	for i, p := range impure {
		forbidden[i] = denied(p+"$", "a pure room does no input or output")
	}
	writeRule(&b, "pure", "original", files(pure), append(append([]string{"$gostd"}, ours(pure)...), pureLibraries...), forbidden)
	for _, name := range slices.Sorted(maps.Keys(may)) {
		other := slices.DeleteFunc(append(slices.Sorted(maps.Keys(may)), pure...), func(n string) bool { return !strings.HasPrefix(n, name+"/") })
		writeRule(&b, "may "+name, "lax", append(files([]string{name}), files(other, "!")...),
			ours(may[name]), []string{denied(module, name+" must not import it")})
	}
	for _, library := range slices.SortedFunc(maps.Keys(only), cmp.Compare[string]) {
		writeRule(&b, "only "+library, "lax", append([]string{"**/*.go"}, files(only[library], "!")...), nil,
			[]string{denied(library, "only these may: "+strings.Join(only[library], " "))})
	}
	return b.String()
}

func writeRule(b *strings.Builder, name, mode string, files, allow, deny []string) {
	// A point parts the names of nested keys for who reads this file.
	fmt.Fprintf(b, "        %s:\n          list-mode: %s\n", strings.NewReplacer("/", "-", ".", "-", " ", "-").Replace(name), mode)
	fmt.Fprintf(b, "          files: [%s]\n", quoted(append(files, "!$test")))
	if len(allow) > 0 {
		fmt.Fprintf(b, "          allow: [%s]\n", quoted(allow))
	}
	fmt.Fprintf(b, "          deny: [%s]\n", strings.Join(deny, ", "))
}

// files gives the patterns of all files of the packages and of what lies below them.
func files(names []string, mark ...string) []string {
	all := make([]string, len(names))
	for i, n := range names {
		all[i] = strings.Join(mark, "") + "**/" + n + "/**"
	}
	return all
}

// ours gives the import paths of packages of ours.
func ours(names []string) []string {
	all := make([]string, len(names))
	for i, n := range names {
		all[i] = module + n
	}
	return all
}

func denied(path, why string) string { return fmt.Sprintf("{pkg: %q, desc: %q}", path, why) }

func quoted(all []string) string {
	each := make([]string, len(all))
	for i, s := range all {
		each[i] = fmt.Sprintf("%q", s)
	}
	return strings.Join(each, ", ")
}
