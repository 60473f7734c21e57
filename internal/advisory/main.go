package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
)

// modfile names the versions of the two programs and of the advisories.
const modfile = "-modfile=internal/tools/vulnerability.mod"

const database = "golang.org/x/vulndb"

func main() {
	if err := run(os.Stdout, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "advisory:", err)
		os.Exit(1)
	}
}

// run looks at the packages that are named, in the module of the working folder. It
// fails for what those packages reach and for advisories that could not be had: no
// answer is not a good answer.
func run(out io.Writer, packages []string) error {
	wanted, err := toolchain()
	if err != nil {
		return err
	}
	folder, version, err := advisories()
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	found, err := goes("tool", append([]string{modfile, "govulncheck", "-db", "file://" + folder, "-tags", "grpcnotrace", "-format", "json"}, packages...)...)
	if err != nil {
		return err
	}
	r, err := readReport(bytes.NewReader(found))
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%s, %d advisories that concern the modules in use\n", version, len(r.summaries))
	return r.judge(out, wanted)
}

// toolchain gives the version of Go that go.mod asks for.
func toolchain() (string, error) {
	text, err := goes("mod", "edit", "-json")
	if err != nil {
		return "", err
	}
	var m struct{ Go, Toolchain string }
	if err := json.Unmarshal(text, &m); err != nil {
		return "", fmt.Errorf("go.mod: %w", err)
	}
	if m.Toolchain != "" {
		return m.Toolchain, nil
	}
	return "go" + m.Go, nil
}

// advisories makes the folder that govulncheck reads out of the module's files, and
// gives its version, which has the day of the advisories.
func advisories() (folder, version string, err error) {
	text, err := goes("mod", "download", modfile, "-json", database)
	if err != nil {
		return "", "", err
	}
	var m struct{ Dir, Version string }
	if err := json.Unmarshal(text, &m); err != nil {
		return "", "", fmt.Errorf("go mod download %s: %w", database, err)
	}
	folder, err = os.MkdirTemp("", "advisories-")
	if err != nil {
		return "", "", err
	}
	if _, err := goes("tool", modfile, "indexdb", "-vulns", filepath.Join(m.Dir, "data", "osv"), "-out", folder); err != nil {
		_ = os.RemoveAll(folder) // the first error counts
		return "", "", err
	}
	return folder, database + " " + m.Version, nil
}

// goes runs a command of go and gives what it writes.
func goes(command string, args ...string) ([]byte, error) {
	cmd := exec.Command("go", append([]string{command}, args...)...)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go %s %s: %w\n%s%s", command, args[0], err, out, errs.Bytes())
	}
	return out, nil
}
