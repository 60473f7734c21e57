package main

import (
	"bytes"
	"context"
	"net"
	"sync"
	"time"
)

// relay stands between a client and a server that speak over TCP and passes on what they
// say, until it stands still. Then connections stay, new ones are taken, and nobody hears
// anything, nor that the other has gone: as with a server that hangs, or a line that
// swallows everything.
type relay struct {
	listener net.Listener
	to       string
	all      sync.WaitGroup

	mu    sync.Mutex
	moved *sync.Cond
	// still says that nothing passes, halfStill that nothing does of what the server says,
	// and armed that this begins with the next commit.
	still, halfStill, armed, closed bool
	pairs                           map[*pair]bool
}

// pair is a connection of a client with the one to the server that was made for it.
type pair struct{ client, server *net.TCPConn }

// newRelay begins to take connections on the loopback interface, for a server elsewhere.
func newRelay(to string) (*relay, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	r := &relay{listener: l, to: to, pairs: map[*pair]bool{}}
	r.moved = sync.NewCond(&r.mu)
	r.all.Go(r.accept)
	return r, nil
}

func (r *relay) address() string { return r.listener.Addr().String() }

func (r *relay) accept() {
	for {
		conn, err := r.listener.Accept()
		if err != nil {
			return // closed
		}
		client, ok := conn.(*net.TCPConn)
		if !ok {
			_ = conn.Close() // a listener of TCP gives none
			continue
		}
		r.all.Go(func() { r.join(client) })
	}
}

// join passes on what both say until both have ended, or the connection is reset.
func (r *relay) join(client *net.TCPConn) {
	p := &pair{client: client}
	r.mu.Lock()
	r.pairs[p] = true
	gone := r.closed
	r.mu.Unlock()
	defer func() {
		r.mu.Lock()
		delete(r.pairs, p)
		r.mu.Unlock()
		p.end(false)
	}()
	if gone || !r.passes(false) {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", r.to)
	cancel()
	server, ok := conn.(*net.TCPConn)
	if err != nil || !ok {
		return // as the server itself would refuse
	}
	r.mu.Lock()
	p.server, gone = server, r.closed
	r.mu.Unlock()
	if gone {
		return
	}
	var ways sync.WaitGroup
	ways.Go(func() { r.pass(client, server, false) })
	ways.Go(func() { r.pass(server, client, true) })
	ways.Wait()
}

// pass carries what one says to the other, the end of it too.
func (r *relay) pass(from, to *net.TCPConn, answers bool) {
	buffer := make([]byte, 32<<10)
	for {
		n, err := from.Read(buffer)
		if !r.passes(answers) {
			return
		}
		if !answers && bytes.Contains(buffer[:n], commit) {
			r.committing()
		}
		if n > 0 {
			if _, err := to.Write(buffer[:n]); err != nil {
				_ = from.Close() // the other end hears of it
				return
			}
		}
		if err != nil {
			_ = to.CloseWrite() // it may be gone too
			return
		}
	}
}

// passes waits while nothing does; false when the relay is closed.
func (r *relay) passes(answers bool) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for !r.closed && (r.still || answers && r.halfStill) {
		r.moved.Wait()
	}
	return !r.closed
}

// commit is what pgx sends to end a transaction: a simple query (PostgreSQL documentation,
// "Message Formats").
var commit = []byte("commit\x00")

// committing notes that the server is about to be asked for a commit.
func (r *relay) committing() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.halfStill, r.armed = r.halfStill || r.armed, false
}

// standStill lets nothing pass any more; or nothing of what the server says, from the next
// commit on, so that it is made and nobody hears of it.
func (r *relay) standStill(answersOnly bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.still, r.armed = !answersOnly, answersOnly
}

// goOn lets everything pass, what stood still first.
func (r *relay) goOn() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.still, r.halfStill, r.armed = false, false, false
	r.moved.Broadcast()
}

// reset breaks all connections off, at both ends.
func (r *relay) reset() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for p := range r.pairs {
		p.end(true)
	}
}

// end closes both connections; hard, so that whoever is at the end is told that it broke
// (RFC 9293, 3.10.5, ABORT).
func (p *pair) end(hard bool) {
	for _, c := range []*net.TCPConn{p.client, p.server} {
		if c == nil {
			continue
		}
		if hard {
			_ = c.SetLinger(0) // it may be closed
		}
		_ = c.Close()
	}
}

// close ends everything and waits for it.
func (r *relay) close() {
	_ = r.listener.Close() // nobody comes any more
	r.mu.Lock()
	r.closed = true
	for p := range r.pairs {
		p.end(true)
	}
	r.moved.Broadcast()
	r.mu.Unlock()
	r.all.Wait()
}
