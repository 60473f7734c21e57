package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"go/version"
	"io"
	"maps"
	"slices"
)

// library is what govulncheck calls Go's own packages.
const library = "stdlib"

// message is one of the values that govulncheck -format json writes one after another
// (golang.org/x/vuln, internal/govulncheck: Message).
type message struct {
	Config *struct {
		GoVersion string `json:"go_version"`
	}
	OSV *struct {
		ID, Summary string
	}
	Finding *finding
}

// finding says that an advisory concerns the code. Its first frame is what is
// vulnerable: a function that is called, or else only a package or a module.
type finding struct {
	OSV          string
	FixedVersion string `json:"fixed_version"`
	Trace        []frame
}

type frame struct {
	Module, Version, Package, Function, Receiver string
	Position                                     *struct {
		Filename string
		Line     int
	}
}

func (f *finding) reached() bool { return f.Trace[0].Function != "" }

type report struct {
	goVersion string // of the toolchain that the code was looked at with
	summaries map[string]string
	findings  map[string]*finding // the nearest of each advisory
}

func readReport(from io.Reader) (*report, error) {
	r := &report{summaries: map[string]string{}, findings: map[string]*finding{}}
	for d := json.NewDecoder(from); ; {
		var m message
		if err := d.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("govulncheck's answer: %w", err)
		}
		switch {
		case m.Config != nil:
			r.goVersion = m.Config.GoVersion
		case m.OSV != nil:
			r.summaries[m.OSV.ID] = m.OSV.Summary
		case m.Finding != nil && len(m.Finding.Trace) > 0:
			if have := r.findings[m.Finding.OSV]; have == nil || m.Finding.reached() && !have.reached() {
				r.findings[m.Finding.OSV] = m.Finding
			}
		}
	}
	if r.goVersion == "" {
		return nil, errors.New("govulncheck's answer does not say which version of Go it looked with")
	}
	return r, nil
}

// judge writes what was found, and fails for what is reached. What lies in Go's own
// library is mended by the toolchain, which is the business of whoever builds: it
// fails only where the toolchain is the one that go.mod asks for, or a later one.
func (r *report) judge(out io.Writer, wanted string) error {
	older := version.Compare(r.goVersion, wanted) < 0
	var reached, ofToolchain int
	for _, id := range slices.Sorted(maps.Keys(r.findings)) {
		f := r.findings[id]
		of := f.Trace[0]
		fmt.Fprintf(out, "%s %s: %s\n", id, r.summaries[id], f.mend())
		switch {
		case !f.reached():
			fmt.Fprintf(out, "  not reached by our code\n")
			continue
		case of.Module == library && older:
			ofToolchain++
		default:
			reached++
		}
		ours := f.Trace[len(f.Trace)-1]
		fmt.Fprintf(out, "  reached from %s\n", ours.place())
	}
	if ofToolchain > 0 {
		fmt.Fprintf(out, "%d of them are in the library of %s; build with GOTOOLCHAIN=%s, which go.mod asks for\n", ofToolchain, r.goVersion, wanted)
	}
	if reached > 0 {
		return fmt.Errorf("our code reaches %d known vulnerabilities", reached)
	}
	return nil
}

func (f *finding) mend() string {
	of := f.Trace[0]
	if f.FixedVersion == "" {
		return fmt.Sprintf("%s %s, not mended in any version", of.Module, of.Version)
	}
	return fmt.Sprintf("%s %s, mended in %s", of.Module, of.Version, f.FixedVersion)
}

func (f frame) place() string {
	if f.Position == nil {
		return f.Package + "." + f.Function
	}
	return fmt.Sprintf("%s:%d", f.Position.Filename, f.Position.Line)
}
