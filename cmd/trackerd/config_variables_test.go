package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// A misspelt variable is said at the start, with the one that was meant and without its
// value; settings, variables of trackctl's and empty ones are not.
func TestAMisspeltVariableIsSaid(t *testing.T) {
	p := startProgram(t, []string{
		"JOINTLEDGER_LOG_LEVLE=hidden-1", "JOINTLEDGER_ZZZZZZZZ=hidden-2",
		"JOINTLEDGER_RATE=100", "JOINTLEDGER_SERVER=127.0.0.1:7733", "JOINTLEDGER_RAET=",
	}, "serve", "--listen", "127.0.0.1:0", "--data", t.TempDir(), "--log-level", "warn")
	var said []string
	for line := range strings.Lines(p.log.String()) {
		if strings.Contains(line, "is no setting and is ignored") {
			_, what, _ := strings.Cut(line, "level=")
			said = append(said, strings.TrimSpace(what))
		}
	}
	want := []string{
		`WARN msg="a variable of the environment is no setting and is ignored" variable=JOINTLEDGER_LOG_LEVLE did_you_mean=JOINTLEDGER_LOG_LEVEL`,
		`WARN msg="a variable of the environment is no setting and is ignored" variable=JOINTLEDGER_ZZZZZZZZ`,
	}
	// The environment of whoever runs the tests may have more.
	said = slices.DeleteFunc(said, func(line string) bool {
		return os.Getenv(regexp.MustCompile(`JOINTLEDGER_\w+`).FindString(line)) != ""
	})
	if !slices.Equal(said, want) {
		t.Errorf("said was %q; expected %q", said, want)
	}
	if strings.Contains(p.log.String(), "hidden-") {
		t.Errorf("a value is shown: %s", p.log)
	}
}

// The variables of trackctl's that are taken for no mistake are those that it reads.
func TestVariablesOfTheClient(t *testing.T) {
	sources, err := filepath.Glob("../../internal/cli/*.go")
	if err != nil {
		t.Fatal(err)
	}
	read := map[string]bool{}
	for _, name := range sources {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range regexp.MustCompile(`env\w+ += "JOINTLEDGER_(\w+)"`).FindAllSubmatch(text, -1) {
			read[string(found[1])] = true
		}
	}
	if !read["TOKEN_FILE"] {
		t.Error("TOKEN_FILE is read by both, and was not found")
	}
	delete(read, "TOKEN_FILE")
	for _, name := range ofTheClient {
		if !read[name] {
			t.Errorf("%s is taken for trackctl's, which does not read it", name)
		}
		delete(read, name)
	}
	for name := range read {
		t.Errorf("trackctl reads %s, which trackerd takes for a mistake", name)
	}
}
