package cli

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/cmd/trackerd/certificate/certtest"
	pb "jointledger/proto/jointledger/v1"
)

// here tells about itself, and notes which API its clients say that they speak.
type here struct {
	pb.UnimplementedServerServiceServer
	api *[]string
}

func (h here) GetServer(ctx context.Context, _ *pb.GetServerRequest) (*pb.Server, error) {
	*h.api = metadata.ValueFromIncomingContext(ctx, pb.APIHeader)
	if len(*h.api) == 1 && strings.HasPrefix((*h.api)[0], "1.") {
		return &pb.Server{Version: "test", ApiMajor: pb.APIMajor, ApiRevision: pb.APIRevision, ServerTime: timestamppb.Now()}, nil
	}
	return nil, status.Error(codes.Internal, "no API was named")
}

// securedServer is a server that only tells about itself.
func securedServer(t *testing.T, line credentials.TransportCredentials) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := grpc.NewServer(grpc.Creds(line))
	pb.RegisterServerServiceServer(s, here{api: new([]string)})
	done := make(chan error, 1)
	go func() { done <- s.Serve(l) }()
	t.Cleanup(func() {
		s.Stop()
		if err := <-done; err != nil && !errors.Is(err, grpc.ErrServerStopped) {
			t.Error(err)
		}
	})
	return l.Addr().String()
}

// serverLine is the server's end of a line, which asks for certificates of an authority.
func serverLine(t *testing.T, cert, key string, clients *certtest.Authority) credentials.TransportCredentials {
	t.Helper()
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	c := &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS13}
	if clients != nil {
		text, err := os.ReadFile(clients.File)
		if err != nil {
			t.Fatal(err)
		}
		c.ClientCAs, c.ClientAuth = x509.NewCertPool(), tls.RequireAndVerifyClientCert
		c.ClientCAs.AppendCertsFromPEM(text)
	}
	return credentials.NewTLS(c)
}

// runNow runs trackctl with this machine's clock, by which certificates are judged.
func runNow(t *testing.T, env map[string]string, args ...string) (code int, out string) {
	t.Helper()
	var o bytes.Buffer
	var e bytes.Buffer
	a := &app{in: strings.NewReader(""), err: io.Writer(&e), getenv: func(name string) string { return env[name] }, now: time.Now, newID: uuid.NewV7}
	code = a.run(context.Background(), append([]string{"--folder", t.TempDir()}, args...), &o)
	return code, o.String() + e.String()
}

func TestTheLineToTheServer(t *testing.T) {
	a, stranger := certtest.New(t, "Yard Authority"), certtest.New(t, "Stranger")
	cert, key := a.Files(t, "yard", 90*24*time.Hour+time.Hour, "127.0.0.1", "yard.example")
	wrong, wrongKey := a.Files(t, "wrong", 90*24*time.Hour, "crib.example", "10.1.2.3")
	nameless, namelessKey := a.Files(t, "nameless", 90*24*time.Hour)
	late, lateKey := a.Files(t, "late", -time.Hour, "127.0.0.1")
	soon, soonKey := a.Files(t, "soon", 5*24*time.Hour+time.Hour, "127.0.0.1")
	own, ownKey := a.Files(t, "device-7", 90*24*time.Hour+time.Hour)
	foreign, foreignKey := stranger.Files(t, "foreign", 90*24*time.Hour)
	good := securedServer(t, serverLine(t, cert, key, nil))
	asking := securedServer(t, serverLine(t, cert, key, a))
	plain := securedServer(t, insecure.NewCredentials())
	of := func(cert, key string) string { return securedServer(t, serverLine(t, cert, key, nil)) }
	for _, c := range []struct {
		name, address string
		env           map[string]string
		args          []string
		code          int
		says          []string
	}{
		{"good", good, nil, []string{"--ca-file", a.File}, 0, []string{"ok    line: TLS 1.3; the certificate is for yard.example, 127.0.0.1, by Yard Authority, verified, 90 days left", "ok    server:"}},
		{"by the environment", good, map[string]string{envCAFile: a.File}, nil, 0, []string{"ok    line: TLS 1.3"}},
		{"wrong name", of(wrong, wrongKey), nil, []string{"--ca-file", a.File}, 1, []string{"is for crib.example, 10.1.2.3, not for 127.0.0.1", "wrong line:", "wrong server:"}},
		{"no name", of(nameless, namelessKey), nil, []string{"--ca-file", a.File}, 1, []string{"is for no host at all, not for 127.0.0.1"}},
		{"unknown authority", good, nil, []string{"--ca-file", stranger.File}, 1, []string{"is from an authority that this device does not know; name its certificate with --ca-file"}},
		{"of this machine's authorities", good, nil, []string{"--tls"}, 1, []string{"is from an authority that this device does not know"}},
		{"ran out", of(late, lateKey), nil, []string{"--ca-file", a.File}, 1, []string{"only; it is to be renewed, or the clock of this device is wrong"}},
		{"runs out soon", of(soon, soonKey), nil, []string{"--ca-file", a.File}, 0, []string{"look  line:", "5 days left", "have the server's certificate renewed by"}},
		{"plaintext to TLS", good, nil, nil, 1, []string{"has a certificate (then say --tls)"}},
		{"TLS to plaintext", plain, nil, []string{"--ca-file", a.File}, 1, []string{"does not speak TLS; leave --tls out"}},
		{"plaintext", plain, nil, nil, 0, []string{"ok    line: no TLS; it does not leave this machine"}},
		{"TLS set aside", plain, map[string]string{envCAFile: a.File}, []string{"--tls=false"}, 0, []string{"ok    line: no TLS"}},
		{"own certificate", asking, nil, []string{"--ca-file", a.File, "--client-cert", own, "--client-key", ownKey}, 0, []string{"this device's own is for device-7, 90 days left"}},
		{"no certificate where one is asked for", asking, nil, []string{"--ca-file", a.File}, 1, []string{"certificate required"}},
		{"a stranger's certificate", asking, nil, []string{"--ca-file", a.File, "--client-cert", foreign, "--client-key", foreignKey}, 1, []string{"does not accept"}},
		{"files that are not there", good, nil, []string{"--ca-file", filepath.Join(a.Folder, "absent")}, 1, []string{"the file of authorities can't be read"}},
		{"authorities that are none", good, nil, []string{"--ca-file", key}, 1, []string{"has no certificate in PEM form"}},
		{"a key without its certificate", good, nil, []string{"--client-key", ownKey}, 1, []string{"--client-cert and --client-key belong together"}},
		{"of two pairs", good, nil, []string{"--client-cert", own, "--client-key", foreignKey}, 1, []string{"the client certificate can't be used"}},
		{"a word for TLS", good, map[string]string{envTLS: "perhaps"}, nil, 1, []string{envTLS + `: expected true or false, got "perhaps"`}},
	} {
		code, out := runNow(t, c.env, append([]string{"--server", c.address, "doctor"}, c.args...)...)
		if code != c.code {
			t.Errorf("%s: exit code %d, expected %d; %s", c.name, code, c.code, out)
		}
		for _, part := range c.says {
			if !strings.Contains(out, part) {
				t.Errorf("%s: %q is missing in\n%s", c.name, part, out)
			}
		}
		if strings.Contains(out, "x509:") || strings.Contains(out, "desc =") {
			t.Errorf("%s: the library speaks:\n%s", c.name, out)
		}
	}
	// Any other command says it in one sentence too.
	code, out := runNow(t, nil, "--server", of(wrong, wrongKey), "--ca-file", a.File, "site", "list")
	if code != exitUnavailable || !strings.Contains(out, "is for crib.example, 10.1.2.3, not for 127.0.0.1") || strings.Count(strings.TrimSpace(out), "\n") > 0 {
		t.Errorf("exit code %d; %s", code, out)
	}
	// A trackerd that refuses the device is no other program.
	for _, args := range [][]string{nil, {"--client-cert", foreign, "--client-key", foreignKey}} {
		code, out := runNow(t, nil, append([]string{"--server", asking, "--ca-file", a.File, "site", "list"}, args...)...)
		if code != exitUnavailable || !strings.Contains(out, "certificate") || strings.Contains(out, "it is another program") {
			t.Errorf("%q: exit code %d; %s", args, code, out)
		}
	}
}

// What a server says of a device's certificate can be lost when it ends the line at
// once; whether the device then was reading or writing is chance.
func TestALineThatEndsWithoutAWord(t *testing.T) {
	a := certtest.New(t, "Yard Authority")
	cert, key := a.Files(t, "yard", 90*24*time.Hour, "127.0.0.1")
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			raw, err := l.Accept()
			if err != nil {
				return
			}
			secured := tls.Server(raw, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS13, NextProtos: []string{"h2"}, SessionTicketsDisabled: true})
			_ = secured.HandshakeContext(t.Context())
			_ = raw.(*net.TCPConn).SetLinger(0)
			_ = raw.Close()
		}
	}()
	for range 10 {
		code, out := runNow(t, nil, "--server", l.Addr().String(), "--ca-file", a.File, "site", "list")
		if code != exitUnavailable || !strings.Contains(out, "asks for a certificate of this device") {
			t.Fatalf("exit code %d; %s", code, out)
		}
	}
}

func TestTheLineIsKeptInTheSettingsFile(t *testing.T) {
	a := certtest.New(t, "Yard Authority")
	cert, key := a.Files(t, "yard", 90*24*time.Hour, "127.0.0.1")
	address := securedServer(t, serverLine(t, cert, key, nil))
	folder := t.TempDir()
	with := func(args ...string) (int, string) {
		return runNow(t, nil, append([]string{"--folder", folder}, args...)...)
	}
	if code, out := with("setup", "--no-input", "--server", address, "--ca-file", a.File); code != 0 {
		t.Fatalf("exit code %d; %s", code, out)
	}
	code, out := with("settings")
	if code != 0 || !strings.Contains(out, a.File) || !strings.Contains(out, "tls ") {
		t.Errorf("exit code %d; %s", code, out)
	}
	if code, out := with("doctor"); code != 0 || !strings.Contains(out, "ok    line: TLS 1.3") {
		t.Errorf("exit code %d; %s", code, out)
	}
}
