package main

import (
	"fmt"
	"strings"
	"testing"
)

// The messages are in the form of golang.org/x/vuln, internal/govulncheck.
const (
	config      = `{"config": {"protocol_version": "v1.0.0", "go_version": %q}}`
	inModule    = `{"finding": {"osv": "GO-2026-0001", "fixed_version": "v1.2.0", "trace": [{"module": "example.org/frames", "version": "v1.1.0"}]}}`
	inFunction  = `{"finding": {"osv": "GO-2026-0001", "fixed_version": "v1.2.0", "trace": [{"module": "example.org/frames", "version": "v1.1.0", "package": "example.org/frames", "function": "Read"}, {"module": "jointledger", "package": "jointledger/internal/label", "function": "Parse", "position": {"filename": "internal/label/parse.go", "line": 7}}]}}`
	inLibrary   = `{"finding": {"osv": "GO-2026-0002", "fixed_version": "v1.26.9", "trace": [{"module": "stdlib", "version": "v1.26.8", "package": "net/http", "function": "Do"}]}}`
	neverMended = `{"finding": {"osv": "GO-2026-0003", "trace": [{"module": "example.org/left", "version": "v0.1.0", "package": "example.org/left", "function": "Pad"}]}}`
	summary     = `{"osv": {"id": "GO-2026-0001", "summary": "A frame without an end"}}`
)

func TestWhatIsReachedFails(t *testing.T) {
	for _, one := range []struct {
		name, with string
		messages   []string
		fails      string
		says       []string
	}{
		{"nothing found", "go1.26.10", []string{summary}, "", nil},
		{"in a module of which the function is not called", "go1.26.10", []string{summary, inModule}, "", []string{"A frame without an end", "not reached"}},
		{"a function that is called", "go1.26.10", []string{summary, inModule, inFunction}, "reaches 1", []string{"mended in v1.2.0", "internal/label/parse.go:7"}},
		{"whichever comes first", "go1.26.10", []string{inFunction, inModule}, "reaches 1", []string{"internal/label/parse.go:7"}},
		{"no version mends it", "go1.26.10", []string{neverMended}, "reaches 1", []string{"not mended in any version"}},
		{"Go's library, of an older toolchain", "go1.26.8", []string{inLibrary}, "", []string{"1 of them", "GOTOOLCHAIN=go1.26.10"}},
		{"Go's library, of the toolchain asked for", "go1.26.10", []string{inLibrary}, "reaches 1", nil},
		{"Go's library, of a later toolchain", "go1.27.0", []string{inLibrary}, "reaches 1", nil},
		{"a module, with an older toolchain", "go1.26.8", []string{inFunction, inLibrary}, "reaches 1", []string{"GOTOOLCHAIN=go1.26.10"}},
	} {
		t.Run(one.name, func(t *testing.T) {
			r, err := readReport(strings.NewReader(fmt.Sprintf(config, one.with) + strings.Join(one.messages, "\n")))
			if err != nil {
				t.Fatal(err)
			}
			var out strings.Builder
			err = r.judge(&out, "go1.26.10")
			if got := fmt.Sprint(err); one.fails == "" && err != nil || !strings.Contains(got, one.fails) {
				t.Errorf("fails with %v, want %q", err, one.fails)
			}
			for _, s := range one.says {
				if !strings.Contains(out.String(), s) {
					t.Errorf("%q is not said in\n%s", s, out.String())
				}
			}
		})
	}
}

func TestNoAnswerIsNotAGoodAnswer(t *testing.T) {
	for _, text := range []string{"", summary, "{\"config\": {\"go_version\": \"go1.26.10\"}}{", "no database"} {
		if _, err := readReport(strings.NewReader(text)); err == nil {
			t.Errorf("%q is taken for an answer", text)
		}
	}
}
