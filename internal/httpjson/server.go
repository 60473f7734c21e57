package httpjson

import (
	"crypto/tls"
	"log/slog"
	"net"
	"net/http"
	"time"
)

const (
	// headerTime is how long a request's headers may take, a handshake of TLS included.
	headerTime = 10 * time.Second
	// idleTime is how long a connection may wait for its next request.
	idleTime = 2 * time.Minute
	// maxHeaderBytes holds a token of OpenID Connect with many groups.
	maxHeaderBytes = 32 << 10
	// maxStreams is how many calls one connection of HTTP/2 may have under way.
	maxStreams = 256
	// readerTime is how long a client may take to read what it was sent at once.
	readerTime = time.Minute
)

// NewServer makes the server of a handler; with a configuration of TLS it is to be
// started by ServeTLS.
func NewServer(h http.Handler, c *tls.Config, log *slog.Logger) *http.Server {
	return &http.Server{
		Handler: h, TLSConfig: c, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug),
		ReadHeaderTimeout: headerTime, IdleTimeout: idleTime, MaxHeaderBytes: maxHeaderBytes,
		HTTP2: &http.HTTP2Config{MaxConcurrentStreams: maxStreams},
	}
}

// Serve answers requests on a listener until the server is shut down; like
// http.Server.Serve it never gives nil.
func Serve(s *http.Server, l net.Listener) error {
	if s.TLSConfig != nil {
		return s.ServeTLS(l, "", "")
	}
	return s.Serve(l)
}

// timed has a client that stops reading time out, however long the whole may last: a
// watch goes on for hours.
func timed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		t := &timedWriter{ResponseWriter: w, control: http.NewResponseController(w)}
		t.within(0)
		next.ServeHTTP(t, r)
		t.within(readerTime) // what is still to be sent
	})
}

type timedWriter struct {
	http.ResponseWriter
	control *http.ResponseController
	begun   bool
}

// within sets how long writing may take; 0 for no bound.
func (t *timedWriter) within(d time.Duration) {
	var end time.Time
	if d > 0 {
		end = time.Now().Add(d)
	}
	_ = t.control.SetWriteDeadline(end) // what has no deadlines is not a connection
}

// WriteHeader begins the answer.
func (t *timedWriter) WriteHeader(status int) {
	h := t.Header()
	if date, ok := h["Date"]; ok && date == nil {
		delete(h, "Date") // gRPC leaves it out; RFC 9110, section 6.6.1, wants it
	}
	if status == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", "Bearer")
	}
	t.begun = t.begun || status >= http.StatusOK
	t.ResponseWriter.WriteHeader(status)
}

// Write writes, within readerTime.
func (t *timedWriter) Write(p []byte) (int, error) {
	if !t.begun {
		t.WriteHeader(http.StatusOK)
	}
	t.within(readerTime)
	defer t.within(0)
	return t.ResponseWriter.Write(p)
}

// Flush sends, within readerTime.
func (t *timedWriter) Flush() {
	t.within(readerTime)
	defer t.within(0)
	_ = t.control.Flush() // the next write tells
}

// Unwrap is for http.ResponseController.
func (t *timedWriter) Unwrap() http.ResponseWriter { return t.ResponseWriter }
