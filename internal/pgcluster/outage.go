package pgcluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Manner is how a server is ended (PostgreSQL documentation, "Shutting Down the Server").
type Manner syscall.Signal

// The manners.
const (
	// Fast ends all sessions, rolls back what they had begun, and writes a checkpoint.
	Fast = Manner(syscall.SIGINT)
	// Immediate ends all processes without a checkpoint: the next start recovers.
	Immediate = Manner(syscall.SIGQUIT)
	// Killed ends the first process alone by SIGKILL. The others notice, and the next
	// start must wait until they have.
	Killed = Manner(syscall.SIGKILL)
)

// Halt ends the server. Its folder and its port stay for Resume.
func (c *Cluster) Halt(m Manner) error {
	if err := c.cmd.Process.Signal(syscall.Signal(m)); err != nil {
		return err
	}
	select {
	case err := <-c.done:
		c.done <- err
		return nil
	case <-time.After(time.Minute):
		return fmt.Errorf("the server %d does not end", c.cmd.Process.Pid)
	}
}

// Resume starts a server again that was halted or killed, on the port that it had.
func (c *Cluster) Resume(ctx context.Context) error {
	for {
		if len(c.done) == 0 {
			return errors.New("the server runs; halt it first")
		}
		<-c.done // how it ended says nothing now
		err := c.serve(ctx)
		if err == nil || len(c.done) == 0 || ctx.Err() != nil {
			return err
		}
		// Processes of the server that was killed may still be there.
		time.Sleep(50 * time.Millisecond)
	}
}

// KillBackend ends by SIGKILL one of the processes that serve a client, the nth of those
// there are. PostgreSQL then ends all sessions and recovers by itself. Errors: when there
// is none.
func (c *Cluster) KillBackend(n int) error {
	pid := strconv.Itoa(c.cmd.Process.Pid)
	children, err := os.ReadFile(filepath.Join("/proc", pid, "task", pid, "children"))
	if err != nil {
		return err
	}
	var backends []int
	for _, field := range strings.Fields(string(children)) {
		title, err := os.ReadFile(filepath.Join("/proc", field, "cmdline"))
		child, wrong := strconv.Atoi(field)
		if err == nil && wrong == nil && strings.HasPrefix(string(title), "postgres: jl ") {
			backends = append(backends, child)
		}
	}
	if len(backends) == 0 {
		return errors.New("no process of PostgreSQL serves a client")
	}
	if err := syscall.Kill(backends[n%len(backends)], syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
		return err
	}
	return nil
}
