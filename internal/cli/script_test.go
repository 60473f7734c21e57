package cli_test

import (
	"bufio"
	"encoding/csv"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestScripts runs the stories in testdata/script with the real programs. Besides
// testscript's own commands they have:
//
//	serve [ARGUMENT...]   starts trackerd on a free port over $WORK/data and points
//	                      trackctl at it
//	exits CODE ARGUMENT.. runs trackctl and requires that exit code
//	hold NAME ARGUMENT..  sets the variable to the id of the first open hold that
//	                      `trackctl hold list ARGUMENT..` shows
//	refused NAME FILE     sets the variable to the first value of the second line of
//	                      a CSV file
//	flip FILE [BACK]      changes the last byte of a file, or the one so many before it
//	attachment NAME ID    sets the variable to the name of the first attachment of
//	                      the record
func TestScripts(t *testing.T) {
	bin := buildPrograms(t)
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Setup: func(env *testscript.Env) error {
			env.Setenv("PATH", bin+string(os.PathListSeparator)+env.Getenv("PATH"))
			env.Setenv("TZ", "UTC")
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"serve": serve,
			"exits": exits,
			"hold": func(ts *testscript.TestScript, _ bool, args []string) {
				setFirst(ts, args[0], "id", append([]string{"hold", "list"}, args[1:]...))
			},
			"refused": firstColumn,
			"flip":    flipByte,
			"attachment": func(ts *testscript.TestScript, _ bool, args []string) {
				setFirst(ts, args[0], "name", []string{"attachments", args[1]})
			},
		},
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
	})
}

// buildPrograms builds trackctl and trackerd and gives the folder that they are
// in.
func buildPrograms(t *testing.T) string {
	t.Helper()
	bin := t.TempDir()
	build := exec.Command("go", "build", "-o", bin, "jointledger/cmd/trackctl", "jointledger/cmd/trackerd")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("the programs can't be built: %v\n%s", err, out)
	}
	return bin
}

// serve starts trackerd and waits for the one line that it prints when ready.
func serve(ts *testscript.TestScript, neg bool, args []string) {
	if neg {
		ts.Fatalf("serve can't be negated")
	}
	program, err := exec.LookPath(filepath.Join(strings.Split(ts.Getenv("PATH"), string(os.PathListSeparator))[0], "trackerd"))
	ts.Check(err)
	cmd := exec.Command(program, append([]string{"serve", "--data", ts.MkAbs("data"), "--listen", "127.0.0.1:0"}, args...)...)
	cmd.Dir = ts.MkAbs(".")
	var log strings.Builder
	cmd.Stderr = &log
	out, err := cmd.StdoutPipe()
	ts.Check(err)
	ts.Check(cmd.Start())
	ts.Defer(func() {
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
			ts.Logf("trackerd: %v", err)
		}
		if err := cmd.Wait(); err != nil {
			ts.Logf("trackerd ended with %v\n%s", err, log.String())
		}
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	address, ok := strings.CutPrefix(strings.TrimSpace(line), "listening on ")
	if err != nil || !ok {
		ts.Fatalf("trackerd said %q: %v", line, err)
	}
	ts.Setenv("JOINTLEDGER_SERVER", address)
}

// exits runs trackctl and compares its exit code.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: exits CODE ARGUMENT...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec("trackctl", args[1:]...)
	got := 0
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		got = exit.ExitCode()
	case err != nil:
		ts.Fatalf("trackctl did not run: %v", err)
	}
	if got != want {
		ts.Fatalf("trackctl %s exited with %d, expected %d", strings.Join(args[1:], " "), got, want)
	}
}

// setFirst sets the variable to the value of a column in the first line of what
// trackctl answers.
func setFirst(ts *testscript.TestScript, variable, column string, args []string) {
	ts.Check(ts.Exec("trackctl", append(args, "--output", "csv")...))
	rows, err := csv.NewReader(strings.NewReader(ts.ReadFile("stdout"))).ReadAll()
	ts.Check(err)
	i := slices.Index(rows[0], column)
	if i < 0 || len(rows) < 2 {
		ts.Fatalf("trackctl %s: no %s in %q", strings.Join(args, " "), column, rows)
	}
	ts.Setenv(variable, rows[1][i])
}
