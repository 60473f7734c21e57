package certificate

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"
)

// loaded is what the files had when they were read.
type loaded struct{ config *tls.Config }

func (l *loaded) leaf() *x509.Certificate { return l.config.Certificates[0].Leaf }

func (l *loaded) expires() time.Time { return l.leaf().NotAfter }

// load reads the files. Its errors name the file and say what was expected in it.
func (f Files) load() (*loaded, error) {
	certificate, err := os.ReadFile(f.Certificate)
	if err != nil {
		return nil, fmt.Errorf("the certificate can't be read: %w", err)
	}
	key, err := os.ReadFile(f.Key)
	if err != nil {
		return nil, fmt.Errorf("the private key can't be read: %w", err)
	}
	pair, err := tls.X509KeyPair(certificate, key)
	if err != nil {
		return nil, fmt.Errorf("%s and %s: %w", f.Certificate, f.Key, pairProblem(err, key))
	}
	c := &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: f.Least}
	if f.ClientCA == "" {
		return &loaded{c}, nil
	}
	if c.ClientCAs, err = ReadAuthorities(f.ClientCA); err != nil {
		return nil, err
	}
	c.ClientAuth = tls.VerifyClientCertIfGiven
	// A connection taken up by a ticket would not be verified against authorities that
	// were taken away since.
	c.SessionTicketsDisabled = true
	return &loaded{c}, nil
}

// pairProblem says what is usually behind the library's words.
func pairProblem(err error, key []byte) error {
	if block, _ := pem.Decode(key); block != nil && (strings.Contains(block.Type, "ENCRYPTED") || block.Headers["DEK-Info"] != "") {
		return errors.New("the private key is encrypted; expected one without a passphrase, in a file that only the server may read")
	}
	return errors.New(strings.TrimPrefix(err.Error(), "tls: "))
}

// ReadAuthorities reads a PEM file of certificates of authorities.
func ReadAuthorities(file string) (*x509.CertPool, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("the file of authorities can't be read: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("the file of authorities %s has no certificate in PEM form", file)
	}
	return pool, nil
}

// stamp tells one state of a file from another, also where its name is a link that is
// turned to another file, and where it may be read now and could not be before.
type stamp struct {
	modified, size int64
	mode           fs.FileMode
	file           string
}

type stamps [3]stamp

func (f Files) stamps() (all stamps) {
	for i, name := range []string{f.Certificate, f.Key, f.ClientCA} {
		if info, err := os.Stat(name); name != "" && err == nil {
			all[i] = stamp{info.ModTime().UnixNano(), info.Size(), info.Mode(), identity(info)}
		}
	}
	return all
}

// openToOthers says whether more than the owner and the group may read the file: a
// service's key is often handed to it by its group.
func openToOthers(file string) (fs.FileMode, bool) {
	info, err := os.Stat(file)
	if err != nil {
		return 0, false
	}
	mode := info.Mode().Perm()
	return mode, mode&0o007 != 0
}
