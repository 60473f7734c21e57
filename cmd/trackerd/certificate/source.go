package certificate

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

// lookEvery is how often, at most, the files are looked at when a handshake comes: a
// burst of connections must not become a burst of reads.
const lookEvery = time.Second

// Files says where a certificate is and what a client needs for a connection.
type Files struct {
	// Certificate and Key name PEM files: the chain, the server's own certificate
	// first, and its private key.
	Certificate, Key string
	// ClientCA names a PEM file of the authorities whose client certificates are
	// accepted; empty to ask for none.
	ClientCA string
	// Least is the lowest version of TLS that is spoken, such as tls.VersionTLS13.
	Least uint16
}

// Source gives each handshake the certificate of the moment. It is safe for
// concurrent use.
type Source struct {
	files   Files
	log     *slog.Logger
	current atomic.Pointer[loaded]
	// mu guards seen and looked.
	mu     sync.Mutex
	seen   stamps
	looked time.Time
	// now is the clock.
	now func() time.Time
}

// Open reads the files. It fails, naming the file, when one can't be read, the two do
// not belong together, or the certificate has run out.
func Open(files Files, log *slog.Logger) (*Source, error) {
	s := &Source{files: files, log: log, now: time.Now}
	// The stamps are taken first: what is written meanwhile is seen as a change later.
	s.seen = files.stamps()
	l, err := files.load()
	if err != nil {
		return nil, err
	}
	if now := s.now(); now.After(l.expires()) {
		return nil, fmt.Errorf("the certificate in %s ran out on %s; renew it", files.Certificate, l.expires().UTC().Format(time.DateOnly))
	}
	s.current.Store(l)
	s.remark(l)
	return s, nil
}

// Config is the configuration of a listener, for the protocols given, such as "h2".
func (s *Source) Config(protocols ...string) *tls.Config {
	of := func() *tls.Config {
		c := s.current.Load().config.Clone()
		c.NextProtos = protocols
		return c
	}
	c := of()
	c.GetConfigForClient = func(*tls.ClientHelloInfo) (*tls.Config, error) {
		s.Look()
		return of(), nil
	}
	return c
}

// Expires is when the certificate that is shown now runs out.
func (s *Source) Expires() time.Time { return s.current.Load().expires() }

// Look reads the files again when they have changed, at most once a second. Files that
// can't be used leave the certificate as it is, and are logged once.
func (s *Source) Look() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if now := s.now(); now.Sub(s.looked) >= lookEvery || now.Before(s.looked) {
		s.looked = now
		if at := s.files.stamps(); at != s.seen {
			s.take(at)
		}
	}
}

// Reload reads the files again whether they seem to have changed or not.
func (s *Source) Reload() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.take(s.files.stamps())
}

// take reads the files, whose stamps were taken before. Callers hold mu.
func (s *Source) take(at stamps) {
	s.seen = at
	l, err := s.files.load()
	if err == nil && s.now().After(l.expires()) {
		err = errors.New("it ran out on " + l.expires().UTC().Format(time.DateOnly))
	}
	if err != nil {
		s.log.Error("the new certificate can't be used; the old one stays", "file", s.files.Certificate, "cause", err,
			"old_expires", s.Expires().UTC().Format(time.RFC3339))
		return
	}
	s.current.Store(l)
	s.log.Info("certificate read", "file", s.files.Certificate, "subject", l.leaf().Subject.String(), "names", l.leaf().DNSNames,
		"expires", l.expires().UTC().Format(time.RFC3339))
	s.remark(l)
}

// soon is how long before its end a certificate is spoken of. Common practice, no
// source.
const soon = 14 * 24 * time.Hour

// remark says what an operator should know of a certificate that is used.
func (s *Source) remark(l *loaded) {
	if left := l.expires().Sub(s.now()); left < soon {
		s.log.Warn("the certificate runs out soon", "file", s.files.Certificate, "expires", l.expires().UTC().Format(time.RFC3339), "days_left", int(left.Hours()/24))
	}
	if mode, others := openToOthers(s.files.Key); others {
		s.log.Warn("others on this machine can use the private key", "file", s.files.Key, "mode", mode.String())
	}
}
