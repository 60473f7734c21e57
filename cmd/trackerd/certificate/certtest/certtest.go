// Package certtest makes certificates for tests.
package certtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Authority issues certificates into a folder of its own.
type Authority struct {
	// File is its own certificate, Folder where it writes.
	File, Folder string
	certificate  *x509.Certificate
	key          *ecdsa.PrivateKey
	issued       int64
}

// New makes an authority.
func New(t testing.TB, name string) *Authority {
	t.Helper()
	a := &Authority{Folder: t.TempDir(), issued: 1}
	a.key = newKey(t)
	of := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(10 * 365 * 24 * time.Hour),
	}
	der, err := x509.CreateCertificate(rand.Reader, of, of, a.key.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	if a.certificate, err = x509.ParseCertificate(der); err != nil {
		t.Fatal(err)
	}
	a.File = filepath.Join(a.Folder, "authority.pem")
	Write(t, a.File, 0o644, pemOf("CERTIFICATE", der))
	return a
}

// Issue makes a certificate of the given common name for hosts and addresses, which is
// good for so long, and gives the contents of the two files.
func (a *Authority) Issue(t testing.TB, name string, good time.Duration, hosts ...string) (certificate, key []byte) {
	t.Helper()
	a.issued++
	k := newKey(t)
	of := &x509.Certificate{
		SerialNumber: big.NewInt(a.issued), Subject: pkix.Name{CommonName: name},
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
		NotBefore: time.Now().Add(-48 * time.Hour), NotAfter: time.Now().Add(good),
	}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			of.IPAddresses = append(of.IPAddresses, ip)
		} else {
			of.DNSNames = append(of.DNSNames, h)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, of, a.certificate, k.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		t.Fatal(err)
	}
	return pemOf("CERTIFICATE", der), pemOf("PRIVATE KEY", private)
}

// Files issues a certificate and gives the names of its files.
func (a *Authority) Files(t testing.TB, name string, good time.Duration, hosts ...string) (certificate, key string) {
	t.Helper()
	c, k := a.Issue(t, name, good, hosts...)
	certificate, key = filepath.Join(a.Folder, name+".pem"), filepath.Join(a.Folder, name+".key")
	Write(t, certificate, 0o644, c)
	Write(t, key, 0o600, k)
	return certificate, key
}

// Write writes a file.
func Write(t testing.TB, name string, mode os.FileMode, data []byte) {
	t.Helper()
	if err := os.WriteFile(name, data, mode); err != nil {
		t.Fatal(err)
	}
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func pemOf(kind string, der []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der})
}
