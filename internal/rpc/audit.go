package rpc

import (
	"context"
	"errors"
	"net"
	"slices"
	"strings"
	"sync"

	"google.golang.org/grpc/peer"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
)

// AuditOutcome is what became of what a caller wanted.
type AuditOutcome uint8

// Outcomes.
const (
	// AuditDone and AuditFailed are of calls that say who may do what.
	AuditDone AuditOutcome = iota + 1
	AuditFailed
	// AuditDenied is what the principal may not do; AuditUnauthenticated a call of
	// which it is not known whose it was.
	AuditDenied
	AuditUnauthenticated
)

// AuditEvent is what the audit record is told of a call. It holds nothing that a caller
// shows to be believed.
type AuditEvent struct {
	Method string
	// Principal is nil for nobody known.
	Principal *access.Principal
	// Peer is the address that the call came from, without the port.
	Peer    string
	Outcome AuditOutcome
	// Site is that at which something was denied; empty for none in particular.
	Site string
	// Detail says what was denied, or why nobody is known.
	Detail    string
	RequestID string
}

// audited collects, during a call, what is to be told of it.
type audited struct {
	mu        sync.Mutex
	principal *access.Principal
	denied    []denial
}

// denial is something that was refused to the principal of a call. A batch may hold
// thousands of members that it may not; they are told once for each site.
type denial struct{ what, site string }

func (a *audited) note(what, site string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if d := (denial{what, site}); !slices.Contains(a.denied, d) {
		a.denied = append(a.denied, d)
	}
}

type auditedKey struct{}

// identified tells whose call it is.
func identified(ctx context.Context, p *access.Principal) {
	if a, ok := ctx.Value(auditedKey{}).(*audited); ok {
		a.mu.Lock()
		a.principal = p
		a.mu.Unlock()
	}
}

// audit tells of every refusal, of single members of a batch too, and of every call that
// says who may do what. It tells after the call; what takes it in must not wait.
func audit(tell func(context.Context, AuditEvent), action func(method string) access.Action) interceptor {
	return interceptor{"audit", func(ctx context.Context, c call, next func(context.Context) error) error {
		if tell == nil || strings.HasPrefix(c.method, healthService) {
			return next(ctx)
		}
		a := &audited{}
		err := next(access.WithRefusals(context.WithValue(ctx, auditedKey{}, a), a.note))
		a.mu.Lock()
		e := AuditEvent{Method: c.method, Principal: a.principal, Peer: peerHost(ctx), RequestID: requestID(ctx)}
		denied := a.denied
		a.mu.Unlock()
		for _, d := range denied {
			e.Outcome, e.Site, e.Detail = AuditDenied, d.site, d.what
			tell(ctx, e)
		}
		known := &ledger.Error{}
		switch errors.As(err, &known); {
		case known.Kind == ledger.KindUnauthenticated:
			e.Outcome, e.Detail = AuditUnauthenticated, known.Message
			tell(ctx, e)
		case len(denied) > 0:
		case known.Kind == ledger.KindDenied:
			// What the person that a record names may not do.
			e.Outcome, e.Detail = AuditDenied, known.Message
			tell(ctx, e)
		case strings.HasPrefix(c.method, ourServices) && action(c.method) == access.Administer:
			e.Outcome = AuditDone
			if err != nil {
				e.Outcome, e.Detail = AuditFailed, ledger.AsError(err).Message
			}
			tell(ctx, e)
		}
		return err
	}}
}

// peerHost is the address that a call came from, without the port, which tells nothing.
func peerHost(ctx context.Context) string {
	p, ok := peer.FromContext(ctx)
	if !ok || p.Addr == nil {
		return ""
	}
	host, _, err := net.SplitHostPort(p.Addr.String())
	if err != nil {
		return p.Addr.String()
	}
	return host
}
