package identity

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"log/slog"
	"strings"
	"time"

	"google.golang.org/grpc/metadata"

	"jointledger/internal/access"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
)

// FirstAdministrator is the name of the principal that the first start makes.
const FirstAdministrator = "administrator"

// Config says how callers may say who they are.
type Config struct {
	// Open lets in whoever shows nothing, as access.Local, as long as no principal is
	// registered besides the first administrator. It is for a server that only its own
	// machine reaches.
	Open bool
	// Token is a bearer token that stands for an administrator, without being
	// registered; empty for none. With one, a server is never open.
	Token string
	// Issuer is that of OpenID Connect whose tokens are taken; its zero value for none.
	Issuer Issuer
	// Now is the clock; time.Now when nil.
	Now func() time.Time
	// Logger takes what is wrong with the issuer; slog.Default when nil.
	Logger *slog.Logger
}

// Identity says which principal a call is of.
type Identity struct {
	open     bool
	token    [sha256.Size]byte
	hasToken bool
	register *register
	issuer   *issuer
	store    *store.Store
	now      func() time.Time
}

// New makes one over a store. An error says what is wrong with the configuration of the
// issuer; the issuer itself is not asked for anything yet.
func New(s *store.Store, c Config) (*Identity, error) {
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Logger == nil {
		c.Logger = slog.Default()
	}
	i := &Identity{open: c.Open && c.Token == "", hasToken: c.Token != "", register: &register{store: s, now: c.Now}, store: s, now: c.Now}
	if i.hasToken {
		i.token = sha256.Sum256([]byte(c.Token))
	}
	if c.Issuer != (Issuer{}) {
		var err error
		if i.issuer, err = newIssuer(c.Issuer, c.Now, c.Logger); err != nil {
			return nil, err
		}
	}
	return i, nil
}

// bearer is who shows the token of the server's file.
var bearer = &access.Principal{Name: "bearer", Grants: []access.Grant{{Role: access.Administrator, Everywhere: true}}, Credential: "token-file"}

// Authenticate says whose a call is. What its headers say goes before the certificate of
// its connection; whoever shows something that is not taken is refused, also where
// whoever shows nothing is let in. Errors: KindUnauthenticated; KindUnavailable when the
// database, or for one of its tokens the issuer, does not answer.
func (i *Identity) Authenticate(ctx context.Context) (*access.Principal, error) {
	if len(metadata.ValueFromIncomingContext(ctx, "authorization")) > 0 {
		token, ok := rpc.BearerToken(ctx)
		if !ok {
			return nil, rpc.Unauthenticated("the header `authorization` is not understood: expected it once, as `Bearer TOKEN`")
		}
		return i.byToken(ctx, token)
	}
	if leaf := verifiedLeaf(ctx); leaf != nil {
		return i.byCertificate(ctx, leaf)
	}
	if i.open {
		k, err := i.register.current(ctx)
		if err != nil {
			return nil, err
		}
		if !k.others {
			return access.Local, nil
		}
	}
	return nil, rpc.Unauthenticated("this server asks for a token: send the header `authorization: Bearer TOKEN`")
}

// byToken says whose a bearer token is.
func (i *Identity) byToken(ctx context.Context, token string) (*access.Principal, error) {
	shown := sha256.Sum256([]byte(token))
	switch {
	// Digests have one length, so the comparison's time tells nothing.
	case i.hasToken && subtle.ConstantTimeCompare(shown[:], i.token[:]) == 1:
		return bearer, nil
	case isOurs(token):
		return i.byOwnToken(ctx, token)
	case strings.Count(token, ".") == 2: // three parts: a JSON Web Token (RFC 7519)
		return i.byIssuedToken(ctx, token)
	}
	return nil, unknownToken()
}

// unknownToken tells nothing of how near the token came.
func unknownToken() error {
	return rpc.Unauthenticated("the bearer token is not one that this server knows; is it whole, and of this server?")
}

func (i *Identity) byOwnToken(ctx context.Context, token string) (*access.Principal, error) {
	id, secret, ok := parseToken(token)
	if !ok {
		return nil, unknownToken()
	}
	c, err := i.register.look(ctx, func(k *known) (*credential, error) { return k.byID[id], nil })
	if err != nil {
		return nil, err
	}
	shown := sha256.Sum256([]byte(secret))
	if c == nil || subtle.ConstantTimeCompare(shown[:], c.Digest) != 1 {
		return nil, unknownToken()
	}
	return i.standing(c)
}

// standing gives the principal of a credential that was shown, if it still counts.
func (i *Identity) standing(c *credential) (*access.Principal, error) {
	if err := c.refusal(i.now()); err != nil {
		return nil, rpc.Unauthenticated(err.Error())
	}
	return c.principal, nil
}

func (i *Identity) byIssuedToken(ctx context.Context, token string) (*access.Principal, error) {
	if i.issuer == nil {
		return nil, rpc.Unauthenticated("this server takes no tokens of an OpenID Connect issuer")
	}
	subject, err := i.issuer.subject(ctx, token)
	if err != nil {
		return nil, err
	}
	c, err := i.register.look(ctx, func(k *known) (*credential, error) {
		return k.subject(store.IssuedSubject, Subject(i.issuer.config.URL, subject), i.now())
	})
	switch {
	case err != nil:
		return nil, err
	case c == nil:
		return nil, rpc.Unauthenticated("the token is sound, but its subject is registered for no principal here; ask the administrator")
	}
	return i.standing(c)
}

// Audit keeps what the server tells of calls in the audit record.
func (i *Identity) Audit(_ context.Context, e rpc.AuditEvent) {
	entry := store.AuditEntry{Time: i.now(), Peer: e.Peer, Act: e.Method, Outcome: auditOutcomes[e.Outcome], Detail: e.Detail, RequestID: e.RequestID}
	if e.Principal != nil {
		entry.Principal, entry.Credential = e.Principal.Name, e.Principal.Credential
	}
	if e.Site != "" {
		entry.Object = "sites/" + e.Site
	}
	i.store.Audit(entry)
}

var auditOutcomes = map[rpc.AuditOutcome]store.AuditOutcome{
	rpc.AuditDone: store.AuditDone, rpc.AuditFailed: store.AuditFailed,
	rpc.AuditDenied: store.AuditDenied, rpc.AuditUnauthenticated: store.AuditUnauthenticated,
}
