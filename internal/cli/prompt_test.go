package cli_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
)

// dialogue is trackctl at a terminal.
type dialogue struct {
	t    *testing.T
	cmd  *exec.Cmd
	tty  *os.File
	mu   sync.Mutex
	seen bytes.Buffer
	done chan struct{}
}

// talk starts trackctl at a terminal of its own.
func talk(t *testing.T, bin, folder, server string, args ...string) *dialogue {
	t.Helper()
	d := &dialogue{t: t, cmd: exec.Command(filepath.Join(bin, "trackctl"), args...), done: make(chan struct{})}
	d.cmd.Env = []string{"JOINTLEDGER_FOLDER=" + folder, "JOINTLEDGER_SERVER=" + server, "TZ=UTC", "TERM=xterm"}
	tty, err := pty.StartWithSize(d.cmd, &pty.Winsize{Rows: 24, Cols: 80})
	if err != nil {
		t.Fatal(err)
	}
	d.tty = tty
	go func() {
		defer close(d.done)
		b := make([]byte, 4096)
		for {
			n, err := tty.Read(b)
			d.mu.Lock()
			d.seen.Write(b[:n])
			d.mu.Unlock()
			if err != nil {
				return // the end of a terminal reads as an error
			}
		}
	}()
	t.Cleanup(func() {
		d.cmd.Process.Kill() // it has ended, as a rule
		tty.Close()
		<-d.done
	})
	return d
}

func (d *dialogue) screen() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return strings.ReplaceAll(d.seen.String(), "\r\n", "\n")
}

// sees waits until the screen has the text beyond what was seen before.
func (d *dialogue) sees(text string) {
	d.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if strings.Contains(d.screen(), text) {
			d.mu.Lock()
			rest := d.seen.Bytes()
			if i := bytes.LastIndex(rest, []byte(text)); i >= 0 {
				kept := bytes.Clone(rest[i+len(text):])
				d.seen.Reset()
				d.seen.Write(kept)
			}
			d.mu.Unlock()
			return
		}
	}
	d.t.Fatalf("the terminal never showed %q; it shows:\n%s", text, d.screen())
}

func (d *dialogue) types(text string) {
	d.t.Helper()
	if _, err := io.WriteString(d.tty, text); err != nil {
		d.t.Fatal(err)
	}
}

// ends waits for the program to end with the code.
func (d *dialogue) ends(code int) {
	d.t.Helper()
	err := d.cmd.Wait()
	<-d.done
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else if err != nil {
		d.t.Fatal(err)
	}
	if got != code {
		d.t.Fatalf("it ended with %d, expected %d; the terminal shows:\n%s", got, code, d.screen())
	}
}

// servedSite is a running server with a site, a person and a joint, and its token.
func servedSite(t *testing.T, bin, token string) (server string) {
	t.Helper()
	dir := t.TempDir()
	tokenFile := filepath.Join(dir, "token")
	if err := os.WriteFile(tokenFile, []byte(token+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(filepath.Join(bin, "trackerd"), "serve", "--data", filepath.Join(dir, "data"), "--listen", "127.0.0.1:0", "--token-file", tokenFile)
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Errorf("trackerd: %v", err)
		}
		cmd.Wait() // what it did is looked at elsewhere
	})
	b := make([]byte, 200)
	n, err := out.Read(b)
	server, ok := strings.CutPrefix(strings.TrimSpace(string(b[:n])), "listening on ")
	if err != nil || !ok {
		t.Fatalf("trackerd said %q: %v", b[:n], err)
	}
	for _, line := range []string{
		"site add ash --name Ashmere --time-zone Europe/Dublin", "person add ab --name Ab --site ash --role technician",
		"spec add S1 --thread M10 --material 304 --treatment anti-seize --locking none --torque 32N.m --torque-tolerance-pct 10 --torque-basis lubricated",
		"lot add M10-A --supplier Boltworks --thread M10 --material 304", "tower add ash/ct1 --material 304", "cell add ash/ct1/c1",
		"joint add ash/ct1/c1/j001 --kind structural --spec S1 --fasteners 12",
	} {
		c := exec.Command(filepath.Join(bin, "trackctl"), append(strings.Fields(line), "--server", server, "--token-file", tokenFile)...)
		c.Env = []string{"JOINTLEDGER_FOLDER=" + filepath.Join(dir, "office")}
		if said, err := c.CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", line, err, said)
		}
	}
	return server
}

// On a terminal what is missing is asked for, one thing at a time: first the settings,
// then an entry. The token is never shown, and an interrupt leaves the terminal as it
// was.
func TestPromptsAtATerminal(t *testing.T) {
	bin, token := buildPrograms(t), "secret-of-the-yard"
	server, folder := servedSite(t, bin, token), filepath.Join(t.TempDir(), "device")

	d := talk(t, bin, folder, "", "setup")
	d.sees("server (host and port of trackerd) [127.0.0.1:7733]: ")
	d.types("nowhere\n")
	d.sees(`expected HOST:PORT such as 127.0.0.1:7733, got "nowhere"`)
	d.sees("[127.0.0.1:7733]: ")
	d.types("127.0.0.1:1\n")
	d.sees("can't be reached")
	d.sees("Keep this server all the same, since it may be off now? (yes or no): ")
	d.types("no\n")
	d.sees("server (host and port of trackerd) ")
	d.sees("]: ")
	d.types(server + "\n")
	d.sees("the server asks for a token")
	d.sees("token (it is not shown; empty to leave it out): ")
	d.types("a token with spaces\n")
	d.sees("expected one token without spaces")
	d.sees("leave it out): ")
	d.types("wrong\n")
	d.sees("does not accept the token")
	d.sees("leave it out): ")
	d.types(token + "\n")
	d.sees("the token is accepted")
	d.sees("reached: trackerd")
	d.sees("person (who reports on this device: initials or badge; - for nobody) [none]: ")
	d.types("xy\n")
	d.sees(`person "xy" is not known`)
	d.sees("Keep this person all the same? (yes or no): ")
	d.types("\n")
	d.sees("]: ")
	d.types("AB\n")
	d.sees("known: Ab")
	d.sees("written: ")
	d.ends(0)
	if strings.Contains(d.screen(), token) {
		t.Error("the token was shown")
	}
	info, err := os.Stat(filepath.Join(folder, "token"))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Fatalf("the token's file: %v, %v", info, err)
	}
	askForEntry(t, bin, folder)
	interruptSetup(t, bin, folder)
}

func askForEntry(t *testing.T, bin, folder string) {
	t.Helper()
	d := talk(t, bin, folder, "", "tighten")
	d.sees("JOINT (a joint, such as RVB/CT2/C3/J014, or J014 in the current cell): ")
	d.types("ash/ct1\n")
	d.sees(`"ash/ct1" is a tower; expected a joint`)
	d.sees("cell): ")
	d.types("ash/ct1/c1/j001\n")
	d.sees("FASTENERS (")
	d.types("many\n")
	d.sees("expected a whole number from 1 to 100000")
	d.sees("attempt): ")
	d.types("12\n")
	d.sees("lot (lot of the fasteners): ")
	d.types("M10-A\n")
	d.sees("treatment (what the threads carried: none, anti-seize,")
	d.sees("): ")
	d.types("ant-seize\n")
	d.sees("did you mean anti-seize?")
	d.sees("): ")
	d.types("anti-seize\n")
	d.sees("kept: 12 fasteners, first pass, ASH/CT1/C1/J001, lot M10-A")
	d.ends(0)

	// An empty answer means that nothing is to be done; and nobody is asked with
	// --no-input, or where a program reads the answer.
	d = talk(t, bin, folder, "", "tighten", "ash/ct1/c1/j001")
	d.sees("FASTENERS (")
	d.types("\n")
	d.sees("nothing was done: FASTENERS was left empty")
	d.ends(64)
	for _, quiet := range []string{"--no-input", "--output=json"} {
		d = talk(t, bin, folder, "", "tighten", "ash/ct1/c1/j001", quiet)
		d.sees("takes JOINT FASTENERS; got 1 of 2 arguments")
		d.ends(64)
	}
	d = talk(t, bin, folder, "", "incident")
	d.sees("KIND (galling, ")
	d.sees("): ")
	d.types("\x03")
	d.sees("trackctl: interrupted")
	d.ends(130)
}

// interruptSetup ends setup while the token is typed, and sees that what is typed
// afterwards shows again.
func interruptSetup(t *testing.T, bin, folder string) {
	t.Helper()
	if err := os.Remove(filepath.Join(folder, "token")); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(filepath.Join(folder, "settings.toml"))
	if err != nil {
		t.Fatal(err)
	}
	shell := exec.Command("sh", "-c", "trap : INT; "+filepath.Join(bin, "trackctl")+" setup --token-file ''; echo ended $?; stty -a")
	d := &dialogue{t: t, cmd: shell, done: make(chan struct{})}
	shell.Env = []string{"JOINTLEDGER_FOLDER=" + folder, "TERM=xterm", "PATH=" + os.Getenv("PATH")}
	tty, err := pty.Start(shell)
	if err != nil {
		t.Fatal(err)
	}
	d.tty = tty
	go func() {
		defer close(d.done)
		b := make([]byte, 4096)
		for {
			n, err := tty.Read(b)
			d.mu.Lock()
			d.seen.Write(b[:n])
			d.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { tty.Close(); <-d.done })
	d.sees("]: ")
	d.types("\n")
	d.sees("leave it out): ")
	d.types("half a to\x03")
	d.sees("ended 130")
	if err := shell.Wait(); err != nil {
		t.Fatal(err)
	}
	<-d.done // what it said last is read
	if s := d.screen(); !strings.Contains(s, " echo ") && !strings.Contains(s, " echo;") || strings.Contains(s, "-echo ") {
		t.Errorf("the terminal does not show what is typed:\n%s", s)
	}
	after, err := os.ReadFile(filepath.Join(folder, "settings.toml"))
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("an interrupt changed the settings: %v\n%s", err, after)
	}
}
