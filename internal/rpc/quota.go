package rpc

import (
	"context"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
)

// Quota bounds what one principal may ask of this server, so that a program gone wild
// leaves the others their part. Zero is no bound.
type Quota struct {
	// Rate is how many calls a second, on average; Burst how many of them at once.
	Rate  float64
	Burst int
	// Concurrent is how many calls may be under way at a time. Watches, which last as
	// long as their clients want, are counted apart, by the same bound.
	Concurrent int
}

// retryLater is a refusal that says when to come again, and whose allowance was used
// up.
type retryLater struct {
	refusal *ledger.Error
	subject string
	after   time.Duration
}

func (r *retryLater) Error() string { return r.refusal.Error() }

// Unwrap lets the refusal be read as the ledger.Error that it is.
func (r *retryLater) Unwrap() error { return r.refusal }

// quotas keeps count for each principal.
type quotas struct {
	Quota
	now func() time.Time

	mu  sync.Mutex
	use map[string]*use
}

// use is what one principal uses now.
type use struct {
	bucket         *rate.Limiter
	calls, watches int
}

// mostIdle is the number of principals from which on those who ask nothing are
// forgotten; they begin with a full allowance again, which they would have by then.
const mostIdle = 1024

// retryConcurrent is how long a principal with too many calls under way should wait.
// When one of them ends can't be known.
const retryConcurrent = time.Second

// quota stands after authentication: whom it does not name, such as a health check, it
// does not count.
func quota(q Quota) interceptor {
	qs := &quotas{Quota: q, now: time.Now, use: map[string]*use{}}
	return interceptor{"quota", func(ctx context.Context, c call, next func(context.Context) error) error {
		p, ok := access.From(ctx)
		if !ok {
			return next(ctx)
		}
		if who, ok := ctx.Value(whoKey{}).(*string); ok {
			*who = p.Name
		}
		done, err := qs.admit(p.Name, c.method == watchAlarms)
		if err != nil {
			return err
		}
		defer done()
		return next(ctx)
	}}
}

// admit counts a call in, or refuses it. What it gives counts it out again.
func (q *quotas) admit(principal string, watch bool) (done func(), err error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	now := q.now()
	u := q.of(principal, now)
	under := &u.calls
	if watch {
		under = &u.watches
	}
	if q.Concurrent > 0 && *under >= q.Concurrent {
		what := "calls"
		if watch {
			what = "watches"
		}
		return nil, exhausted(principal, retryConcurrent,
			fmt.Sprintf("%s has %d %s under way, and at most %d are allowed at a time", principal, *under, what, q.Concurrent))
	}
	if q.Rate > 0 {
		r := u.bucket.ReserveN(now, 1)
		if wait := r.DelayFrom(now); !r.OK() || wait > 0 {
			r.CancelAt(now)
			return nil, exhausted(principal, upTo(wait, time.Millisecond),
				fmt.Sprintf("%s asks more often than %s times a second, %d at once", principal, trimmed(q.Rate), q.burst()))
		}
	}
	*under++
	return func() {
		q.mu.Lock()
		*under--
		q.mu.Unlock()
	}, nil
}

// of gives a principal's use. Callers hold mu.
func (q *quotas) of(principal string, now time.Time) *use {
	u := q.use[principal]
	if u == nil {
		if len(q.use) >= mostIdle {
			q.forgetIdle(now)
		}
		u = &use{bucket: rate.NewLimiter(rate.Limit(q.Rate), q.burst())}
		q.use[principal] = u
	}
	return u
}

func (q *quotas) forgetIdle(now time.Time) {
	for name, u := range q.use {
		if u.calls == 0 && u.watches == 0 && u.bucket.TokensAt(now) >= float64(q.burst()) {
			delete(q.use, name)
		}
	}
}

// burst is at least one: a bucket that holds nothing lets nothing through.
func (q *quotas) burst() int { return max(1, q.Burst) }

// upTo rounds up, so that who waits as long as is said has waited long enough.
func upTo(d, unit time.Duration) time.Duration { return (d + unit - 1) / unit * unit } //nolint:durationcheck // a quotient times a unit

func trimmed(v float64) string {
	if v == math.Trunc(v) {
		return fmt.Sprintf("%.0f", v)
	}
	return strings.TrimRight(fmt.Sprintf("%.3f", v), "0")
}

func exhausted(principal string, after time.Duration, message string) error {
	return &retryLater{
		refusal: &ledger.Error{Kind: ledger.KindLimit, Reason: ledger.ReasonLimitExceeded, Message: message},
		subject: "principal:" + principal,
		after:   after,
	}
}
