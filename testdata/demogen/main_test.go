package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"testing"
)

// The committed files are exactly what the program writes, and there are no
// others beside them.
func TestCommittedFilesAreReproduced(t *testing.T) {
	files, err := generate(seed)
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, f := range files {
		want = append(want, f.name)
		got, err := os.ReadFile(filepath.Join(demo, f.name))
		if err != nil {
			t.Error(err)
			continue
		}
		if !bytes.Equal(got, f.data) {
			t.Errorf("%s differs from what the program writes: %s", f.name, firstDifference(got, f.data))
		}
	}
	sort.Strings(want)
	found, err := filepath.Glob(filepath.Join(demo, "*.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if len(found) != len(want) {
		t.Errorf("%d CSV files in the folder, the program writes %d: %v", len(found), len(want), want)
	}
}

// firstDifference shows the first line in which two texts differ.
func firstDifference(a, b []byte) string {
	left, right := bytes.Split(a, []byte("\n")), bytes.Split(b, []byte("\n"))
	for i := range min(len(left), len(right)) {
		if !bytes.Equal(left[i], right[i]) {
			return fmt.Sprintf("line %d: committed %q, written %q", i+1, left[i], right[i])
		}
	}
	return fmt.Sprintf("committed %d lines, written %d", len(left), len(right))
}

// run writes the same bytes into a folder that it makes.
func TestRunWritesTheFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "demo")
	if err := run(dir, seed); err != nil {
		t.Fatal(err)
	}
	for _, h := range importFormat {
		got, err := os.ReadFile(filepath.Join(dir, h.name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		want, err := os.ReadFile(filepath.Join(demo, h.name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s.csv differs from the committed file", h.name)
		}
	}
}

// Another seed draws another season: the seed reaches the draws.
func TestSeedMatters(t *testing.T) {
	files, err := generate(seed + 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		committed, err := os.ReadFile(filepath.Join(demo, f.name))
		if err != nil {
			t.Fatal(err)
		}
		same := bytes.Equal(f.data, committed)
		switch f.name {
		case "tightenings.csv", "incidents.csv", "sealings.csv", "joints.csv", "calibrations.csv", "inspections.csv":
			if same {
				t.Errorf("%s does not depend on the seed", f.name)
			}
		case "sites.csv", "specs.csv", "lots.csv", "tools.csv", "people.csv":
			if !same {
				t.Errorf("%s depends on the seed", f.name)
			}
		}
	}
}

// The folder is small enough to carry in a repository.
func TestFolderIsSmall(t *testing.T) {
	entries, err := os.ReadDir(demo)
	if err != nil {
		t.Fatal(err)
	}
	var total int64
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		total += info.Size()
	}
	if total >= 600_000 {
		t.Errorf("%d bytes, want fewer than 600 000", total)
	}
}

// The README claims a number of lines for every file.
func TestCountsAreAsClaimed(t *testing.T) {
	claims := claimed(t, regexp.MustCompile(`(?m)^\| (\w+)\.csv \| ([\d ]+) \|$`))
	if len(claims) != len(importFormat) {
		t.Errorf("the README counts %d files, want %d", len(claims), len(importFormat))
	}
	for _, h := range importFormat {
		want, ok := claims[h.name]
		if got := len(read(t, h.name)); !ok || got != want[0] {
			t.Errorf("%s.csv has %d lines, the README claims %v", h.name, got, want)
		}
	}
}

// The README's second table gives galled fasteners and attempts of groups.
func TestFiguresAreAsClaimed(t *testing.T) {
	claims := claimed(t, regexp.MustCompile(`(?m)^\| ([^|]+) \| ([\d ]+) \| ([\d ]+) \|$`))
	good := without(bad)
	groups := map[string]func(line) bool{
		"lot SX10-133":                     inLot(bad),
		"lot SX10-133 at HRQ":              both(inLot(bad), atSite("HRQ")),
		"lot SX10-133 at QLM":              both(inLot(bad), atSite("QLM")),
		"other stainless lots":             good,
		"other stainless lots, anti-seize": both(good, treated("anti-seize")),
		"GWT with anti-seize":              both(atSite("GWT"), treated("anti-seize")),
		"GWT without":                      both(atSite("GWT"), treated("none")),
		"QLM":                              atSite("QLM"),
		"HRQ":                              atSite("HRQ"),
		"HRQ without lot SX10-133":         both(atSite("HRQ"), good),
		"NBF":                              atSite("NBF"),
		"GWT":                              atSite("GWT"),
		"TVS":                              atSite("TVS"),
		"all":                              all,
	}
	if len(claims) != len(groups) {
		t.Errorf("the README gives %d groups, want %d", len(claims), len(groups))
	}
	for name, belongs := range groups {
		c := recount(t, belongs)
		if want := claims[name]; len(want) != 2 || want[0] != c.galled || want[1] != c.attempts {
			t.Errorf("%s: %d galled of %d, the README claims %v", name, c.galled, c.attempts, want)
		}
	}
}

// claimed reads rows of figures from the scenario's README: a name and one or
// two whole numbers, in which a space may part the thousands.
func claimed(t *testing.T, rows *regexp.Regexp) map[string][]int {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(demo, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]int{}
	for _, m := range rows.FindAllSubmatch(text, -1) {
		for _, digits := range m[2:] {
			n, err := strconv.Atoi(string(bytes.ReplaceAll(digits, []byte(" "), nil)))
			if err != nil {
				t.Fatal(err)
			}
			out[string(m[1])] = append(out[string(m[1])], n)
		}
	}
	return out
}
