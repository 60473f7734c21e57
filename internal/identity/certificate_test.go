package identity_test

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"math/big"
	"net/url"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	"jointledger/internal/access"
	"jointledger/internal/identity"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	pb "jointledger/proto/jointledger/v1"
)

// authority makes certificates.
type authority struct {
	t      *testing.T
	cert   *x509.Certificate
	key    any
	serial int64
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{t: t}
	key := ecKey(t)
	made := a.make(&x509.Certificate{Subject: pkix.Name{CommonName: "authority"}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}, &key.PublicKey, nil, key)
	a.cert, a.key = made, key
	return a
}

func (a *authority) make(c *x509.Certificate, public any, parent *x509.Certificate, signer any) *x509.Certificate {
	a.t.Helper()
	a.serial++
	c.SerialNumber = big.NewInt(a.serial)
	if c.NotAfter.IsZero() {
		c.NotAfter = time.Now().Add(24 * time.Hour)
	}
	if c.NotBefore.IsZero() {
		c.NotBefore = time.Now().Add(-48 * time.Hour)
	}
	if parent == nil {
		parent = c
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, public, signer)
	if err != nil {
		a.t.Fatal(err)
	}
	made, err := x509.ParseCertificate(der)
	if err != nil {
		a.t.Fatal(err)
	}
	return made
}

// issue makes a certificate with a key of its own.
func (a *authority) issue(c *x509.Certificate, usage x509.ExtKeyUsage) tls.Certificate {
	a.t.Helper()
	key := ecKey(a.t)
	c.ExtKeyUsage = []x509.ExtKeyUsage{usage}
	made := a.make(c, &key.PublicKey, a.cert, a.key)
	return tls.Certificate{Certificate: [][]byte{made.Raw}, PrivateKey: key, Leaf: made}
}

func (a *authority) pool() *x509.CertPool {
	p := x509.NewCertPool()
	p.AddCert(a.cert)
	return p
}

func TestClientCertificates(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ours, other := newAuthority(t), newAuthority(t)
		server := &tls.Config{
			Certificates: []tls.Certificate{ours.issue(&x509.Certificate{DNSNames: []string{"tower-yard.example"}}, x509.ExtKeyUsageServerAuth)},
			ClientAuth:   tls.VerifyClientCertIfGiven, ClientCAs: ours.pool(), MinVersion: tls.VersionTLS13,
		}
		f := start(t, e, identity.Config{}, server)
		dial := func(certs ...tls.Certificate) pb.PersonServiceClient {
			t.Helper()
			return f.dial(t, credentials.NewTLS(&tls.Config{Certificates: certs, RootCAs: ours.pool(), ServerName: "tower-yard.example"}))
		}
		client := func(c x509.Certificate) tls.Certificate { return ours.issue(&c, x509.ExtKeyUsageClientAuth) }
		urn, err := url.Parse("urn:example:tablet-3")
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"tablet-3", "tablet-4", "reports"} {
			f.register(t, name, everywhere(access.Technician))
		}
		subject := func(text string) string {
			t.Helper()
			s, err := identity.CertificateSubject(text)
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		byDNS := f.accept(t, "tablet-3", store.ClientCertificate, subject("dns:Tablet-3.example"))
		f.accept(t, "tablet-4", store.ClientCertificate, subject("uri:urn:example:tablet-3"))
		f.accept(t, "reports", store.ClientCertificate, subject("cn:reports"))
		token, _ := f.issue(t, "reports", time.Time{})

		first := client(x509.Certificate{DNSNames: []string{"tablet-3.EXAMPLE", "x.example"}})
		wantWho(t, dial(first), "", "tablet-3")
		wantWho(t, dial(client(x509.Certificate{URIs: []*url.URL{urn}, DNSNames: []string{"tablet-3.example"}})), "", "tablet-4")
		wantWho(t, dial(client(x509.Certificate{Subject: pkix.Name{CommonName: "reports"}})), "", "reports")
		wantWho(t, dial(first), token, "reports") // what the call itself shows goes first
		wantRefused(t, dial(first), "jl_x", codes.Unauthenticated, "not one that this server knows")
		wantRefused(t, dial(), "", codes.Unauthenticated, "asks for a token")
		for _, c := range []x509.Certificate{
			{DNSNames: []string{"tablet-5.example"}}, {DNSNames: []string{"' OR 1=1 --"}}, {Subject: pkix.Name{CommonName: "reports"}, DNSNames: []string{"else.example"}},
			{Subject: pkix.Name{CommonName: "../../reports"}}, {Subject: pkix.Name{CommonName: "dns:tablet-3.example"}}, {},
		} {
			wantRefused(t, dial(client(c)), "", codes.Unauthenticated, "registered for no principal here")
		}
		// Those that the transport does not take come no further.
		for what, c := range map[string]tls.Certificate{
			"of another authority": other.issue(&x509.Certificate{DNSNames: []string{"tablet-3.example"}}, x509.ExtKeyUsageClientAuth),
			"expired":              client(x509.Certificate{DNSNames: []string{"tablet-3.example"}, NotAfter: time.Now().Add(-time.Hour)}),
			"of a server":          ours.issue(&x509.Certificate{DNSNames: []string{"tablet-3.example"}}, x509.ExtKeyUsageServerAuth),
		} {
			if got, err := ask(t, dial(c), ""); status.Code(err) != codes.Unavailable {
				t.Errorf("%s: taken for %q, %v", what, got, err)
			}
		}

		// One certificate is revoked while its name goes on with another.
		second := client(x509.Certificate{DNSNames: []string{"tablet-3.example"}})
		digest := sha256.Sum256(first.Leaf.Raw)
		stolen := f.accept(t, "tablet-3", store.ClientCertificate, subject("sha256:"+strings.ToUpper(hex.EncodeToString(digest[:]))))
		f.revoke(t, stolen)
		wantRefused(t, dial(first), "", codes.Unauthenticated, "(credential "+stolen+") was revoked on ")
		wantWho(t, dial(second), "", "tablet-3")
		f.revoke(t, byDNS)
		wantRefused(t, dial(second), "", codes.Unauthenticated, "(credential "+byDNS+") was revoked on ")
		f.accept(t, "tablet-4", store.ClientCertificate, subject("dns:tablet-3.example"))
		f.clock.move(identity.Longest)
		wantWho(t, dial(second), "", "tablet-4")
		open := dial(second)
		wantWho(t, open, "", "tablet-4")
		f.clock.move(25 * time.Hour)
		wantRefused(t, open, "", codes.Unauthenticated, "the client certificate expired on ")
	})
}

func TestCertificateSubjectsThatAreNone(t *testing.T) {
	for _, text := range []string{"", "dns:", "tablet-3", "ip:10.0.0.1", "sha256:12", "sha256:" + strings.Repeat("z", 64), "uri:no-scheme", "dns", "uri: :"} {
		if got, err := identity.CertificateSubject(text); err == nil {
			t.Errorf("%q was read as %q", text, got)
		}
	}
}
