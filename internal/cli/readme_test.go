package cli_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// tourLine is one line of a shell block of the README.
type tourLine struct {
	number int
	// chapter is the bold heading that the block stands under.
	chapter, text string
}

var (
	tourChapter = regexp.MustCompile(`^\*\*([^*]+?)\.?\*\*`)
	tourComment = regexp.MustCompile(`\s{2,}#.*$`)
	tourExport  = regexp.MustCompile(`^export (JOINTLEDGER_[A-Z_]+=\S+)$`)
)

// tourLines are the lines of the README's sh blocks without their comments.
func tourLines(t *testing.T, path string) []tourLine {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var lines []tourLine
	chapter, inside := "", false
	for i, l := range strings.Split(string(text), "\n") {
		switch {
		case strings.HasPrefix(l, "```"):
			inside = l == "```sh"
		case inside:
			if l = tourComment.ReplaceAllString(l, ""); l != "" && !strings.HasPrefix(l, "#") {
				lines = append(lines, tourLine{i + 1, chapter, l})
			}
		case strings.HasPrefix(l, "## "):
			chapter = ""
		case tourChapter.MatchString(l):
			chapter = tourChapter.FindStringSubmatch(l)[1]
		}
	}
	return lines
}

// Every trackctl line that the README shows works as it is shown, and what it has
// the technician do breaks no rule gravely.
func TestReadmeTour(t *testing.T) {
	root, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	server := startDemo(t)
	dir := t.TempDir() // what the lines write stays out of the source
	if err := os.Symlink(filepath.Join(root, "testdata"), filepath.Join(dir, "testdata")); err != nil {
		t.Fatal(err)
	}
	run := map[string]int{}
	for _, l := range tourLines(t, filepath.Join(root, "README.md")) {
		if m := tourExport.FindStringSubmatch(l.text); m != nil {
			server.env = append(server.env, m[1])
			continue
		}
		if !strings.HasPrefix(l.text, "trackctl ") {
			continue // make, trackerd, PATH: what startDemo does in their place
		}
		run[l.chapter]++
		code, out, errOut := server.run(t, dir, "sh", "-c", asOfTheData(l.text))
		want := 0
		if strings.HasPrefix(l.text, "trackctl handover ") {
			want = 1 // the demonstration's cells are not complete
		}
		if code != want {
			t.Errorf("README.md:%d: %s: exit %d, expected %d\n%s%s", l.number, l.text, code, want, out, errOut)
		}
		if l.chapter == "Field technician" && regexp.MustCompile(`(?m)^HOLD |is on hold`).MatchString(out) {
			t.Errorf("README.md:%d: %s: the example is held\n%s", l.number, l.text, out)
		}
	}
	for _, chapter := range []string{"", "Field technician", "Site lead", "Tool crib", "Regional manager"} {
		if run[chapter] == 0 {
			t.Errorf("no line was run under %q: %v", chapter, run)
		}
	}
}

// asOfTheData gives what is recorded in the tour a time in the season of the
// demonstration: later on, its wrenches and qualifications will have lapsed.
func asOfTheData(command string) string {
	if strings.HasPrefix(command, "trackctl tighten ") || strings.HasPrefix(command, "trackctl incident ") {
		return command + " --at 2026-08-14T10:00:00-08:00 --offline"
	}
	return command
}

// The README names every file that import takes, in its order.
func TestReadmeNamesEveryFileOfTheImport(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	server := &demoServer{bin: buildPrograms(t)}
	_, format, _ := server.run(t, ".", filepath.Join(server.bin, "trackctl"), "help", "import-format")
	var names []string
	for _, m := range regexp.MustCompile(`(?m)^([a-z_]+)\.csv$`).FindAllStringSubmatch(format, -1) {
		names = append(names, m[1])
	}
	if all := "`" + strings.Join(names, " ") + "`"; len(names) < 16 || !strings.Contains(strings.Join(strings.Fields(string(text)), " "), all) {
		t.Errorf("README.md lacks the list %s", all)
	}
}
