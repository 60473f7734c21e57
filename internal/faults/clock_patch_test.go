package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"
)

// envClockTeller makes this test binary a program that tells the time for each line.
const envClockTeller = "JOINTLEDGER_FAULTS_CLOCK_TELLER"

// TestMain may make of the test binary the program whose clock is stepped.
func TestMain(m *testing.M) {
	if os.Getenv(envClockTeller) != "" {
		began := time.Now()
		for in := bufio.NewScanner(os.Stdin); in.Scan(); {
			fmt.Println(time.Now().UnixNano(), int64(time.Since(began)))
		}
		return
	}
	os.Exit(m.Run())
}

// A program whose clock is stepped sees another time, and time that goes by as before.
func TestAClockIsStepped(t *testing.T) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), envClockTeller+"=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	clock, err := startWithClock(cmd, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer clock.close()
	defer func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Error(err)
		}
	}()
	began := time.Now()
	for _, ahead := range []time.Duration{0, 36 * time.Hour, -400 * 24 * time.Hour, time.Second, 0} {
		if err := clock.step(ahead); err != nil {
			t.Fatal(err)
		}
		before := time.Now()
		if _, err := fmt.Fprintln(in); err != nil {
			t.Fatal(err)
		}
		var wall, since int64
		if _, err := fmt.Fscan(out, &wall, &since); err != nil {
			t.Fatal(err)
		}
		told := time.Unix(0, wall)
		if least, most := before.Add(ahead), time.Now().Add(ahead); told.Before(least) || told.After(most) {
			t.Errorf("stepped by %s, the program has %s; expected %s to %s", ahead, told, least, most)
		}
		if passed := time.Duration(since); passed < 0 || passed > time.Since(began) {
			t.Errorf("stepped by %s, the program says that %s passed since its start; expected at most %s", ahead, passed, time.Since(began))
		}
	}
}
