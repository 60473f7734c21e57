package identity

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"

	"jointledger/internal/ledger"
)

// Issuer is an issuer of OpenID Connect whose tokens are taken.
type Issuer struct {
	// URL is the issuer's identifier, under which it describes itself (OpenID Connect
	// Discovery 1.0).
	URL string
	// Audience is the name under which this system is known to it; a token must be meant
	// for it.
	Audience string
	// Claim is the claim by which a subject is registered here; `sub` when empty.
	Claim string
	// CAFile holds the authorities that its certificate is checked against, in PEM;
	// those of the machine when empty.
	CAFile string
}

const (
	// issuerTime bounds one question to the issuer; issuerPause is for how long it is
	// left alone after one that failed.
	issuerTime  = 10 * time.Second
	issuerPause = 5 * time.Second
	// longestToken is the longest token that is looked at, bytes.
	longestToken = 16 << 10
)

// algorithms are those that may be taken, if the issuer names them: signatures with a
// key pair only. Never `none`, and never a shared secret.
var algorithms = []string{oidc.RS256, oidc.RS384, oidc.RS512, oidc.ES256, oidc.ES384, oidc.ES512, oidc.PS256, oidc.PS384, oidc.PS512, oidc.EdDSA}

// issuer verifies tokens. It asks for the issuer's keys when the first token comes, and
// again when one was signed with a key that it does not know.
type issuer struct {
	config Issuer
	client *http.Client
	now    func() time.Time
	log    *slog.Logger

	// turn is held by the one who asks, and guards what follows.
	turn     chan struct{}
	verifier *oidc.IDTokenVerifier
	failed   time.Time
	failure  error
}

// Subject is how a subject of an issuer is registered.
func Subject(issuer, subject string) string { return issuer + "|" + subject }

// Check says what is wrong with the configuration; nil for nothing, also of the zero
// value.
func (c Issuer) Check() error {
	u, err := url.Parse(c.URL)
	switch {
	case c == Issuer{}:
		return nil
	case c.URL == "" || c.Audience == "":
		return errors.New("tokens of an OpenID Connect issuer need both the issuer's URL and the audience that they must be meant for")
	case err != nil || u.Host == "" || u.Scheme != "https" && (u.Scheme != "http" || !isLoopback(u.Hostname())):
		return fmt.Errorf("the issuer %q is no https URL", c.URL)
	case u.User != nil || u.RawQuery != "" || u.Fragment != "":
		// OpenID Connect Core 1.0, section 1.2. It is not repeated here, and would be to
		// every client that is refused, with the password in it.
		return errors.New("the issuer's URL must have neither a user nor a query nor a fragment")
	}
	return nil
}

func newIssuer(c Issuer, now func() time.Time, log *slog.Logger) (*issuer, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	if c.Claim == "" {
		c.Claim = "sub"
	}
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.DisableKeepAlives = true // it is asked too seldom
	if c.CAFile != "" {
		text, err := os.ReadFile(c.CAFile)
		if err != nil {
			return nil, fmt.Errorf("the authorities of the issuer can't be read: %w", err)
		}
		roots := x509.NewCertPool()
		if !roots.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("%s holds no certificate in PEM", c.CAFile)
		}
		transport.TLSClientConfig = &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}
	}
	return &issuer{
		config: c, now: now, log: log, turn: make(chan struct{}, 1),
		client: &http.Client{Timeout: issuerTime, Transport: &sparing{next: transport, now: now}},
	}, nil
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// subject verifies a token and gives its subject. Errors: KindUnauthenticated, with a
// reason in our words, since the library's may repeat the token's; KindUnavailable when
// the issuer can't be asked for its keys.
func (i *issuer) subject(ctx context.Context, token string) (string, error) {
	if len(token) > longestToken {
		return "", refusedToken(fmt.Sprintf("is longer than %d bytes", longestToken), nil)
	}
	verifier, err := i.ready(ctx)
	if err != nil {
		return "", err
	}
	var fetched fetch
	verified, err := verifier.Verify(context.WithValue(ctx, fetchKey{}, &fetched), token)
	var expired *oidc.TokenExpiredError
	switch {
	case err == nil:
	case fetched.err != nil:
		return "", i.unavailable(fetched.err)
	case errors.As(err, &expired):
		return "", refusedToken("has expired; get a new one from the issuer", err)
	default:
		return "", refusedToken("is not taken: it must be signed by the issuer "+i.config.URL+", be meant for the audience "+i.config.Audience+", and be in force", err)
	}
	return i.claim(verified)
}

// claim gives the claim by which subjects are registered.
func (i *issuer) claim(t *oidc.IDToken) (string, error) {
	claims := map[string]any{}
	if err := t.Claims(&claims); err != nil {
		return "", refusedToken("has claims that can't be read", err)
	}
	subject, ok := claims[i.config.Claim].(string)
	if !ok || subject == "" {
		return "", refusedToken("has no claim "+i.config.Claim+", by which subjects are registered here", nil)
	}
	// An address that the issuer has not verified may be anybody's (OpenID Connect Core
	// 1.0, section 5.7).
	if verified := claims["email_verified"]; i.config.Claim == "email" && verified != true && verified != "true" {
		return "", refusedToken("has an address that the issuer has not verified", nil)
	}
	return subject, nil
}

func refusedToken(why string, cause error) error {
	return &ledger.Error{Kind: ledger.KindUnauthenticated, Reason: ledger.ReasonUnauthenticated, Message: "the token of the OpenID Connect issuer " + why, Cause: cause}
}

func (i *issuer) unavailable(cause error) error {
	return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
		Message: "the issuer " + i.config.URL + " can't be asked for its keys now, so that its tokens can't be verified; try again, or use a bearer token of this server", Cause: cause}
}

// ready gives what verifies, after asking the issuer about itself where that was not done
// yet.
func (i *issuer) ready(ctx context.Context) (*oidc.IDTokenVerifier, error) {
	select {
	case i.turn <- struct{}{}:
		defer func() { <-i.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if i.verifier != nil {
		return i.verifier, nil
	}
	if i.failure != nil && i.now().Sub(i.failed) < issuerPause {
		return nil, i.unavailable(i.failure)
	}
	// What is learned serves all, so the end of this call does not end it.
	asking, cancel := context.WithTimeout(oidc.ClientContext(context.WithoutCancel(ctx), i.client), issuerTime)
	defer cancel()
	if i.verifier, i.failure = i.discover(asking); i.failure != nil {
		i.failed = i.now()
		i.log.Warn("the OpenID Connect issuer can't be used; its tokens are refused for now", "issuer", i.config.URL, "cause", i.failure)
		return nil, i.unavailable(i.failure)
	}
	return i.verifier, nil
}

func (i *issuer) discover(ctx context.Context) (*oidc.IDTokenVerifier, error) {
	provider, err := oidc.NewProvider(ctx, i.config.URL)
	if err != nil {
		return nil, err
	}
	var about struct {
		Keys       string   `json:"jwks_uri"`
		Algorithms []string `json:"id_token_signing_alg_values_supported"`
	}
	if err := provider.Claims(&about); err != nil {
		return nil, err
	}
	taken := slices.DeleteFunc(about.Algorithms, func(a string) bool { return !slices.Contains(algorithms, a) })
	if len(taken) == 0 {
		taken = []string{oidc.RS256} // which every issuer must have (Core 1.0, section 15.1)
	}
	keys := told{oidc.NewRemoteKeySet(ctx, about.Keys)}
	return oidc.NewVerifier(i.config.URL, keys, &oidc.Config{ClientID: i.config.Audience, SupportedSigningAlgs: taken, Now: i.now}), nil
}

// fetch is what went wrong while keys were fetched during one verification: the library
// tells it in words only.
type fetch struct{ err error }

type fetchKey struct{}

type told struct{ oidc.KeySet }

// VerifySignature of the set, that tells apart a bad signature and an issuer that did
// not answer.
func (k told) VerifySignature(ctx context.Context, token string) ([]byte, error) {
	payload, err := k.KeySet.VerifySignature(ctx, token)
	if f, ok := ctx.Value(fetchKey{}).(*fetch); ok && err != nil && strings.HasPrefix(err.Error(), "fetching keys") {
		f.err = err
	}
	return payload, err
}
