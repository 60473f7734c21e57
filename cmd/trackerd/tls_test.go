package main

import (
	"crypto/tls"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	"jointledger/cmd/trackerd/certificate/certtest"
)

// shownTo is the common name of the certificate that a client is shown.
func shownTo(addr string, c *tls.Config) (string, error) {
	conn, err := tls.Dial("tcp", addr, c)
	if err != nil {
		return "", err
	}
	defer conn.Close()
	return conn.ConnectionState().PeerCertificates[0].Subject.CommonName, nil
}

func TestTLSOfARunningServer(t *testing.T) {
	a := certtest.New(t, "Yard Authority")
	cert, key := a.Files(t, "first", 90*24*time.Hour, "yard.example", "127.0.0.1")
	p := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--tls-cert", cert, "--tls-key", key)
	known := trusting(t, a.File, "yard.example")
	conn := connect(t, p.addr, known)
	check := func() error {
		_, err := healthpb.NewHealthClient(conn).Check(t.Context(), &healthpb.HealthCheckRequest{})
		return err
	}
	if err := check(); err != nil {
		t.Fatal(err)
	}

	// Who asks for another host, knows another authority, or speaks an old version or
	// none at all gets nothing.
	old := known.Clone()
	old.MaxVersion = tls.VersionTLS12
	for _, c := range []struct {
		name, says string
		config     *tls.Config
	}{
		{"wrong name", "not crib.example", trusting(t, a.File, "crib.example")},
		{"wrong authority", "unknown authority", trusting(t, certtest.New(t, "Another").File, "yard.example")},
		{"TLS 1.2", "protocol version", old},
	} {
		if _, err := shownTo(p.addr, c.config); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v; expected %q", c.name, err, c.says)
		}
	}
	if _, err := healthpb.NewHealthClient(connect(t, p.addr, nil)).Check(t.Context(), &healthpb.HealthCheckRequest{}); status.Code(err) != codes.Unavailable {
		t.Errorf("in plaintext: %v", err)
	}

	// A new certificate is taken up by SIGHUP; a broken one is not; the connection that
	// is open goes on.
	newCert, newKey := a.Issue(t, "second", 90*24*time.Hour, "yard.example")
	certtest.Write(t, cert, 0o644, newCert)
	certtest.Write(t, key, 0o600, newKey)
	p.signal(syscall.SIGHUP)
	p.says("certificate read")
	if name, err := shownTo(p.addr, known); name != "second" {
		t.Errorf("after SIGHUP %q is shown, %v", name, err)
	}
	certtest.Write(t, cert, 0o644, []byte("torn"))
	p.signal(syscall.SIGHUP)
	p.says("the new certificate can't be used; the old one stays")
	if name, err := shownTo(p.addr, known); name != "second" {
		t.Errorf("after a broken file %q is shown, %v", name, err)
	}
	if err := check(); err != nil {
		t.Errorf("the connection from before: %v", err)
	}
	// And by itself, when somebody connects.
	third, thirdKey := a.Issue(t, "third", 90*24*time.Hour, "yard.example")
	certtest.Write(t, cert, 0o644, third)
	certtest.Write(t, key, 0o600, thirdKey)
	for deadline := time.Now().Add(patience); ; time.Sleep(100 * time.Millisecond) {
		name, err := shownTo(p.addr, known)
		if name == "third" {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("%q is shown, %v; log: %s", name, err, p.log)
		}
	}
	p.signal(syscall.SIGTERM)
	if err := p.ended(); err != nil {
		t.Errorf("%v; %s", err, p.log)
	}
}

func TestTLSByConfiguration(t *testing.T) {
	a := certtest.New(t, "Yard Authority")
	cert, key := a.Files(t, "yard", 90*24*time.Hour, "yard.example", "127.0.0.1")
	short, shortKey := a.Files(t, "short", 3*24*time.Hour, "yard.example")
	data := t.TempDir()
	serve := func(more ...string) []string {
		return append([]string{"serve", "--data", data, "--listen", "127.0.0.1:0"}, more...)
	}
	for _, c := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"no key", serve("--tls-cert", cert), 78, "tls-cert and tls-key belong together"},
		{"authorities without a certificate", serve("--tls-client-ca", a.File), 78, "tls-client-ca needs tls-cert"},
		{"of another", serve("--tls-cert", cert, "--tls-key", shortKey), 78, "private key does not match"},
		{"absent", serve("--tls-cert", cert, "--tls-key", filepath.Join(data, "absent")), 78, "the private key can't be read"},
		{"no version", serve("--tls-cert", cert, "--tls-key", key, "--tls-min", "1.1"), 64, "--tls-min: expected 1.2 or 1.3"},
	} {
		if code, _, stderr := trackerd(t, c.args...); code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%s: status %d; %s", c.name, code, stderr)
		}
	}

	s := serveIn(t, "--data", data, "--tls-cert", short, "--tls-key", shortKey, "--tls-client-ca", a.File, "--tls-min", "1.2")
	old := trusting(t, a.File, "yard.example")
	old.MaxVersion = tls.VersionTLS12
	if _, err := shownTo(s.addr, old); err != nil {
		t.Errorf("TLS 1.2 where it is let in: %v", err)
	}
	// A client's certificate is asked for, and one of another authority is refused.
	stranger := certtest.New(t, "Stranger")
	strangers, strangersKey := stranger.Files(t, "stranger", 90*24*time.Hour, "ann")
	for _, c := range []struct {
		name, cert, key string
		ok              bool
	}{{"none", "", "", true}, {"of ours", cert, key, true}, {"of a stranger", strangers, strangersKey, false}} {
		config := trusting(t, a.File, "yard.example")
		if c.cert != "" {
			pair, err := tls.LoadX509KeyPair(c.cert, c.key)
			if err != nil {
				t.Fatal(err)
			}
			// One that is shown whatever the server asks for.
			config.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return &pair, nil }
		}
		_, err := healthpb.NewHealthClient(connect(t, s.addr, config)).Check(t.Context(), &healthpb.HealthCheckRequest{})
		if (err == nil) != c.ok {
			t.Errorf("client certificate %s: %v", c.name, err)
		}
	}
	if _, log := s.stop(); !strings.Contains(log, "the certificate runs out soon") {
		t.Errorf("no word of the certificate's end: %s", log)
	}
}

func TestHealthCommand(t *testing.T) {
	a := certtest.New(t, "Yard Authority")
	cert, key := a.Files(t, "yard", 90*24*time.Hour, "yard.example", "127.0.0.1")
	plain := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	secured := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--tls-cert", cert, "--tls-key", key)
	for _, c := range []struct {
		name string
		env  []string
		args []string
		code int
		says string
	}{
		{"of the same flags", nil, []string{"--listen", plain.addr}, 0, "SERVING"},
		{"of one service", nil, []string{"--address", plain.addr, "--service", "jointledger.v1.AssemblyService"}, 0, "SERVING"},
		{"of no service", nil, []string{"--address", plain.addr, "--service", "sesame"}, 69, "unknown service"},
		{"of the same environment", []string{"JOINTLEDGER_LISTEN=" + secured.addr, "JOINTLEDGER_TLS_CERT=" + cert, "JOINTLEDGER_TLS_KEY=" + key}, nil, 0, "SERVING"},
		{"by an authority", nil, []string{"--address", secured.addr, "--ca-file", a.File}, 0, "SERVING"},
		{"by another authority", nil, []string{"--address", secured.addr, "--ca-file", certtest.New(t, "Another").File}, 69, "unknown authority"},
		{"without TLS", nil, []string{"--address", secured.addr}, 69, "can't be asked"},
		{"nobody there", nil, []string{"--address", "127.0.0.1:1"}, 69, "connection refused"},
		{"no address", nil, []string{"--address", "yard"}, 64, "expected HOST:PORT"},
		{"a free port", nil, []string{"--listen", "127.0.0.1:0"}, 64, "say which with --address"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, e := range c.env {
				name, value, _ := strings.Cut(e, "=")
				t.Setenv(name, value)
			}
			code, stdout, stderr := trackerd(t, append([]string{"health", "--timeout", "30s"}, c.args...)...)
			if code != c.code || !strings.Contains(stdout+stderr, c.says) {
				t.Errorf("status %d; %s%s", code, stdout, stderr)
			}
		})
	}
}
