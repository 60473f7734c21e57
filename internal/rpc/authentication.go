package rpc

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"strings"

	"google.golang.org/grpc/metadata"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
)

// authentication puts the principal into the context. Without a token to ask
// for, everybody who can reach the server is the local principal. Health checks
// are open: what probes a server has no business with its token.
func authentication(token string) interceptor {
	// Digests have one length, so the comparison's time tells nothing, not even
	// how long the token is.
	want := sha256.Sum256([]byte(token))
	return interceptor{"authentication", func(ctx context.Context, c call, next func(context.Context) error) error {
		switch {
		case token == "":
			return next(access.With(ctx, access.Local))
		case strings.HasPrefix(c.method, healthService):
			return next(ctx)
		}
		shown, ok := bearerToken(ctx)
		if !ok {
			return unauthenticated("this server asks for a token: send the header `authorization: Bearer TOKEN`")
		}
		got := sha256.Sum256([]byte(shown))
		if subtle.ConstantTimeCompare(got[:], want[:]) != 1 {
			return unauthenticated("the bearer token is not the one that this server expects")
		}
		return next(access.With(ctx, access.Bearer))
	}}
}

func bearerToken(ctx context.Context) (string, bool) {
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

func unauthenticated(message string) error {
	return &ledger.Error{Kind: ledger.KindUnauthenticated, Reason: ledger.ReasonUnauthenticated, Message: message}
}
