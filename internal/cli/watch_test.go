package cli_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// programs are the real ones, over one data folder and one port.
type programs struct {
	t            *testing.T
	bin, dir     string
	address      string
	trackerd     *exec.Cmd
	environments []string
}

func newPrograms(t *testing.T) *programs {
	t.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &programs{t: t, bin: buildPrograms(t), dir: t.TempDir(), address: free.Addr().String()}
	free.Close()
	p.environments = append(os.Environ(), "JOINTLEDGER_SERVER="+p.address, "JOINTLEDGER_PERSON=ab", "XDG_STATE_HOME="+filepath.Join(p.dir, "state"))
	t.Cleanup(func() { p.kill(syscall.SIGKILL) })
	return p
}

// serve starts trackerd on the same data and port as before.
func (p *programs) serve() {
	p.t.Helper()
	p.trackerd = exec.Command(filepath.Join(p.bin, "trackerd"), "serve", "--data", filepath.Join(p.dir, "data"), "--listen", p.address)
	out, err := p.trackerd.StdoutPipe()
	if err != nil {
		p.t.Fatal(err)
	}
	if err := p.trackerd.Start(); err != nil {
		p.t.Fatal(err)
	}
	if line, err := bufio.NewReader(out).ReadString('\n'); err != nil || !strings.HasPrefix(line, "listening on ") {
		p.t.Fatalf("trackerd said %q: %v", line, err)
	}
}

// kill ends trackerd by a signal.
func (p *programs) kill(signal os.Signal) {
	if p.trackerd != nil {
		p.trackerd.Process.Signal(signal) // it may have ended
		p.trackerd.Wait()                 // by the signal
		p.trackerd = nil
	}
}

func (p *programs) command(args ...string) *exec.Cmd {
	c := exec.Command(filepath.Join(p.bin, "trackctl"), args...)
	c.Env = p.environments
	return c
}

// trackctl runs one command, which must succeed.
func (p *programs) trackctl(args ...string) string {
	p.t.Helper()
	var out, errs bytes.Buffer
	c := p.command(args...)
	c.Stdout, c.Stderr = &out, &errs
	if err := c.Run(); err != nil {
		p.t.Fatalf("trackctl %s: %v\n%s%s", strings.Join(args, " "), err, out.String(), errs.String())
	}
	return out.String()
}

// watching is a running `trackctl watch`, with the alarms that it has shown.
type watching struct {
	t   *testing.T
	cmd *exec.Cmd
	mu  sync.Mutex
	ids []string
	// ended is closed when its output has.
	ended  chan struct{}
	stderr bytes.Buffer
}

func (p *programs) watch() *watching {
	p.t.Helper()
	w := &watching{t: p.t, cmd: p.command("watch", "--output", "json"), ended: make(chan struct{})}
	w.cmd.Stderr = &w.stderr
	out, err := w.cmd.StdoutPipe()
	if err != nil {
		p.t.Fatal(err)
	}
	if err := w.cmd.Start(); err != nil {
		p.t.Fatal(err)
	}
	go func() {
		defer close(w.ended)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			var alarm struct{ ID, Rule, Sentence string }
			if err := json.Unmarshal(lines.Bytes(), &alarm); err != nil || alarm.ID == "" || alarm.Rule != "GALL" {
				p.t.Errorf("%q is no alarm: %v", lines.Text(), err)
			}
			w.mu.Lock()
			w.ids = append(w.ids, alarm.ID)
			w.mu.Unlock()
		}
	}()
	return w
}

func (w *watching) seen() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.ids)
}

// interrupt ends the watch as Ctrl-C does.
func (w *watching) interrupt() []string {
	w.t.Helper()
	if err := w.cmd.Process.Signal(os.Interrupt); err != nil {
		w.t.Fatal(err)
	}
	<-w.ended
	w.cmd.Wait() // its code is looked at below
	if code := w.cmd.ProcessState.ExitCode(); code != 130 {
		w.t.Errorf("the watch exited with %d\n%s", code, w.stderr.String())
	}
	return w.seen()
}

// A watch survives servers that are killed and its own interruption: what the runs
// of it have shown together is every alarm, once, in the order of the chain.
func TestWatchLosesNothingWhenTheServerIsKilled(t *testing.T) {
	p := newPrograms(t)
	p.serve()
	for _, args := range []string{
		"site add ash --name Ashmere --time-zone Europe/Dublin",
		"person add ab --name AB --site ash --role technician",
		"spec add S1 --thread M10 --material 304 --treatment anti-seize --locking none --torque 32N.m --torque-tolerance-pct 10 --torque-basis lubricated --nut-factor 0.15",
		"lot add A --supplier Boltworks --thread M10 --material 304",
		"tower add ash/ct1 --material 304", "cell add ash/ct1/c1",
		"joint add ash/ct1/c1/j1 --kind structural --spec S1 --fasteners 12",
		"alarm-rule add GALL --by lot --kind galling --in-control 20/1000 --out-of-control 200/1000 --false-alarm-after 200",
	} {
		p.trackctl(strings.Fields(args)...)
	}
	gall := func() {
		for range 4 {
			p.trackctl("incident", "galling", "ash/ct1/c1/j1", "2", "--lot", "A", "--treatment", "none", "--method", "hand")
		}
	}
	w := p.watch()
	var shown []string
	for round := range 3 {
		gall()
		if round == 1 {
			shown = append(shown, w.interrupt()...)
		}
		p.kill(syscall.SIGKILL) // with alarms that are perhaps raised, perhaps not
		p.serve()
		gall()
		if round == 1 {
			w = p.watch()
		}
	}
	var raised struct{ Alarms []struct{ ID string } }
	deadline := time.Now().Add(40 * time.Second)
	for settled := 0; settled < 3; {
		before := len(raised.Alarms)
		if err := json.Unmarshal([]byte(p.trackctl("alarms", "--output", "json")), &raised); err != nil {
			t.Fatal(err)
		}
		if n := len(raised.Alarms); n == before && n == len(shown)+len(w.seen()) {
			settled++
		} else {
			settled = 0
		}
		if time.Now().After(deadline) {
			break
		}
		time.Sleep(300 * time.Millisecond)
	}
	shown = append(shown, w.interrupt()...) // and so its messages are all there
	if !strings.Contains(w.stderr.String(), "trying again in") {
		t.Errorf("the watch did not say that the server was away: %q", w.stderr.String())
	}
	var want []string
	for _, a := range raised.Alarms {
		want = append(want, a.ID)
	}
	// 24 incidents of two each bring at least one alarm for every two of them.
	if len(want) < 6 || !slices.Equal(shown, want) {
		t.Errorf("shown %v; raised %v", shown, want)
	}
	if again := p.trackctl("watch", "--once"); again != "" {
		t.Errorf("shown again: %s", again)
	}
	p.kill(syscall.SIGTERM)
	if out, err := exec.Command(filepath.Join(p.bin, "trackerd"), "verify", "--data", filepath.Join(p.dir, "data")).CombinedOutput(); err != nil {
		t.Errorf("verify: %v\n%s", err, out)
	}
}
