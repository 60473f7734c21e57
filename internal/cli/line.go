package cli

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"

	"github.com/spf13/pflag"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
)

// The environment in which the flags of the line may be given.
const (
	envTLS        = "JOINTLEDGER_TLS"
	envCAFile     = "JOINTLEDGER_CA_FILE"
	envClientCert = "JOINTLEDGER_CLIENT_CERT"
	envClientKey  = "JOINTLEDGER_CLIENT_KEY"
)

// line says how the line to the server is secured.
type line struct {
	// tls is true, false, or empty where only the others say.
	tls                           string
	caFile, clientCert, clientKey string
}

func (l *line) flags(fs *pflag.FlagSet) {
	fs.StringVar(&l.tls, "tls", "", "speak TLS with the server: true or false (environment "+envTLS+"; else true when one of the next three is given)")
	fs.Lookup("tls").NoOptDefVal = "true"
	fs.StringVar(&l.caFile, "ca-file", "", "`FILE` with the authorities that the server's certificate is verified by, instead of this device's (environment "+envCAFile+")")
	fs.StringVar(&l.clientCert, "client-cert", "", "`FILE` with the certificate that says who this device is (environment "+envClientCert+")")
	fs.StringVar(&l.clientKey, "client-key", "", "`FILE` with the private key of that certificate (environment "+envClientKey+")")
}

// check looks at what can be judged without the files; the source is where tls came
// from.
func (l *line) check(source string) error {
	switch strings.ToLower(l.tls) {
	case "", "true", "false":
	case "1", "yes", "on":
		l.tls = "true"
	case "0", "no", "off":
		l.tls = "false"
	default:
		return &failure{code: exitConfig, message: fmt.Sprintf("%s: expected true or false, got %q", source, l.tls)}
	}
	if (l.clientCert == "") != (l.clientKey == "") {
		return &failure{code: exitConfig, message: "--client-cert and --client-key belong together: give both or neither"}
	}
	return nil
}

// secured says whether TLS is spoken.
func (l *line) secured() bool {
	return strings.EqualFold(l.tls, "true") || l.tls == "" && (l.caFile != "" || l.clientCert != "")
}

// config is the configuration of TLS; it reads the files.
func (l *line) config() (*tls.Config, error) {
	// Which version is spoken is for the server to say; it wants 1.3 unless told.
	c := &tls.Config{MinVersion: tls.VersionTLS12, NextProtos: []string{"h2"}}
	if l.caFile != "" {
		text, err := os.ReadFile(l.caFile)
		if err != nil {
			return nil, &failure{code: exitConfig, message: fmt.Sprintf("the file of authorities can't be read: %v", err)}
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(text) {
			return nil, &failure{code: exitConfig, message: fmt.Sprintf("the file of authorities %s has no certificate in PEM form", l.caFile)}
		}
	}
	if l.clientCert != "" {
		pair, err := tls.LoadX509KeyPair(l.clientCert, l.clientKey)
		if err != nil {
			return nil, &failure{code: exitConfig, message: fmt.Sprintf("the client certificate can't be used: %s", strings.TrimPrefix(err.Error(), "tls: "))}
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c, nil
}

// full makes the names of files good from every folder.
func (l line) full() line {
	for _, name := range []*string{&l.caFile, &l.clientCert, &l.clientKey} {
		if *name == "" {
			continue
		}
		if path, err := filepath.Abs(*name); err == nil {
			*name = path
		}
	}
	return l
}

// credentials are those of the connection. What goes wrong while it is secured is kept
// in the watch: the library would tell of it in its own words.
func (l *line) credentials(server string, w *lineWatch) (credentials.TransportCredentials, error) {
	if !l.secured() {
		return insecure.NewCredentials(), nil
	}
	c, err := l.config()
	if err != nil {
		return nil, err
	}
	return watchedCredentials{credentials.NewTLS(c), server, w}, nil
}

// lineWatch keeps what went wrong when the line was last secured.
type lineWatch struct {
	mu      sync.Mutex
	problem string
	heard   bool // the server has said something on the line that was last secured
	secured bool // a line was secured
}

func (w *lineWatch) set(problem string) {
	w.mu.Lock()
	w.problem = problem
	w.mu.Unlock()
}

// secure notes a line that is secured, on which nothing was heard yet.
func (w *lineWatch) secure() {
	w.mu.Lock()
	w.secured, w.heard = true, false
	w.mu.Unlock()
}

// hear notes that the server spoke.
func (w *lineWatch) hear() {
	w.mu.Lock()
	w.heard = true
	w.mu.Unlock()
}

// mute says whether a line was secured on which the server never spoke.
func (w *lineWatch) mute() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.secured && !w.heard
}

// last is one plain sentence; empty when nothing went wrong.
func (w *lineWatch) last() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.problem
}

type watchedCredentials struct {
	credentials.TransportCredentials
	server string
	watch  *lineWatch
}

func (c watchedCredentials) ClientHandshake(ctx context.Context, authority string, raw net.Conn) (net.Conn, credentials.AuthInfo, error) {
	conn, info, err := c.TransportCredentials.ClientHandshake(ctx, authority, raw)
	c.watch.set(lineProblem(c.server, err))
	if err != nil {
		return conn, info, err
	}
	c.watch.secure()
	return &heardConn{Conn: conn, watch: c.watch}, info, nil
}

// heardConn tells the watch when the server first speaks. In TLS 1.3 a server judges a
// device's certificate after the device's side of the line is complete; what it then
// says can be lost in the reset that follows, so that it never spoke is all one knows.
type heardConn struct {
	net.Conn
	watch *lineWatch
	heard bool // by the one that reads
}

func (c *heardConn) Read(b []byte) (int, error) {
	n, err := c.Conn.Read(b)
	if n > 0 && !c.heard {
		c.heard = true
		c.watch.hear()
	}
	return n, err
}

// SyscallConn lets the library bound how long what was sent may stay unacknowledged.
func (c *heardConn) SyscallConn() (syscall.RawConn, error) {
	if s, ok := c.Conn.(syscall.Conn); ok {
		return s.SyscallConn()
	}
	return nil, errors.ErrUnsupported
}

func (c watchedCredentials) Clone() credentials.TransportCredentials {
	return watchedCredentials{c.TransportCredentials.Clone(), c.server, c.watch}
}

// lineProblem says in one sentence why a line could not be secured; empty where that
// was not the reason.
func lineProblem(server string, err error) string {
	var name x509.HostnameError
	var authority x509.UnknownAuthorityError
	var invalid x509.CertificateInvalidError
	var record tls.RecordHeaderError
	var alert tls.AlertError
	switch {
	case err == nil:
		return ""
	case errors.As(err, &name):
		host, _, _ := net.SplitHostPort(server)
		return fmt.Sprintf("the certificate of the server at %s is for %s, not for %s", server, certificateNames(name.Certificate), host)
	case errors.As(err, &authority):
		return fmt.Sprintf("the certificate of the server at %s is from an authority that this device does not know; name its certificate with --ca-file", server)
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return fmt.Sprintf("the certificate of the server at %s is valid from %s to %s only; it is to be renewed, or the clock of this device is wrong",
			server, day(invalid.Cert.NotBefore), day(invalid.Cert.NotAfter))
	case errors.As(err, &record):
		return fmt.Sprintf("the server at %s does not speak TLS; leave --tls out, or have its certificate set up", server)
	case errors.As(err, &alert), strings.Contains(err.Error(), "remote error: tls:"):
		return fmt.Sprintf("the server at %s does not accept the line: %s", server, lastPart(err.Error()))
	}
	var verification *tls.CertificateVerificationError
	if errors.As(err, &verification) {
		return fmt.Sprintf("the certificate of the server at %s can't be trusted: %s", server, strings.TrimPrefix(verification.Err.Error(), "x509: "))
	}
	return ""
}

// certificateNames are the names that a certificate is for.
func certificateNames(c *x509.Certificate) string {
	names := append([]string(nil), c.DNSNames...)
	for _, ip := range c.IPAddresses {
		names = append(names, ip.String())
	}
	if len(names) == 0 {
		return "no host at all"
	}
	const most = 5
	if len(names) > most {
		names = append(names[:most], fmt.Sprintf("%d more", len(names)-most))
	}
	return strings.Join(names, ", ")
}
