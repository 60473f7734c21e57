package regression

import (
	"embed"
	"encoding/csv"
	"errors"
	"math"
	"strconv"
	"testing"

	"jointledger/internal/stats"
)

// The files and their sources are listed in testdata/README.md.
//
//go:embed testdata/*.csv
var testdata embed.FS

// table reads a file of testdata by columns.
func table(t *testing.T, name string) map[string][]string {
	t.Helper()
	f, err := testdata.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	columns := map[string][]string{}
	for _, line := range lines[1:] {
		for k, name := range lines[0] {
			columns[name] = append(columns[name], line[k])
		}
	}
	return columns
}

func floats(t *testing.T, text []string) []float64 {
	t.Helper()
	all := make([]float64, len(text))
	for i, s := range text {
		var err error
		if all[i], err = strconv.ParseFloat(s, 64); err != nil {
			t.Fatal(err)
		}
	}
	return all
}

func counts(t *testing.T, text []string) []int64 {
	t.Helper()
	all := make([]int64, len(text))
	for i, v := range floats(t, text) {
		all[i] = int64(v)
	}
	return all
}

// factor makes a term of words, its levels in the order of their appearance, the
// first the reference.
func factor(name string, words []string) Term {
	t := Term{Name: name, Levels: []string{}}
	index := map[string]int{}
	for _, w := range words {
		if _, ok := index[w]; !ok {
			index[w] = len(t.Levels)
			t.Levels = append(t.Levels, w)
		}
		t.Codes = append(t.Codes, index[w])
	}
	return t
}

func fit(t *testing.T, d Data, o Options) *Model {
	t.Helper()
	m, err := Fit(d, o)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// near fails the test unless got is within the relative tolerance of want.
func near(t *testing.T, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s = %.13g, want %.13g, relative difference %.2g", name, got, want, math.Abs(got-want)/math.Abs(want))
	}
}

func profileOf(t *testing.T, m *Model, c int) stats.Interval {
	t.Helper()
	i, ok, err := m.Profile(c)
	if err != nil || !ok {
		t.Fatalf("profile of column %d: %v, %v", c, ok, err)
	}
	return i
}

func drop(t *testing.T, m *Model, term int) Test {
	t.Helper()
	test, ok, err := m.DropTerm(term)
	if err != nil || !ok {
		t.Fatalf("term %d: %v, %v", term, ok, err)
	}
	return test
}

// refused fails the test unless err is a *stats.ArgumentError with the sentence.
func refused(t *testing.T, err error, sentence string) {
	t.Helper()
	var argument *stats.ArgumentError
	if !errors.As(err, &argument) || argument.Error() != sentence {
		t.Errorf("error %v, want %q", err, sentence)
	}
}
