package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
)

// patience is how long the rig waits for what must come, on a machine however busy: its
// disk may stand still for two minutes under others.
const patience = 3 * time.Minute

// database says where a server's records are: a folder or a connection string.
type database struct{ folder, dsn string }

// flags name it to a command of trackerd.
func (d database) flags() []string {
	if d.dsn != "" {
		return []string{"--dsn", d.dsn}
	}
	return []string{"--data", d.folder}
}

// launch is how a program is started.
type launch struct {
	// prefix is what starts it instead, such as `ip netns exec NAME`.
	prefix []string
	env    []string
	// ownClock gives it a clock of its own that may be stepped (clock_patch.go).
	ownClock bool
}

// server is a trackerd that runs.
type server struct {
	cmd     *exec.Cmd
	address string
	log     *tail
	clock   *ownClock // nil unless it was asked for
	done    chan struct{}
	err     error // how it ended; after done
}

// tail keeps the last that a program wrote.
type tail struct {
	mu   sync.Mutex
	text []byte
}

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.text = append(t.text, p...)
	if extra := len(t.text) - 1<<20; extra > 0 {
		t.text = append(t.text[:0], t.text[extra:]...)
	}
	return len(p), nil
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return string(t.text)
}

// trackerd's statuses (sysexits.h): EX_UNAVAILABLE where the database can't be used, and
// EX_OSERR where the operating system refuses, such as an address to listen on.
const (
	exitNotUsable = 69
	exitRefused   = 71
)

// endedEarly is a server that did not come to listen.
type endedEarly struct {
	code int
	log  string
}

func (e *endedEarly) Error() string {
	return fmt.Sprintf("trackerd ended with status %d before it listened: %s", e.code, e.log)
}

// command makes the command of one of the programs. It dies with the rig.
func (g *rig) command(l launch, program string, args ...string) *exec.Cmd {
	words := append(append(append([]string{}, l.prefix...), filepath.Join(g.bin, program)), args...)
	cmd := exec.Command(words[0], words[1:]...)
	cmd.Env = append(append(os.Environ(), "TZ=UTC", "XDG_STATE_HOME="+g.folder), l.env...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	return cmd
}

// serve starts a server and waits until it listens. Errors: *endedEarly when it ends
// instead.
func (g *rig) serve(l launch, d database, address string, more ...string) (*server, error) {
	args := append(append([]string{"serve", "--listen", address, "--log-level", "warn", "--rate", "0"}, d.flags()...), more...)
	s := &server{cmd: g.command(l, "trackerd", args...), log: &tail{}, done: make(chan struct{})}
	s.cmd.Stderr = s.log
	// A pipe of the rig's own: that of the command would be closed under the reader.
	read, write, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	s.cmd.Stdout = write
	if l.ownClock {
		s.clock, err = startWithClock(s.cmd, 0)
	} else {
		err = s.cmd.Start()
	}
	err = errors.Join(err, write.Close())
	if err != nil {
		_ = read.Close() // all was read, or nobody reads
		return nil, err
	}
	go func() {
		s.err = s.cmd.Wait()
		close(s.done)
	}()
	line, _ := bufio.NewReader(read).ReadString('\n')
	go func() {
		_, _ = io.Copy(io.Discard, read)
		_ = read.Close() // all was read, or nobody reads
	}()
	var listens bool
	if s.address, listens = strings.CutPrefix(strings.TrimSpace(line), "listening on "); !listens {
		_ = s.cmd.Process.Kill() // as a rule it has ended
		<-s.done
		return nil, &endedEarly{s.cmd.ProcessState.ExitCode(), s.log.String()}
	}
	return s, nil
}

// kill ends it by SIGKILL. Errors: when it had ended by itself.
func (s *server) kill() error {
	select {
	case <-s.done:
		return fmt.Errorf("trackerd ended by itself: %w; %s", s.err, s.log)
	default:
	}
	if err := s.cmd.Process.Kill(); err != nil {
		return err
	}
	<-s.done
	if s.err == nil || !strings.Contains(s.err.Error(), "killed") {
		return fmt.Errorf("trackerd was killed and ended with %w; %s", s.err, s.log)
	}
	return nil
}

// internalErrors notes what the server's log has of faults that it took for its own.
func (s *server) internalErrors(l *line) {
	for text := range strings.Lines(s.log.String()) {
		if strings.Contains(text, `msg="internal error"`) {
			l.problems.add("a server logged: %s", strings.TrimSpace(text))
		}
	}
}

// stacks ends it by SIGQUIT, at which it says what each of its goroutines does, and gives
// the name of a file with that.
func (s *server) stacks() string {
	_ = s.cmd.Process.Signal(syscall.SIGQUIT) // it may have ended
	<-s.done
	f, err := os.CreateTemp("", "jointledger-stacks-*.txt")
	if err == nil {
		_, err = io.WriteString(f, s.log.String())
		err = errors.Join(err, f.Close())
	}
	if err != nil {
		return err.Error()
	}
	return f.Name()
}

// stop asks it to end and waits until it has. Errors: when it ends with a status above 0.
func (s *server) stop() error {
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	select {
	case <-s.done:
	case <-time.After(patience):
		_ = s.cmd.Process.Kill()
		<-s.done
		return fmt.Errorf("trackerd did not stop within %s; %s", patience, s.log)
	}
	if s.err != nil {
		return fmt.Errorf("trackerd stopped with %w; %s", s.err, s.log)
	}
	return nil
}

// end kills what may still run.
func (s *server) end() {
	_ = s.cmd.Process.Kill() // as a rule it has ended
	<-s.done
}

// trackerd runs a command of it to its end.
func (g *rig) trackerd(ctx context.Context, d database, args ...string) (code int, said string) {
	cmd := g.command(launch{}, "trackerd", append(args, d.flags()...)...)
	stop := context.AfterFunc(ctx, func() { _ = cmd.Process.Kill() })
	defer stop()
	out, err := cmd.CombinedOutput()
	if cmd.ProcessState == nil {
		return -1, err.Error()
	}
	return cmd.ProcessState.ExitCode(), string(out)
}
