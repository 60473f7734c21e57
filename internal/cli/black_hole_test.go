//go:build linux

package cli

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	packed "jointledger/internal/carry/section"
)

// silent is a server that takes connections and never says anything.
func silent(t *testing.T) (address string, connections *atomic.Int32) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	connections = &atomic.Int32{}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			connections.Add(1)
			defer c.Close() // nothing was sent on it
		}
	}()
	t.Cleanup(func() {
		l.Close() // it ends Accept
		<-done
	})
	return l.Addr().String(), connections
}

// deaf is an address where connections are neither taken nor refused: its queue of one
// is full.
func deaf(t *testing.T) (address string) {
	fd, err := syscall.Socket(syscall.AF_INET, syscall.SOCK_STREAM, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { syscall.Close(fd) }) // the process ends soon
	if err = syscall.Bind(fd, &syscall.SockaddrInet4{Addr: [4]byte{127, 0, 0, 1}}); err == nil {
		err = syscall.Listen(fd, 0)
	}
	if err != nil {
		t.Fatal(err)
	}
	name, err := syscall.Getsockname(fd)
	if err != nil {
		t.Fatal(err)
	}
	at := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: name.(*syscall.SockaddrInet4).Port}
	for range 16 {
		c, err := net.DialTimeout("tcp", at.String(), 100*time.Millisecond)
		if err != nil {
			return at.String() // from here on nobody gets in
		}
		t.Cleanup(func() { c.Close() }) // nothing was sent on it
	}
	t.Fatal("this system takes connections beyond the queue that was asked for")
	return ""
}

// carryingPlan makes a device that carries the plan of ASH and nothing else.
func carryingPlan(t *testing.T) (folder string) {
	t.Helper()
	folder = t.TempDir()
	plan := carriedPlan(t, "Europe/Dublin")
	head := pack.Head{Site: "ASH", AsOf: runClock, RulesSum: packed.RulesSum(), Sections: []pack.Named{{Name: plan.Name, Sum: plan.Sum()}}}
	if _, err := pack.Replace(filepath.Join(folder, "carried"), head, map[packed.Sum][]byte{plan.Sum(): plan.Packed()}); err != nil {
		t.Fatal(err)
	}
	return folder
}

// Where a server takes the connection and says nothing, or does not even take it, an
// entry is kept and the command ends; the next ones do not try.
func TestAServerThatSaysNothing(t *testing.T) {
	silentAddress, connections := silent(t)
	for name, address := range map[string]string{"takes connections": silentAddress, "takes none": deaf(t)} {
		t.Run(name, func(t *testing.T) {
			folder := carryingPlan(t)
			env := map[string]string{envFolder: folder, envPerson: "ab"}
			entry := func(words string) string {
				var out, errOut strings.Builder
				a := &app{in: strings.NewReader(""), err: &errOut, getenv: func(n string) string { return env[n] }, now: func() time.Time { return runClock }, newID: uuid.NewV7}
				// Nobody waits so long: it is there to tell a command that hangs.
				ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
				defer cancel()
				if code := a.run(ctx, append([]string{"--server", address}, strings.Fields(words)...), &out); code != exitDone || ctx.Err() != nil {
					t.Fatalf("%s: exit %d (%v)\n%s%s", words, code, ctx.Err(), out.String(), errOut.String())
				}
				return out.String()
			}
			if out := entry("tighten ash/t/c/j1 1 --lot L --treatment none"); !strings.Contains(out, "kept on this device") || !strings.Contains(out, "can't be reached") {
				t.Errorf("the first entry: %s", out)
			}
			first := connections.Load()
			for _, words := range []string{"tighten ash/t/c/j1 1 --lot L --treatment none", "custody lost T1 --site ash", "undo"} {
				if out := entry(words); !strings.Contains(out, "could not be reached 0s ago") {
					t.Errorf("%s: %s", words, out)
				}
			}
			if n := connections.Load(); address == silentAddress && (first != 1 || n != first) {
				t.Errorf("%d connections for the first entry and %d for all; expected 1 in all", first, n)
			}
			counts(t, outbox.In(outboxIn(folder)), outbox.Count{Waiting: 4})
		})
	}
}

// What an entry looks up first is not asked of a server that said nothing a moment ago:
// the carried data tell.
func TestALookUpAtAServerThatSaysNothing(t *testing.T) {
	address, connections := silent(t)
	env := map[string]string{envFolder: carryingPlan(t), envPerson: "ab"}
	if code, _, errOut := run(t, address, env, "custody", "lost", "T1", "--site", "ash"); code != exitDone {
		t.Fatal(errOut)
	}
	for range 2 {
		code, _, errOut := run(t, address, env, "tool", "lost", "T1")
		if code != exitUnknown || !strings.Contains(errOut, "do not know the tool T1") || !strings.Contains(errOut, "--site keeps it all the same") {
			t.Errorf("exit %d: %s", code, errOut)
		}
	}
	if n := connections.Load(); n != 1 {
		t.Errorf("%d connections; expected that of the entry alone", n)
	}
}

// Without carried data, what can be done is said.
func TestAnEntryWithoutDataSaysWhatToDo(t *testing.T) {
	for _, words := range []string{"tool lost T1", "tool send T1 --to-site bri", "tool lend T1 --to ab --site ash", "tool check T1 proof-test pass", "tighten ash/t/c/j1 1 --lot L --treatment none",
		"hold release 019cadd3-6bc0-77c9-9e41-58325664ba11 --decision rework --reason r", "hold release ash/t/c/j1 --decision rework --reason r"} {
		env := map[string]string{envFolder: t.TempDir(), envPerson: "ab"}
		code, out, errOut := run(t, "127.0.0.1:9", env, strings.Fields(words)...)
		if code != exitUnavailable || out != "" || !strings.Contains(errOut, carryLine) {
			t.Errorf("%s: exit %d\n%s%s", words, code, out, errOut)
		}
	}
}

// A file does not wait, and says so.
func TestAttachNeedsTheServer(t *testing.T) {
	photo := filepath.Join(t.TempDir(), "bolt.png")
	if err := os.WriteFile(photo, png(64), 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errOut := run(t, "127.0.0.1:9", map[string]string{envFolder: t.TempDir()}, "attach", "incidents/019cadd3-6bc0-77c9-9e41-58325664ba11", photo)
	if code != exitUnavailable || !strings.Contains(errOut, "files don't wait on this device, as entries do") {
		t.Errorf("exit %d: %s", code, errOut)
	}
}
