package rpc

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
)

// standingEvery is how often it is asked anew, during a stream, who calls.
const standingEvery = 5 * time.Second

// whileStanding runs a stream for as long as its caller is the one that it began for: a
// watch may last for days, and neither what was revoked meanwhile nor what was given for
// other sites may go on with it. It is the caller's to call again; every stream of the
// API can be taken up where it ended.
func whileStanding(ctx context.Context, who Authenticate, p *access.Principal, every time.Duration, next func(context.Context) error) error {
	during, end := context.WithCancelCause(access.With(ctx, p))
	asked := make(chan struct{})
	go func() {
		defer close(asked)
		tick := time.NewTicker(every)
		defer tick.Stop()
		for {
			select {
			case <-during.Done():
				return
			case <-tick.C:
			}
			if err := stands(during, who, p); err != nil {
				end(err)
				return
			}
		}
	}()
	err := next(during)
	why := (*ledger.Error)(nil)
	if err != nil && ctx.Err() == nil && errors.As(context.Cause(during), &why) {
		err = why
	}
	end(nil)
	<-asked
	return err
}

// stands says why a stream of the principal's does not go on; nil when it may, also
// while nobody can say: whoever can't be asked has nothing to tell either.
func stands(ctx context.Context, who Authenticate, p *access.Principal) error {
	now, err := who(ctx)
	why := (*ledger.Error)(nil)
	switch {
	case errors.As(err, &why) && why.Kind == ledger.KindUnauthenticated:
		return why
	case err != nil || now == nil:
		return nil //nolint:nilerr // who can't be asked now has nothing to say against it
	case now.Name != p.Name || !slices.Equal(grantWords(now), grantWords(p)):
		return &ledger.Error{Kind: ledger.KindConflict, Reason: ledger.ReasonConflict,
			Message: "what " + p.Name + " may do has changed since this call began; call again"}
	}
	return nil
}

// grantWords are the grants of a principal, so that two can be compared.
func grantWords(p *access.Principal) []string {
	var words []string
	for _, g := range p.Grants {
		if g.Everywhere {
			words = append(words, g.Role.String())
		}
		for _, s := range g.Sites {
			words = append(words, fmt.Sprint(g.Role, " ", s))
		}
	}
	slices.Sort(words)
	return slices.Compact(words)
}
