// Package visible carries, with a call, the sites whose records its caller may read.
package visible

import (
	"context"
	"slices"
)

// Sites are those whose places and records a caller may read. The zero value is all
// of them: what runs inside the server for nobody in particular sees everything.
type Sites struct {
	// Restricted says that Codes are all that may be read.
	Restricted bool
	// Codes are the sites' codes.
	Codes []string
}

// Of tells whether a site may be read.
func (s Sites) Of(code string) bool { return !s.Restricted || slices.Contains(s.Codes, code) }

type key struct{}

// With puts the sites into the context of a call.
func With(ctx context.Context, s Sites) context.Context { return context.WithValue(ctx, key{}, s) }

// From gives the sites of a call; all of them where nothing was said.
func From(ctx context.Context) Sites {
	s, _ := ctx.Value(key{}).(Sites)
	return s
}

// Everything is for what must see all to be right, whoever asked: the rules of the
// trade judge by all that is known.
func Everything(ctx context.Context) context.Context { return With(ctx, Sites{}) }
