package identity

import (
	"context"
	"fmt"
	"sync"
	"time"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
)

const (
	// freshFor is for how long what was read of the register is not read again.
	freshFor = 2 * time.Second
	// Longest is after how long, at most, a revocation or a withdrawn grant counts, on
	// every server: what was read longer ago is not used, also while the database can't
	// be read.
	Longest = 5 * time.Second
	// readTime bounds one reading; after one that failed, the next is not tried before
	// readPause.
	readTime  = 2 * time.Second
	readPause = time.Second
	// lookAgain is how old what was read must be before it is read again for something
	// that is not in it: who was given a token just now may use it at once, and made-up
	// ones make few questions.
	lookAgain = 100 * time.Millisecond
)

// register remembers who may do what. All of it fits into memory, so a flood of made-up
// tokens asks nothing of the database.
type register struct {
	store *store.Store
	now   func() time.Time

	// reading is held by the one who reads anew. It guards failure, the last one, and when
	// that was.
	reading sync.Mutex
	failed  time.Time
	failure error

	mu    sync.RWMutex
	known *known
}

// known is the register as it was at a time.
type known struct {
	stamp string
	read  time.Time
	// byID are bearer tokens, bySubject certificates and subjects of issuers.
	byID      map[string]*credential
	bySubject map[subjectKey][]*credential
	// others says that there is a principal besides the first administrator.
	others bool
}

type subjectKey struct {
	kind    store.CredentialKind
	subject string
}

// credential is what may be shown, with the principal that it stands for.
type credential struct {
	store.Credential
	principal *access.Principal
	disabled  bool
}

// current gives the register, no older than Longest. Errors: the store's; of the context.
func (r *register) current(ctx context.Context) (*known, error) {
	k := r.latest()
	if k != nil && r.now().Sub(k.read) < freshFor {
		return k, nil
	}
	// One reads; the others use what there is, while it may be used.
	if k != nil && r.now().Sub(k.read) < Longest-time.Second {
		if !r.reading.TryLock() {
			return k, nil
		}
	} else {
		r.reading.Lock()
	}
	defer r.reading.Unlock()
	if k = r.latest(); k != nil && r.now().Sub(k.read) < freshFor {
		return k, nil // somebody has read it meanwhile
	}
	if r.failure == nil || r.now().Sub(r.failed) >= readPause {
		var newer *known
		if newer, r.failure = r.read(ctx, k); r.failure == nil {
			return newer, nil
		}
		r.failed = r.now()
	}
	if k != nil && r.now().Sub(k.read) < Longest {
		return k, nil
	}
	return nil, r.failure
}

// look gives what find finds in the register, read again where it is not in there yet.
func (r *register) look(ctx context.Context, find func(*known) (*credential, error)) (*credential, error) {
	k, err := r.current(ctx)
	if err != nil {
		return nil, err
	}
	c, err := find(k)
	if c != nil || err != nil || r.now().Sub(k.read) < lookAgain || !r.reading.TryLock() {
		return c, err
	}
	defer r.reading.Unlock()
	if newer := r.latest(); newer.stamp != k.stamp {
		return find(newer)
	}
	newer, err := r.read(ctx, k)
	if err != nil || newer.stamp == k.stamp {
		return nil, nil // what is known is young enough to say that it is not there
	}
	return find(newer)
}

func (r *register) latest() *known {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.known
}

// read reads what has changed since before.
func (r *register) read(ctx context.Context, before *known) (*known, error) {
	// The caller's end must not keep the others from being answered.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), readTime)
	defer cancel()
	stamp, at := "", r.now()
	if before != nil {
		stamp = before.stamp
	}
	a, err := r.store.Access(ctx, stamp)
	if err != nil {
		if ctx.Err() != nil {
			err = &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
				Message: "who may do what can't be read now: the database does not answer; try again", Cause: err}
		}
		return nil, err
	}
	var k *known
	if a == nil {
		same := *before
		k = &same
	} else {
		k = knownOf(a)
	}
	k.read = at
	r.mu.Lock()
	r.known = k
	r.mu.Unlock()
	return k, nil
}

func knownOf(a *store.Access) *known {
	k := &known{stamp: a.Stamp, byID: map[string]*credential{}, bySubject: map[subjectKey][]*credential{}}
	for _, p := range a.Principals {
		if p.Name != FirstAdministrator {
			k.others = true
		}
		grants := grantsOf(p, a.SitesOf)
		for _, c := range p.Credentials {
			one := &credential{c, &access.Principal{Name: p.Name, Grants: grants, Credential: c.ID}, p.Disabled}
			if c.Kind == store.BearerToken {
				k.byID[c.ID] = one
				continue
			}
			key := subjectKey{c.Kind, c.Subject}
			k.bySubject[key] = append(k.bySubject[key], one)
		}
	}
	return k
}

// grantsOf gives the grants that stand, with the sites that their regions have now.
func grantsOf(p store.Principal, sitesOf map[string][]string) []access.Grant {
	var grants []access.Grant
	for _, g := range p.Grants {
		if !g.Stands() {
			continue
		}
		one := access.Grant{Role: access.Role(g.Role)}
		switch {
		case g.Site != "":
			one.Sites = []string{g.Site}
		case g.Region != "":
			one.Sites = sitesOf[g.Region]
		default:
			one.Everywhere = true
		}
		grants = append(grants, one)
	}
	return grants
}

// subject gives the credential by which a subject is known. One that stands goes before
// those that were revoked or have expired; when two stand, for two principals, it is not
// known whose call it is.
func (k *known) subject(kind store.CredentialKind, subject string, now time.Time) (found *credential, err error) {
	for _, c := range k.bySubject[subjectKey{kind, subject}] {
		switch {
		case c.refusal(now) != nil:
			if found == nil {
				found = c
			}
		case found == nil, found.refusal(now) != nil:
			found = c
		case found.principal.Name != c.principal.Name:
			return nil, rpc.Unauthenticated(fmt.Sprintf("the %s %q stands for more than one principal; the administrator must revoke one of them", kind, subject))
		}
	}
	return found, nil
}

// refusal says why a credential is of no use any more; nil for one that stands.
func (c *credential) refusal(now time.Time) error {
	what := map[store.CredentialKind]string{store.BearerToken: "the bearer token", store.ClientCertificate: "the client certificate's name", store.IssuedSubject: "the token's subject"}[c.Kind]
	switch {
	case !c.RevokeTime.IsZero():
		return fmt.Errorf("%s (credential %s) was revoked on %s; ask the administrator for a new one", what, c.ID, c.RevokeTime.Format(time.DateOnly))
	case !c.ExpireTime.IsZero() && !now.Before(c.ExpireTime):
		return fmt.Errorf("%s (credential %s) expired on %s; ask the administrator for a new one", what, c.ID, c.ExpireTime.Format(time.DateOnly))
	case c.disabled:
		return fmt.Errorf("the principal %s is disabled; ask the administrator", c.principal.Name)
	}
	return nil
}
