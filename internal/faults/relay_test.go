package main

import (
	"bufio"
	"errors"
	"io"
	"net"
	"os"
	"testing"
	"time"
)

// answering is a server that answers each line with the same line, and a client of it
// through a relay.
func answering(t *testing.T) (*relay, net.Conn, *bufio.Reader, chan string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	heard := make(chan string, 10)
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				for lines := bufio.NewReader(conn); ; {
					line, err := lines.ReadString('\n')
					if err != nil {
						return
					}
					heard <- line
					_, _ = io.WriteString(conn, line)
				}
			}()
		}
	}()
	r, err := newRelay(l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("tcp", r.address())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		conn.Close()
		r.close()
		l.Close()
	})
	return r, conn, bufio.NewReader(conn), heard
}

// A relay passes on, stands still in the way it is told, goes on where it stood, and
// breaks off.
func TestRelay(t *testing.T) {
	r, conn, answers, heard := answering(t)
	say := func(line string) {
		t.Helper()
		if _, err := io.WriteString(conn, line); err != nil {
			t.Fatal(err)
		}
	}
	answered := func(want string) {
		t.Helper()
		if err := conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
			t.Fatal(err)
		}
		if got, err := answers.ReadString('\n'); err != nil || got != want {
			t.Fatalf("the answer is %q, %v; expected %q", got, err, want)
		}
	}
	silent := func() {
		t.Helper()
		if err := conn.SetReadDeadline(time.Now().Add(100 * time.Millisecond)); err != nil {
			t.Fatal(err)
		}
		if _, err := answers.Peek(1); err == nil {
			t.Fatal("there is an answer while the relay stands still")
		}
	}
	say("1\n")
	answered(<-heard)
	r.standStill(false)
	say("2\n")
	silent()
	if len(heard) > 0 {
		t.Errorf("the server heard %q while nothing passes", <-heard)
	}
	r.goOn()
	answered("2\n")
	<-heard
	r.standStill(true)
	say("before the commit\n")
	answered(<-heard)
	say("commit\x00\n")
	if got := <-heard; got != "commit\x00\n" {
		t.Errorf("the server heard %q", got)
	}
	silent()
	r.reset()
	if err := conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
		t.Fatal(err)
	}
	if _, err := answers.ReadByte(); err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("after the reset: %v; expected that the connection broke", err)
	}
}
