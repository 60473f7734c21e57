package identity

import (
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/peer"

	"jointledger/internal/access"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
)

// Beginnings of a certificate's subjects, as they are registered.
const (
	digestMark = "sha256:" // of the whole certificate: one, and not its successor
	uriMark    = "uri:"
	dnsMark    = "dns:"
	nameMark   = "cn:"
)

// verifiedLeaf gives the client's certificate where the connection has one that TLS has
// verified against the authorities that the server trusts; nil otherwise.
func verifiedLeaf(ctx context.Context) *x509.Certificate {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return nil
	}
	tls, ok := p.AuthInfo.(credentials.TLSInfo)
	if !ok || len(tls.State.VerifiedChains) == 0 || len(tls.State.VerifiedChains[0]) == 0 {
		return nil
	}
	return tls.State.VerifiedChains[0][0]
}

// byCertificate says whose a certificate is. The first of its subjects that is
// registered counts, also when it was revoked: so one certificate can be revoked while
// its name goes on with another.
func (i *Identity) byCertificate(ctx context.Context, leaf *x509.Certificate) (*access.Principal, error) {
	// A connection may outlive the certificate that it began with.
	if i.now().After(leaf.NotAfter) {
		return nil, rpc.Unauthenticated("the client certificate expired on " + leaf.NotAfter.UTC().Format(time.DateOnly) + "; connect with a newer one")
	}
	c, err := i.register.look(ctx, func(k *known) (*credential, error) {
		for _, subject := range subjectsOf(leaf) {
			if c, err := k.subject(store.ClientCertificate, subject, i.now()); c != nil || err != nil {
				return c, err
			}
		}
		return nil, nil
	})
	switch {
	case err != nil:
		return nil, err
	case c != nil:
		return i.standing(c)
	}
	return nil, rpc.Unauthenticated("the client certificate's names are registered for no principal here; ask the administrator")
}

// subjectsOf gives what a certificate may be registered by, the most particular first.
// The common name counts only where there are no others (RFC 9525, section 1.4.1: names
// belong into the extension for them).
func subjectsOf(leaf *x509.Certificate) []string {
	digest := sha256.Sum256(leaf.Raw)
	all := []string{digestMark + hex.EncodeToString(digest[:])}
	for _, u := range leaf.URIs {
		all = append(all, uriMark+u.String())
	}
	for _, n := range leaf.DNSNames {
		all = append(all, dnsMark+strings.ToLower(n))
	}
	if len(leaf.URIs)+len(leaf.DNSNames) == 0 && leaf.Subject.CommonName != "" {
		all = append(all, nameMark+leaf.Subject.CommonName)
	}
	return all
}

// CertificateSubject reads by what a client certificate is to be registered:
// `dns:NAME`, `uri:URI`, `cn:NAME`, or `sha256:` with the digest of one certificate in
// hexadecimal, colons allowed.
func CertificateSubject(text string) (string, error) {
	kind, name, _ := strings.Cut(text, ":")
	if name = strings.TrimSpace(name); name == "" {
		return "", fmt.Errorf("%q names no certificate; expected dns:NAME, uri:URI, cn:NAME or sha256:DIGEST", text)
	}
	switch kind + ":" {
	case dnsMark:
		return dnsMark + strings.ToLower(name), nil
	case nameMark:
		return nameMark + name, nil
	case uriMark:
		u, err := url.Parse(name)
		if err != nil || u.Scheme == "" {
			return "", fmt.Errorf("%q is no URI; expected one such as uri:urn:example:tablet-3", text)
		}
		return uriMark + u.String(), nil
	case digestMark:
		digest, err := hex.DecodeString(strings.ReplaceAll(name, ":", ""))
		if err != nil || len(digest) != sha256.Size {
			return "", errors.New("the digest of a certificate is 64 hexadecimal digits, as `openssl x509 -noout -fingerprint -sha256` prints them")
		}
		return digestMark + hex.EncodeToString(digest), nil
	}
	return "", fmt.Errorf("%q names no certificate; expected dns:NAME, uri:URI, cn:NAME or sha256:DIGEST", text)
}
