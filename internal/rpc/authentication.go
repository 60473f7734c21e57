package rpc

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"strings"
	"time"

	"google.golang.org/grpc/metadata"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
)

// Authenticate says who calls, from what came with the call: its headers, and the
// certificate of its connection. An error of KindUnauthenticated refuses the call;
// others are faults.
type Authenticate func(ctx context.Context) (*access.Principal, error)

// EverybodyIsLocal is for a server that only its own machine reaches: it asks nobody
// who they are.
func EverybodyIsLocal(context.Context) (*access.Principal, error) { return access.Local, nil }

// OneToken asks for one bearer token, and takes whoever shows it for the principal.
func OneToken(token string, p *access.Principal) Authenticate {
	// Digests have one length, so the comparison's time tells nothing, not even
	// how long the token is.
	want := sha256.Sum256([]byte(token))
	return func(ctx context.Context) (*access.Principal, error) {
		shown, ok := BearerToken(ctx)
		if !ok {
			return nil, Unauthenticated("this server asks for a token: send the header `authorization: Bearer TOKEN`")
		}
		got := sha256.Sum256([]byte(shown))
		if subtle.ConstantTimeCompare(got[:], want[:]) != 1 {
			return nil, Unauthenticated("the bearer token is not the one that this server expects")
		}
		return p, nil
	}
}

// authentication puts the principal into the context. Health checks are open: what
// probes a server has no business with its tokens.
func authentication(who Authenticate, every time.Duration) interceptor {
	return interceptor{"authentication", func(ctx context.Context, c call, next func(context.Context) error) error {
		if strings.HasPrefix(c.method, healthService) {
			return next(ctx)
		}
		p, err := who(ctx)
		if err != nil {
			return err
		}
		if p == nil {
			return Unauthenticated("the call has no principal")
		}
		identified(ctx, p)
		if c.stream() {
			return whileStanding(ctx, who, p, every, next)
		}
		return next(access.With(ctx, p))
	}}
}

// authorisation lets through what the API's definition of the method takes, if the
// principal may do that somewhere. Where, is asked by the method, which knows the site.
func authorisation(known func(method string) bool, action func(method string) access.Action) interceptor {
	return interceptor{"authorisation", func(ctx context.Context, c call, next func(context.Context) error) error {
		// Health, reflection, which says nothing of the record, and what is not there.
		if !strings.HasPrefix(c.method, ourServices) || !known(c.method) {
			return next(ctx)
		}
		if err := access.Allow(ctx, action(c.method)); err != nil {
			return err
		}
		return next(ctx)
	}}
}

// BearerToken gives the token of the call's authorization header; false for none, or
// for something else there.
func BearerToken(ctx context.Context) (string, bool) {
	headers := metadata.ValueFromIncomingContext(ctx, "authorization")
	if len(headers) != 1 {
		return "", false
	}
	scheme, token, found := strings.Cut(headers[0], " ")
	if !found || !strings.EqualFold(scheme, "Bearer") {
		return "", false
	}
	return strings.TrimSpace(token), true
}

// Unauthenticated is the error for a caller who did not say who it is, or not so that
// it can be believed.
func Unauthenticated(message string) error {
	return &ledger.Error{Kind: ledger.KindUnauthenticated, Reason: ledger.ReasonUnauthenticated, Message: message}
}
