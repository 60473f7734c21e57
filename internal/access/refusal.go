package access

import "context"

type refusalsKey struct{}

// WithRefusals has note told of each refusal that Allow, AllowAt and AllowEverywhere
// decide in a call: of single members of a batch too, which the call's status does not
// tell. The site is empty for what belongs to none. note may be called at the same time
// from several goroutines, and for the same member again.
func WithRefusals(ctx context.Context, note func(a Action, site string)) context.Context {
	return context.WithValue(ctx, refusalsKey{}, note)
}

func refused(ctx context.Context, a Action, site string) {
	if note, ok := ctx.Value(refusalsKey{}).(func(Action, string)); ok {
		note(a, site)
	}
}
