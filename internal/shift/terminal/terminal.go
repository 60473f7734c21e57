//go:build unix

package terminal

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// patience is how long a test waits for something to be seen.
const patience = 20 * time.Second

// Terminal is a pseudo-terminal with a program in it.
type Terminal struct {
	t       testing.TB
	file    *os.File
	program *exec.Cmd
	before  state

	mu     sync.Mutex
	screen *vt.Emulator
	raw    []byte
	ended  chan struct{}
	err    error
}

// Start starts a program in a terminal of so many columns and rows. It is killed at
// the end of the test if it has not ended.
func Start(t testing.TB, program *exec.Cmd, columns, rows int) *Terminal {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	if err := pty.Setsize(master, size(columns, rows)); err != nil {
		t.Fatal(err)
	}
	before, err := stateOf(slave)
	if err != nil {
		t.Fatal(err)
	}
	program.Stdin, program.Stdout, program.Stderr = slave, slave, slave
	program.SysProcAttr = ownTerminal()
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	x := &Terminal{t: t, file: master, program: program, before: before, screen: vt.NewEmulator(columns, rows), ended: make(chan struct{})}
	var readers sync.WaitGroup
	readers.Go(x.show)
	readers.Go(x.reply)
	go func() {
		x.err = program.Wait()
		close(x.ended)
	}()
	t.Cleanup(func() {
		_ = program.Process.Kill() // it may have ended by itself
		<-x.ended
		_ = slave.Close()
		_ = master.Close()
		if replies, ok := x.screen.InputPipe().(io.Closer); ok {
			_ = replies.Close() // ends reply
		}
		readers.Wait()
	})
	return x
}

func size(columns, rows int) *pty.Winsize {
	return &pty.Winsize{Cols: uint16(columns), Rows: uint16(rows)}
}

// show draws what the program writes.
func (x *Terminal) show() {
	part := make([]byte, 32<<10)
	for {
		n, err := x.file.Read(part)
		x.mu.Lock()
		x.raw = append(x.raw, part[:n]...)
		_, _ = x.screen.Write(part[:n]) // it takes everything
		x.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// reply answers what the program asks the terminal, as terminals do.
func (x *Terminal) reply() {
	part := make([]byte, 1<<10)
	for {
		n, err := x.screen.Read(part)
		if err != nil {
			return
		}
		if _, err := x.file.Write(part[:n]); err != nil && !errors.Is(err, io.ErrClosedPipe) {
			return
		}
	}
}

// Press types keys: text as it is, keys such as Enter by the constants below.
func (x *Terminal) Press(keys ...string) {
	x.t.Helper()
	for _, k := range keys {
		if _, err := x.file.WriteString(k); err != nil {
			x.t.Fatalf("press %q: %v", k, err)
		}
	}
}

// Keys that are no text.
const (
	Enter  = "\r"
	Escape = "\x1b"
	Down   = "\x1b[B"
	CtrlC  = "\x03"
)

// Resize makes the terminal so large.
func (x *Terminal) Resize(columns, rows int) {
	x.t.Helper()
	x.mu.Lock()
	x.screen.Resize(columns, rows)
	x.mu.Unlock()
	if err := pty.Setsize(x.file, size(columns, rows)); err != nil {
		x.t.Fatal(err)
	}
}

// Seen is what is on the screen, a line each, without spaces at their ends.
func (x *Terminal) Seen() []string {
	x.mu.Lock()
	defer x.mu.Unlock()
	lines := make([]string, 0, x.screen.Height())
	for y := range x.screen.Height() {
		var b strings.Builder
		for at := 0; at < x.screen.Width(); {
			c := x.screen.CellAt(at, y)
			if c == nil || c.Content == "" {
				b.WriteByte(' ')
				at++
				continue
			}
			b.WriteString(c.Content)
			at += max(1, c.Width)
		}
		lines = append(lines, strings.TrimRight(b.String(), " "))
	}
	return lines
}

// Text is what is on the screen as running text, so that it may be looked for
// whatever the lines are broken at. Off the alternate screen it is the terminal that
// breaks them, in the middle of a word too.
func (x *Terminal) Text() string {
	x.mu.Lock()
	width, broken := x.screen.Width(), !x.screen.IsAltScreen()
	x.mu.Unlock()
	var b strings.Builder
	for _, l := range x.Seen() {
		b.WriteString(l)
		if !broken || utf8.RuneCountInString(l) < width {
			b.WriteByte(' ')
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// Written is all that the program has written so far.
func (x *Terminal) Written() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return string(x.raw)
}

// See waits until all the words are on the screen.
func (x *Terminal) See(words ...string) {
	x.t.Helper()
	x.await(func(text string) string {
		for _, w := range words {
			if !strings.Contains(text, w) {
				return w
			}
		}
		return ""
	})
}

// Await waits until what is on the screen is as ok says.
func (x *Terminal) Await(what string, ok func(text string) bool) {
	x.t.Helper()
	x.await(func(text string) string {
		if ok(text) {
			return ""
		}
		return what
	})
}

func (x *Terminal) await(missing func(text string) string) {
	x.t.Helper()
	deadline := time.Now().Add(patience)
	for {
		what := missing(x.Text())
		if what == "" {
			return
		}
		if time.Now().After(deadline) {
			x.t.Fatalf("%q is not on the screen:\n%s", what, strings.Join(x.Seen(), "\n"))
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// Signal sends the program a signal.
func (x *Terminal) Signal(s os.Signal) {
	x.t.Helper()
	if err := x.program.Process.Signal(s); err != nil {
		x.t.Fatal(err)
	}
}

// End waits for the program to end, and gives its exit code: -1 when a signal ended
// it. Where clean is asked, the terminal must be as it was before.
func (x *Terminal) End(clean bool) int {
	x.t.Helper()
	select {
	case <-x.ended:
	case <-time.After(patience):
		x.t.Fatalf("the program does not end:\n%s", strings.Join(x.Seen(), "\n"))
	}
	// What it wrote last may still be on its way to the screen.
	time.Sleep(50 * time.Millisecond)
	if clean {
		x.mustBeClean()
	}
	var exit *exec.ExitError
	if x.err != nil && !errors.As(x.err, &exit) {
		x.t.Fatal(x.err)
	}
	return x.program.ProcessState.ExitCode()
}

// mustBeClean fails the test unless the terminal is as it was before the program.
func (x *Terminal) mustBeClean() {
	x.t.Helper()
	after, err := stateOf(x.file)
	if err != nil {
		x.t.Fatal(err)
	}
	if after != x.before {
		x.t.Errorf("the terminal's settings are other than before: %+v, were %+v", after, x.before)
	}
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.screen.IsAltScreen() {
		x.t.Error("the program has left the terminal on its alternate screen")
	}
	if x.screen.CursorHidden() {
		x.t.Error("the program has left the cursor hidden")
	}
	for _, mode := range []ansi.DECMode{ansi.ModeBracketedPaste, ansi.ModeMouseButtonEvent, ansi.ModeMouseAnyEvent, ansi.ModeFocusEvent} {
		on, off := strings.LastIndex(string(x.raw), ansi.SetMode(mode)), strings.LastIndex(string(x.raw), ansi.ResetMode(mode))
		if on > off {
			x.t.Errorf("the program has left mode %d on", mode)
		}
	}
}
