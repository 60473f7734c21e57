package rpc_test

import (
	"context"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
)

// A stream ends when its caller's credential is revoked, or when what it may do
// changes; it goes on when nothing changes, and while nobody can say.
func TestAStreamEndsWithWhatItsCallerMay(t *testing.T) {
	at := func(sites ...string) *access.Principal {
		return &access.Principal{Name: "nd1", Grants: []access.Grant{{Role: access.Technician, Sites: sites}}}
	}
	type answer struct {
		p   *access.Principal
		err error
	}
	away := &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable, Message: "away"}
	for name, c := range map[string]struct {
		later answer
		code  codes.Code
		words string
	}{
		"revoked":      {answer{err: rpc.Unauthenticated("the bearer token was revoked")}, codes.Unauthenticated, "was revoked"},
		"another site": {answer{p: at("ASH", "BAY")}, codes.Aborted, "what nd1 may do has changed"},
		"one less":     {answer{p: at()}, codes.Aborted, "what nd1 may do has changed"},
		"the same":     {answer{p: at("ASH")}, codes.OK, ""},
		"not known":    {answer{err: away}, codes.OK, ""},
	} {
		t.Run(name, func(t *testing.T) {
			var now atomic.Pointer[answer]
			var asked atomic.Int64
			now.Store(&answer{p: at("ASH")})
			who := func(context.Context) (*access.Principal, error) {
				asked.Add(1)
				a := now.Load()
				return a.p, a.err
			}
			f := serveConfig(t, rpc.Config{Authenticate: who, AskAgain: time.Millisecond}, nil, func(ctx context.Context) error {
				now.Store(&c.later)
				for since := asked.Load(); asked.Load() < since+10; { // for as long as it takes to be asked again
					select {
					case <-ctx.Done():
						return ctx.Err()
					case <-time.After(time.Millisecond):
					}
				}
				return nil
			})
			err := f.upload(t.Context())
			if c.code == codes.OK {
				// It ended by itself; the client was given nothing to receive.
				if code := status.Code(err); code == codes.Unauthenticated || code == codes.Aborted || strings.Contains(render(err), "changed") {
					t.Errorf("%s", render(err))
				}
				return
			}
			if status.Code(err) != c.code || !strings.Contains(render(err), c.words) {
				t.Errorf("%s; expected %s, %q", render(err), c.code, c.words)
			}
		})
	}
}
