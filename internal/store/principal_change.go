package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"jointledger/internal/ledger"
)

var principalNoun = noun{"principal", "principals", "principals", "name", ""}

func principalName(name string) string { return "principals/" + name }

// AddPrincipal takes in who may call, with the grants that are given at once. by is who
// does it, for the audit record. Errors: KindInvalid; KindExists; KindNotFound for a
// site of a grant.
func (s *Store) AddPrincipal(ctx context.Context, p Principal, by string) error {
	fields := ledger.CheckPrincipal(p.Name, p.Description)
	for _, g := range p.Grants {
		fields = append(fields, checkGrant(g)...)
	}
	if err := ledger.Invalid("principal", fields); err != nil {
		return err
	}
	return s.administer(ctx, AuditEntry{Principal: by, Act: "principal add", Object: principalName(p.Name), Detail: grantWords(p.Grants)}, func(t *tx) error {
		switch _, there, err := t.id(ctx, principalNoun, 0, p.Name); {
		case err != nil:
			return err
		case there:
			return &ledger.Error{Kind: ledger.KindExists, Reason: ledger.ReasonResourceExists, Resource: principalName(p.Name),
				Message: fmt.Sprintf("principal %q is already registered; `trackerd principal grant` gives it more roles", p.Name)}
		}
		row, err := t.ent().Principal.Create().SetName(p.Name).SetDescription(p.Description).SetCreateTime(micro(t.now)).SetMadeBy(by).Save(ctx)
		if err != nil {
			return err
		}
		return t.grant(ctx, row.ID, p.Grants, by)
	})
}

// AnyPrincipal says whether there is any.
func (s *Store) AnyPrincipal(ctx context.Context) (any bool, err error) {
	err = s.view(ctx, func(t *tx) error {
		return t.sql.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM principals)").Scan(&any)
	})
	return any, err
}

// GrantRoles gives a principal roles; those that it has already stay as they are.
// Errors: KindInvalid; KindNotFound for the principal or a site.
func (s *Store) GrantRoles(ctx context.Context, name string, grants []Grant, by string) error {
	var fields []ledger.FieldError
	for _, g := range grants {
		fields = append(fields, checkGrant(g)...)
	}
	if err := ledger.Invalid("grant", fields); err != nil {
		return err
	}
	return s.administer(ctx, AuditEntry{Principal: by, Act: "principal grant", Object: principalName(name), Detail: grantWords(grants)}, func(t *tx) error {
		id, err := t.needNamed(ctx, principalNoun, name)
		if err != nil {
			return err
		}
		return t.grant(ctx, id, grants, by)
	})
}

// WithdrawRoles ends grants. Errors: KindNotFound for the principal, for a site, and
// when a grant of just this role and reach does not stand.
func (s *Store) WithdrawRoles(ctx context.Context, name string, grants []Grant, by string) error {
	return s.administer(ctx, AuditEntry{Principal: by, Act: "principal withdraw", Object: principalName(name), Detail: grantWords(grants)}, func(t *tx) error {
		id, err := t.needNamed(ctx, principalNoun, name)
		if err != nil {
			return err
		}
		for _, g := range grants {
			standing, err := t.standingGrants(ctx, id, g)
			switch {
			case err != nil:
				return err
			case len(standing) == 0:
				return &ledger.Error{Kind: ledger.KindNotFound, Reason: ledger.ReasonUnknownResource, Resource: principalName(name),
					Message: fmt.Sprintf("%s has no grant of role %s %s; `trackerd principal list` shows those it has", name, g.RoleWord, g.reach())}
			}
			for _, grant := range standing {
				if err := t.ent().GrantWithdrawal.Create().SetGrantID(grant).SetCreateTime(micro(t.now)).SetMadeBy(by).Exec(ctx); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// SetPrincipalDisabled shuts a principal out, or lets it in again. Errors: KindNotFound.
func (s *Store) SetPrincipalDisabled(ctx context.Context, name string, disabled bool, by string) error {
	act := "principal enable"
	if disabled {
		act = "principal disable"
	}
	return s.administer(ctx, AuditEntry{Principal: by, Act: act, Object: principalName(name)}, func(t *tx) error {
		id, err := t.needNamed(ctx, principalNoun, name)
		if err != nil {
			return err
		}
		return t.ent().PrincipalStanding.Create().SetPrincipalID(id).SetDisabled(disabled).SetCreateTime(micro(t.now)).SetMadeBy(by).Exec(ctx)
	})
}

// AddCredential takes in what a principal will show. Errors: KindInvalid; KindNotFound
// for the principal; KindExists for a subject that stands for somebody already.
func (s *Store) AddCredential(ctx context.Context, c Credential, by string) error {
	if c.Kind != BearerToken {
		if err := ledger.Invalid("credential", ledger.CheckCredentialSubject(c.Subject)); err != nil {
			return err
		}
	}
	act := "token issue"
	detail := "credential " + c.ID
	if c.Kind != BearerToken {
		act, detail = "token accept", detail+": "+c.Kind.String()+" "+c.Subject
	}
	return s.administer(ctx, AuditEntry{Principal: by, Act: act, Object: principalName(c.Principal), Detail: detail}, func(t *tx) error {
		id, err := t.needNamed(ctx, principalNoun, c.Principal)
		if err != nil {
			return err
		}
		if err := t.subjectIsFree(ctx, c); err != nil {
			return err
		}
		row := t.ent().Credential.Create().SetUID(c.ID).SetPrincipalID(id).SetKind(uint8(c.Kind)).SetSubject(c.Subject).
			SetDigest(append([]byte{}, c.Digest...)).SetCreateTime(micro(t.now)).SetMadeBy(by).SetExpireTime(0)
		if !c.ExpireTime.IsZero() {
			row.SetExpireTime(micro(c.ExpireTime))
		}
		return row.Exec(ctx)
	})
}

// subjectIsFree refuses a subject by which somebody is known already: whoever shows it
// must be one principal.
func (t *tx) subjectIsFree(ctx context.Context, c Credential) error {
	if c.Kind == BearerToken {
		return nil
	}
	var taken error
	err := t.query(ctx, func(rows *sql.Rows) error {
		var id, principal string
		err := rows.Scan(&id, &principal)
		taken = &ledger.Error{Kind: ledger.KindExists, Reason: ledger.ReasonResourceExists, Resource: principalName(principal),
			Message: fmt.Sprintf("%s %q stands for principal %s already; revoke credential %s first", c.Kind, c.Subject, principal, id)}
		return err
	}, `SELECT c.uid, p.name FROM credentials c JOIN principals p ON p.id = c.principal_id LEFT JOIN credential_revocations r ON r.credential_id = c.id
WHERE c.kind = ? AND c.subject = ? AND r.id IS NULL AND (c.expire_time = 0 OR c.expire_time > ?)`, c.Kind, c.Subject, micro(t.now))
	if err != nil {
		return err
	}
	return taken
}

// RevokeCredential ends a credential, for good. To revoke one again changes nothing.
// Errors: KindNotFound.
func (s *Store) RevokeCredential(ctx context.Context, id, by string) error {
	return s.administer(ctx, AuditEntry{Principal: by, Act: "token revoke", Object: "credentials/" + id}, func(t *tx) error {
		var key int
		var revoked sql.NullInt64
		err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT c.id, r.id FROM credentials c LEFT JOIN credential_revocations r ON r.credential_id = c.id WHERE c.uid = ?"), askable(id)).Scan(&key, &revoked)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			return ledger.NotFound("credential", "credentials/"+id, "")
		case err != nil, revoked.Valid:
			return err
		}
		return t.ent().CredentialRevocation.Create().SetCredentialID(key).SetCreateTime(micro(t.now)).SetMadeBy(by).Exec(ctx)
	})
}

// administer runs an administrative act and keeps its entry of the audit record in the
// same transaction: one is not without the other. That somebody tried in vain is kept
// besides.
func (s *Store) administer(ctx context.Context, e AuditEntry, act func(*tx) error) error {
	e.Outcome = AuditDone
	err := s.writer.submit(&job{ctx: ctx, alone: true, change: func(t *tx) error {
		if err := act(t); err != nil {
			return err
		}
		e.Time = t.now
		return t.writeAudit(ctx, []AuditEntry{e})
	}})
	if known := (*ledger.Error)(nil); errors.As(err, &known) && known.Kind != ledger.KindUnavailable {
		e.Outcome, e.Detail, e.Time = AuditFailed, strings.TrimPrefix(e.Detail+"; "+known.Message, "; "), time.Now()
		s.Audit(e)
	}
	return err
}

func (t *tx) grant(ctx context.Context, principal int, grants []Grant, by string) error {
	for _, g := range grants {
		standing, err := t.standingGrants(ctx, principal, g)
		if err != nil {
			return err
		}
		if len(standing) > 0 {
			continue
		}
		row := t.ent().Grant.Create().SetPrincipalID(principal).SetRole(g.Role).SetRegion(g.Region).SetCreateTime(micro(t.now)).SetMadeBy(by)
		if g.Site != "" {
			site, err := t.needNamed(ctx, siteNoun, g.Site)
			if err != nil {
				return err
			}
			row.SetSiteID(site)
		}
		if err := row.Exec(ctx); err != nil {
			return err
		}
	}
	return nil
}

// standingGrants gives the keys of the grants of this role and reach that stand: more
// than one where two operators gave it at the same moment.
func (t *tx) standingGrants(ctx context.Context, principal int, g Grant) (ids []int, err error) {
	where, args := "g.site_id IS NULL", []any{principal, g.Role, askable(g.Region)}
	if g.Site != "" {
		site, err := t.needNamed(ctx, siteNoun, g.Site)
		if err != nil {
			return nil, err
		}
		where, args = "g.site_id = ?", append(args, site)
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var id int
		err := rows.Scan(&id)
		ids = append(ids, id)
		return err
	}, `SELECT g.id FROM grants g LEFT JOIN grant_withdrawals w ON w.grant_id = g.id
WHERE w.id IS NULL AND g.principal_id = ? AND g.role = ? AND g.region = ? AND `+where+" ORDER BY g.id", args...)
	return ids, err
}

func checkGrant(g Grant) []ledger.FieldError {
	switch {
	case g.Site != "" && g.Region != "":
		return []ledger.FieldError{{Field: "grant", Description: "is for a site or for a region, not for both"}}
	case g.Region != "":
		return ledger.CheckRegion(g.Region)
	}
	return nil
}

// reach says where a grant is for.
func (g Grant) reach() string {
	switch {
	case g.Site != "":
		return "at site " + g.Site
	case g.Region != "":
		return "in region " + g.Region
	}
	return "everywhere"
}

func grantWords(grants []Grant) string {
	words := make([]string, len(grants))
	for i, g := range grants {
		words[i] = g.RoleWord + " " + g.reach()
	}
	return strings.Join(words, ", ")
}
