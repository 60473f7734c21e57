package main

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"io"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
)

// patience is how long a test waits for what must come, on a machine however busy.
const patience = time.Minute

// program is a trackerd that runs as a process of its own.
type program struct {
	t    *testing.T
	cmd  *exec.Cmd
	addr string
	log  *lockedBuffer
	done chan error
}

// lockedBuffer may be written and read at once.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// startProgram starts it with the environment added, and waits until it is ready.
func startProgram(t *testing.T, env []string, args ...string) *program {
	t.Helper()
	p := &program{t: t, log: &lockedBuffer{}, done: make(chan error, 1)}
	p.cmd = exec.Command(os.Args[0], args...)
	p.cmd.Env = append(append(os.Environ(), asProgram+"=1"), env...)
	p.cmd.Stderr = p.log
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewReader(out)
	line, err := lines.ReadString('\n')
	go func() {
		_, _ = io.Copy(io.Discard, lines) // it must not block on more lines
		p.done <- p.cmd.Wait()
	}()
	t.Cleanup(func() {
		_ = p.cmd.Process.Kill() // where the test has not ended it
		<-p.done
	})
	var ok bool
	if p.addr, ok = strings.CutPrefix(strings.TrimSpace(line), "listening on "); err != nil || !ok {
		t.Fatalf("first line %q, %v; log: %s", line, err, p.log)
	}
	return p
}

// signal sends a signal.
func (p *program) signal(s os.Signal) {
	p.t.Helper()
	if err := p.cmd.Process.Signal(s); err != nil {
		p.t.Fatal(err)
	}
}

// ended waits for its end and gives how it ended.
func (p *program) ended() error {
	p.t.Helper()
	select {
	case err := <-p.done:
		p.done <- err
		return err
	case <-time.After(patience):
		p.t.Fatalf("it has not ended; log: %s", p.log)
		return nil
	}
}

// says waits until the log holds a text.
func (p *program) says(text string) {
	p.t.Helper()
	for deadline := time.Now().Add(patience); !strings.Contains(p.log.String(), text); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			p.t.Fatalf("the log does not say %q: %s", text, p.log)
		}
	}
}

// logged waits until the log holds what a pattern's first group matches, and gives it.
func (p *program) logged(pattern string) string {
	p.t.Helper()
	for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		if found := regexp.MustCompile(pattern).FindStringSubmatch(p.log.String()); found != nil {
			return found[1]
		}
		if time.Now().After(deadline) {
			p.t.Fatalf("%s is not in the log: %s", pattern, p.log)
		}
	}
}

// connect opens a connection in plaintext, or over TLS where a configuration is given.
func connect(t *testing.T, addr string, c *tls.Config) *grpc.ClientConn {
	t.Helper()
	line := insecure.NewCredentials()
	if c != nil {
		line = credentials.NewTLS(c)
	}
	conn, err := grpc.NewClient("passthrough:///"+addr, grpc.WithTransportCredentials(line))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// trusting is a client's configuration that knows one authority, and the host by name.
func trusting(t *testing.T, authority, host string) *tls.Config {
	t.Helper()
	text, err := os.ReadFile(authority)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(text) {
		t.Fatal("no certificate in the file")
	}
	return &tls.Config{RootCAs: pool, ServerName: host, NextProtos: []string{"h2"}}
}
