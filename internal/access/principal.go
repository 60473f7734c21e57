package access

import (
	"context"
	"slices"

	"jointledger/internal/ledger"
	"jointledger/internal/visible"
)

// Grant is a role that was given for some sites, or for all.
type Grant struct {
	Role Role
	// Everywhere is for every site, those to come too.
	Everywhere bool
	// Sites are the codes of those it is for when it is not for everywhere. A grant
	// for a region stands here as the sites that the region has now.
	Sites []string
}

func (g Grant) reaches(site string) bool { return g.Everywhere || slices.Contains(g.Sites, site) }

// Principal is who calls: a person, a device or a program.
type Principal struct {
	// Name is for people and for the log.
	Name string
	// Grants are all that it may do.
	Grants []Grant
	// Credential is the id of what it showed, for the audit record; empty for none.
	Credential string
}

// Local calls a server that asks nobody who they are: a server for one machine.
var Local = &Principal{Name: "local", Grants: []Grant{{Role: Administrator, Everywhere: true}}}

// May says whether the principal may take the action anywhere at all.
func (p *Principal) May(a Action) bool {
	return slices.ContainsFunc(p.Grants, func(g Grant) bool {
		return RoleMay(g.Role, a) && (g.Everywhere || len(g.Sites) > 0)
	})
}

// MayAt says whether the principal may take the action at a site.
func (p *Principal) MayAt(a Action, site string) bool {
	return slices.ContainsFunc(p.Grants, func(g Grant) bool { return RoleMay(g.Role, a) && g.reaches(site) })
}

// Unlimited says whether the principal may do everything everywhere.
func (p *Principal) Unlimited() bool {
	return slices.ContainsFunc(p.Grants, func(g Grant) bool { return g.Role == Administrator && g.Everywhere })
}

// Visible gives the sites that the principal may read.
func (p *Principal) Visible() visible.Sites {
	if p == nil {
		return visible.Sites{Restricted: true}
	}
	return p.where(Read)
}

func (p *Principal) where(a Action) visible.Sites {
	s := visible.Sites{Restricted: true}
	for _, g := range p.Grants {
		switch {
		case !RoleMay(g.Role, a):
		case g.Everywhere:
			return visible.Sites{}
		default:
			s.Codes = append(s.Codes, g.Sites...)
		}
	}
	slices.Sort(s.Codes)
	s.Codes = slices.Compact(s.Codes)
	return s
}

// Narrow leaves visible only the sites at which the principal of the call may take the
// action: who may rank people at one site may not do so with what is read of another.
func Narrow(ctx context.Context, a Action) context.Context {
	p, ok := From(ctx)
	if !ok {
		return visible.With(ctx, visible.Sites{Restricted: true})
	}
	return visible.With(ctx, p.where(a))
}

type principalKey struct{}

// With puts the principal into the context of a call, and the sites that it may
// read.
func With(ctx context.Context, p *Principal) context.Context {
	return visible.With(context.WithValue(ctx, principalKey{}, p), p.Visible())
}

// From gives the principal of a call; false when nobody put one there.
func From(ctx context.Context) (*Principal, bool) {
	p, ok := ctx.Value(principalKey{}).(*Principal)
	return p, ok && p != nil
}

// Allow says whether the principal of the call may do this somewhere. Errors:
// KindUnauthenticated when there is no principal; KindDenied when no role that it has
// may.
func Allow(ctx context.Context, a Action) error {
	p, ok := From(ctx)
	if !ok {
		return noPrincipal()
	}
	if !p.May(a) {
		return denied(ctx, p, a, "")
	}
	return nil
}

// AllowAt says whether the principal of the call may do this at a site; an empty site
// stands for what belongs to none. Errors as Allow's.
func AllowAt(ctx context.Context, a Action, site string) error {
	if site == "" {
		return Allow(ctx, a)
	}
	p, ok := From(ctx)
	if !ok {
		return noPrincipal()
	}
	if !p.MayAt(a, site) {
		return denied(ctx, p, a, site)
	}
	return nil
}

// AllowEverywhere says whether the principal of the call may do this at every site,
// as what concerns all of them takes. Errors as Allow's.
func AllowEverywhere(ctx context.Context, a Action) error {
	p, ok := From(ctx)
	if !ok {
		return noPrincipal()
	}
	if p.where(a).Restricted {
		refused(ctx, a, "")
		return &ledger.Error{Kind: ledger.KindDenied, Reason: ledger.ReasonPermissionDenied,
			Message: p.Name + " may not " + actionWords[a] + " at every site, as this takes"}
	}
	return nil
}

func noPrincipal() error {
	return &ledger.Error{Kind: ledger.KindUnauthenticated, Reason: ledger.ReasonUnauthenticated, Message: "the call has no principal"}
}

// denied says what was refused. It does not say whether the site exists.
func denied(ctx context.Context, p *Principal, a Action, site string) error {
	refused(ctx, a, site)
	e := &ledger.Error{Kind: ledger.KindDenied, Reason: ledger.ReasonPermissionDenied, Message: p.Name + " may not " + actionWords[a]}
	if site != "" {
		e.Message += " at site " + site
	}
	return e
}
