// Package resident reads how much memory a process has resident (Linux).
package resident

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"
)

// Of is how much of a process is resident now, and the most that ever was, in MiB.
func Of(pid int) (now, most float64, err error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, 0, err
	}
	for _, f := range []struct {
		name string
		into *float64
	}{{"VmRSS:", &now}, {"VmHWM:", &most}} {
		_, rest, found := strings.Cut(string(text), f.name)
		if !found {
			return 0, 0, fmt.Errorf("process %d has no %s", pid, f.name)
		}
		var kib float64
		if _, err := fmt.Sscan(rest, &kib); err != nil {
			return 0, 0, fmt.Errorf("%s %w", f.name, err)
		}
		*f.into = kib / 1024
	}
	return now, most, nil
}

// Run runs a command and gives the most that it had resident, in MiB, as it was seen
// every so often. What the system tells of a process that has ended won't do: it counts
// the memory of the one that started it.
func Run(cmd *exec.Cmd, every time.Duration) (most float64, err error) {
	if err := cmd.Start(); err != nil {
		return 0, err
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	for {
		select {
		case err := <-ended:
			return most, err
		case <-time.After(every):
			// One that is about to end has no memory any more.
			if _, now, err := Of(cmd.Process.Pid); err == nil {
				most = max(most, now)
			}
		}
	}
}
