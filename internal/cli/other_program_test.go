package cli

import (
	"bufio"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"jointledger/internal/carry/outbox"
)

// listening serves lines as it is told, and gives its address.
func listening(t *testing.T, serve func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			serve(conn)
		}
	}()
	t.Cleanup(func() {
		l.Close() // nobody listens any more
		<-done
	})
	return l.Addr().String()
}

// web serves pages, over HTTP/2 where both is set.
func web(t *testing.T, both bool) string {
	t.Helper()
	server := httptest.NewUnstartedServer(http.NotFoundHandler())
	server.Config.Protocols = new(http.Protocols)
	server.Config.Protocols.SetHTTP1(true)
	server.Config.Protocols.SetUnencryptedHTTP2(both)
	server.Start()
	t.Cleanup(server.Close)
	return server.Listener.Addr().String()
}

// A server that answers and is no trackerd is not one that can't be reached: each is told
// of as what it is, by a question and by an entry, whose record waits.
func TestAServerThatIsNoTrackerd(t *testing.T) {
	for name, c := range map[string]struct {
		server func(t *testing.T) string
		says   string
	}{
		"a web server":           {func(t *testing.T) string { return web(t, false) }, "answers, but not as a trackerd without TLS does: it is another program"},
		"a web server of HTTP/2": {func(t *testing.T) string { return web(t, true) }, "answers, but is no trackerd, or something stands between (HTTP status 404"},
		"one that greets first": {func(t *testing.T) string {
			return listening(t, func(conn net.Conn) {
				_, _ = conn.Write([]byte("SSH-2.0-something\r\nand then some more, as such a server does\r\n"))
				_, _ = bufio.NewReader(conn).ReadString('\n')
				_ = conn.Close()
			})
		}, "it is another program"},
	} {
		t.Run(name, func(t *testing.T) {
			address := c.server(t)
			code, out, errOut := run(t, address, nil, "site", "list")
			if code != exitUnavailable || !strings.Contains(flat(out+errOut), c.says) || strings.Contains(errOut, "can't be reached") {
				t.Errorf("a question: code %d\n%s%s", code, out, errOut)
			}
			told := false
			for range 5 { // a busy machine may take longer than an entry waits
				box, env := waitingHere(t, 1, "")
				for range 2 { // the second is not tried, where there was no answer at all
					code, out, errOut = run(t, address, env, "incident", "galling", "ash/t/c/j1", "1", "--lot", "l", "--treatment", "none")
					told = strings.Contains(flat(out+errOut), c.says) && !strings.Contains(out, "be reached")
					if code != exitDone {
						t.Fatalf("an entry: code %d\n%s%s", code, out, errOut)
					}
				}
				counts(t, box, outbox.Count{Waiting: 3})
				if told {
					break
				}
			}
			if !told {
				t.Errorf("an entry is told\n%s%s", out, errOut)
			}
		})
	}
}

func flat(text string) string { return strings.Join(strings.Fields(text), " ") }
