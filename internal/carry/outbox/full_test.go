//go:build unix

package outbox

import (
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// envFull names the folder in which the test's own program meets a full disk.
const envFull = "OUTBOX_TEST_FULL"

// A disk that takes no more is made with the largest size that a process may give a
// file (RLIMIT_FSIZE), which needs no rights: a write beyond it is cut short and then
// fails, as on a full disk.
func TestAFullDisk(t *testing.T) {
	folder := os.Getenv(envFull)
	if folder != "" {
		keepUntilFull(t, In(folder))
		return
	}
	folder = filepath.Join(t.TempDir(), "outbox")
	again := exec.Command(os.Args[0], "-test.run=^TestAFullDisk$", "-test.v")
	again.Env = append(os.Environ(), envFull+"="+folder)
	out, err := again.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if !strings.Contains(string(out), "kept 5") {
		t.Fatalf("it did not get to the end:\n%s", out)
	}
	// Outside, there is room again.
	o := In(folder)
	want(t, o, "0 waiting, 1 waiting, 2 waiting, 3 waiting, 4 waiting", Count{Waiting: 5})
	keep(t, o, draft(5))
	want(t, o, "0 waiting, 1 waiting, 2 waiting, 3 waiting, 4 waiting, 5 waiting", Count{Waiting: 6})
	if d := o.Damage(); len(d) != 0 {
		t.Errorf("damage: %+v", d)
	}
}

func keepUntilFull(t *testing.T, o *Outbox) {
	signal.Ignore(syscall.SIGXFSZ)
	for n := range 5 {
		keep(t, o, draft(n))
	}
	before := size(t, o)
	limit := syscall.Rlimit{Cur: uint64(before) + 60}
	var now syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &now); err != nil {
		t.Fatal(err)
	}
	limit.Max = now.Max
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		_, err := o.Keep(draft(5))
		if err == nil || !strings.HasPrefix(err.Error(), "not kept: the outbox in "+o.Folder()+" can't be written: ") || strings.Contains(err.Error(), "\n") {
			t.Fatalf("a full disk: %v", err)
		}
		if after := size(t, o); after != before {
			t.Fatalf("the file has %d bytes; it had %d", after, before)
		}
	}
	want(t, o, "0 waiting, 1 waiting, 2 waiting, 3 waiting, 4 waiting", Count{Waiting: 5})
	t.Log("kept 5")
}
