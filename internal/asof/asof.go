package asof

import (
	"context"
	"sync"
	"time"
)

// Reading is what one caller accepts, and what the answer was read from. Its methods
// are safe for concurrent use.
type Reading struct {
	most time.Duration
	mu   sync.Mutex
	asOf time.Time
}

// Default leaves to the server how old a state may be.
const Default = time.Duration(-1)

// New makes the reading of a caller who accepts a state of the record that is at most
// so old: 0 for none but the present one, Default for what the server is set to.
func New(most time.Duration) *Reading { return &Reading{most: most} }

// Most is how old the state may be, where the server allows what limit says. A nil
// reading accepts the present state alone.
func (r *Reading) Most(limit time.Duration) time.Duration {
	switch {
	case r == nil:
		return 0
	case r.most == Default:
		return limit
	}
	return min(r.most, limit)
}

// Used notes that something was read from a state that has all that was committed up
// to a moment. Of several the oldest counts.
func (r *Reading) Used(asOf time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.asOf.IsZero() || asOf.Before(r.asOf) {
		r.asOf = asOf
	}
}

// AsOf is the moment up to which the answer has all that was committed; false when
// everything was read from the present state.
func (r *Reading) AsOf() (time.Time, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.asOf, !r.asOf.IsZero()
}

type key struct{}

// With gives a context with the reading.
func With(ctx context.Context, r *Reading) context.Context { return context.WithValue(ctx, key{}, r) }

// From gives the reading of the context; nil where there is none.
func From(ctx context.Context) *Reading {
	r, _ := ctx.Value(key{}).(*Reading)
	return r
}
