package httpjson_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"jointledger/internal/httpjson"
)

// A body that comes in drops is not waited for, and a connection without one is free.
func TestABodyThatComesTooSlowly(t *testing.T) {
	httpjson.SetBodyTime(t, 100*time.Millisecond)
	f := serve(t, httpjson.Options{}, false)
	for _, path := range []string{getPerson, upload} {
		conn, err := net.Dial("tcp", f.server.Listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{", path, token)
		_ = conn.SetReadDeadline(time.Now().Add(time.Minute))
		got, err := http.ReadResponse(bufio.NewReader(conn), nil)
		if err != nil {
			t.Fatal(err)
		}
		text, _ := io.ReadAll(got.Body)
		got.Body.Close()
		if got.StatusCode != http.StatusRequestTimeout || !strings.Contains(string(text), "too slowly") {
			t.Errorf("%s: %d, %s", path, got.StatusCode, text)
		}
	}
}

// Whoever holds the places of large bodies does not keep small ones out.
func TestLargeBodiesAreFew(t *testing.T) {
	f := serve(t, httpjson.Options{}, false)
	half := strings.Repeat(" ", 1<<20)
	var ends []*io.PipeWriter
	var wait sync.WaitGroup
	for range httpjson.MostLarge {
		body, end := io.Pipe()
		ends = append(ends, end)
		wait.Go(func() {
			if got := f.send(t, http.MethodPost, getPerson, body); got.status != 200 {
				t.Errorf("%+v", got)
			}
		})
		// The server has read what the pipe gives, but for what is on the way: more than
		// the kernel holds of a connection, so that each has its place before one more asks.
		for range 16 {
			if _, err := io.WriteString(end, half); err != nil {
				t.Fatal(err)
			}
		}
	}
	var got answer
	for deadline := time.Now().Add(time.Minute); got.status != http.StatusServiceUnavailable && time.Now().Before(deadline); {
		got = f.post(t, getPerson, half+"{}")
	}
	if got.code() != "unavailable" {
		t.Errorf("one more: %+v", got)
	}
	if got := f.post(t, getPerson, "{}"); got.status != 200 {
		t.Errorf("a small one: %+v", got)
	}
	for _, end := range ends {
		_, _ = io.WriteString(end, "{}")
		end.Close()
	}
	wait.Wait()
	if got := f.post(t, getPerson, half+"{}"); got.status != 200 {
		t.Errorf("a large one afterwards: %+v", got)
	}
}
