package main

import (
	"crypto/tls"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/cmd/trackerd/certificate/certtest"
	pb "jointledger/proto/jointledger/v1"
)

// A device is let in by its certificate, when the name in it is registered and an
// authority that the server was told of has written it.
func TestADeviceShowsItsCertificate(t *testing.T) {
	a, other := certtest.New(t, "Yard Authority"), certtest.New(t, "Another")
	cert, key := a.Files(t, "server", 90*24*time.Hour, "yard.example", "127.0.0.1")
	dir := t.TempDir()
	p := startProgram(t, nil, "serve", "--data", dir, "--listen", "127.0.0.1:0", "--ask-loopback", "--tls-cert", cert, "--tls-key", key, "--tls-client-ca", a.File)
	operate(t, dir, "principal", "add", "tablet-3", "--role", "technician", "--everywhere")
	operate(t, dir, "token", "accept", "tablet-3", "--certificate", "dns:tablet-3.example")
	as := func(by *certtest.Authority, good time.Duration, name string) (string, error) {
		t.Helper()
		c := trusting(t, a.File, "yard.example")
		if by != nil {
			shown, err := tls.X509KeyPair(by.Issue(t, "device", good, name))
			if err != nil {
				t.Fatal(err)
			}
			// Whatever the server says that it knows.
			c.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return &shown, nil }
		}
		s, err := pb.NewServerServiceClient(connect(t, p.addr, c)).GetServer(t.Context(), &pb.GetServerRequest{})
		return s.GetPrincipal(), err
	}
	if got, err := as(a, time.Hour, "tablet-3.example"); err != nil || got != "tablet-3" {
		t.Errorf("taken for %q, %v", got, err)
	}
	for _, c := range []struct {
		what string
		by   *certtest.Authority
		good time.Duration
		name string
		code codes.Code
		says string
	}{
		{"none", nil, 0, "", codes.Unauthenticated, "asks for a token"},
		{"the wrong name", a, time.Hour, "tablet-4.example", codes.Unauthenticated, "registered for no principal here"},
		{"an expired one", a, -time.Hour, "tablet-3.example", codes.Unavailable, ""},
		{"one of another authority", other, time.Hour, "tablet-3.example", codes.Unavailable, ""},
	} {
		if got, err := as(c.by, c.good, c.name); status.Code(err) != c.code || !strings.Contains(status.Convert(err).Message(), c.says) {
			t.Errorf("%s: taken for %q, %v", c.what, got, err)
		}
	}
}
