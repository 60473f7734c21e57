package cli_test

import (
	"bufio"
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// demoServer is a real trackerd that has taken the demonstration fleet in, and the
// real trackctl beside it.
type demoServer struct {
	bin string
	env []string
}

// startDemo builds the programs, starts a server over an empty folder and imports
// testdata/demo into it.
func startDemo(t *testing.T) *demoServer {
	t.Helper()
	d := &demoServer{bin: buildPrograms(t)}
	server := exec.Command(filepath.Join(d.bin, "trackerd"), "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	var log bytes.Buffer
	server.Stderr = &log
	out, err := server.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := server.Process.Signal(syscall.SIGTERM); err != nil {
			t.Errorf("trackerd: %v", err)
		}
		if err := server.Wait(); err != nil {
			t.Errorf("trackerd ended with %v\n%s", err, log.String())
		}
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	address, ok := strings.CutPrefix(strings.TrimSpace(line), "listening on ")
	if err != nil || !ok {
		t.Fatalf("trackerd said %q: %v", line, err)
	}
	d.env = []string{"PATH=" + d.bin + string(os.PathListSeparator) + os.Getenv("PATH"), "HOME=" + t.TempDir(), "TZ=UTC", "JOINTLEDGER_SERVER=" + address}
	if code, _, errOut := d.run(t, ".", d.bin+"/trackctl", "import", demoFolder); code != 0 {
		t.Fatalf("the demonstration fleet can't be imported: exit %d\n%s", code, errOut)
	}
	return d
}

var demoFolder = filepath.Join("..", "..", "testdata", "demo")

// run runs a program in the folder and gives its exit code and what it said.
func (d *demoServer) run(t *testing.T, dir, program string, args ...string) (code int, out, errOut string) {
	t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Dir, cmd.Env = dir, d.env
	var o, e bytes.Buffer
	cmd.Stdout, cmd.Stderr = &o, &e
	err := cmd.Run()
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		code = exit.ExitCode()
	case err != nil:
		t.Fatalf("%s did not run: %v", program, err)
	}
	return code, o.String(), e.String()
}

// ask runs trackctl with --output json and gives the answer's bytes.
func (d *demoServer) ask(t *testing.T, args ...string) []byte {
	t.Helper()
	code, out, errOut := d.run(t, ".", filepath.Join(d.bin, "trackctl"), append(args, "--output", "json")...)
	if code != 0 {
		t.Fatalf("trackctl %s: exit %d\n%s", strings.Join(args, " "), code, errOut)
	}
	return []byte(out)
}
