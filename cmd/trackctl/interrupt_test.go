//go:build unix

package main

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"syscall"
	"testing"
)

// A program that waits for the end of its context is told of an interrupt; one that
// asks nothing is ended by it.
func TestInterrupt(t *testing.T) {
	for _, c := range []struct {
		role   string
		signal os.Signal
		says   string
	}{
		{"asks", os.Interrupt, "true context canceled\n"},
		{"asks", syscall.SIGTERM, "true context canceled\n"},
		{"asks nothing", os.Interrupt, ""},
		{"asks nothing", syscall.SIGTERM, ""},
	} {
		t.Run(c.role+" "+c.signal.String(), func(t *testing.T) {
			cmd := exec.Command(os.Args[0])
			cmd.Env = append(os.Environ(), role+"="+c.role)
			out, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			said := bufio.NewReader(out)
			if line, err := said.ReadString('\n'); line != "ready\n" {
				t.Fatalf("%q, %v", line, err)
			}
			if err := cmd.Process.Signal(c.signal); err != nil {
				t.Fatal(err)
			}
			rest, err := io.ReadAll(said)
			if err != nil || string(rest) != c.says {
				t.Errorf("it says %q, %v", rest, err)
			}
			_ = cmd.Wait() // how it ended is looked at
			status, ok := cmd.ProcessState.Sys().(syscall.WaitStatus)
			if !ok {
				t.Fatalf("%v is no end of a process", cmd.ProcessState)
			}
			if c.role == "asks" && status.ExitStatus() != 7 || c.role == "asks nothing" && status.Signal() != c.signal {
				t.Errorf("it ended with %v", cmd.ProcessState)
			}
		})
	}
}
