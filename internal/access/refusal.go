package access

import "context"

type refusalsKey struct{}

// WithRefusals has note told of each refusal in a call that Allow, AllowAt,
// AllowEverywhere and Refused know of: of single members of a batch too, which the call's
// status does not tell. The first text says what was refused, the site is empty for what
// belongs to none. note may be called at the same time from several goroutines, and for
// the same member again.
func WithRefusals(ctx context.Context, note func(what, site string)) context.Context {
	return context.WithValue(ctx, refusalsKey{}, note)
}

// Refused notes what was refused for another reason than what the principal of the call
// may do: a person whom a record names has no role for it.
func Refused(ctx context.Context, what string) { noted(ctx, what, "") }

func refused(ctx context.Context, a Action, site string) { noted(ctx, "may not "+actionWords[a], site) }

func noted(ctx context.Context, what, site string) {
	if note, ok := ctx.Value(refusalsKey{}).(func(string, string)); ok {
		note(what, site)
	}
}
