package resident_test

import (
	"os"
	"os/exec"
	"runtime"
	"testing"
	"time"

	"jointledger/internal/bench/resident"
)

// TestRun runs this program again, which then takes so much memory; what is resident
// here must not count there.
func TestRun(t *testing.T) {
	const variable, most = "JOINTLEDGER_TEST_RESIDENT", 64 << 20
	taken := make([]byte, 4*most)
	if os.Getenv(variable) != "" {
		taken = taken[:most]
	}
	for i := 0; i < len(taken); i += 4096 {
		taken[i] = 1
	}
	if os.Getenv(variable) != "" {
		time.Sleep(200 * time.Millisecond)
		runtime.KeepAlive(taken)
		return
	}
	cmd := exec.Command(os.Args[0], "-test.run=^TestRun$")
	cmd.Env = append(os.Environ(), variable+"=1")
	got, err := resident.Run(cmd, time.Millisecond)
	if err != nil || got < most>>20 || got >= 4*most>>20 {
		t.Errorf("%v: %.0f MiB, expected from %d to below %d", err, got, most>>20, 4*most>>20)
	}
	if now, high, err := resident.Of(os.Getpid()); err != nil || now < 4*most>>20 || high < now {
		t.Errorf("%v: here %.0f MiB now and %.0f at the most, expected %d", err, now, high, 4*most>>20)
	}
	runtime.KeepAlive(taken)
}
