package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"jointledger/internal/visible"
)

// Principal is who calls, with all that was ever given to it.
type Principal struct {
	Name, Description string
	CreateTime        time.Time
	MadeBy            string
	// Disabled is one that nobody lets in, whatever it shows.
	Disabled    bool
	Grants      []Grant
	Credentials []Credential
}

// Grant is a role that was given to a principal: at a site, in a region, or everywhere
// when neither is named.
type Grant struct {
	// Role is the number of a role of package access, and RoleWord its word, which is
	// for the audit record and is not kept with the grant.
	Role         uint8
	RoleWord     string
	Site, Region string
	CreateTime   time.Time
	MadeBy       string
	// WithdrawTime is zero while the grant stands.
	WithdrawTime time.Time
	WithdrawnBy  string
}

// Stands says whether the grant was not withdrawn.
func (g Grant) Stands() bool { return g.WithdrawTime.IsZero() }

// CredentialKind is what a credential is.
type CredentialKind uint8

// Kinds of credential. Their numbers are kept and never used again for another.
const (
	// BearerToken is a random token that this system made (RFC 6750).
	BearerToken CredentialKind = iota + 1
	// ClientCertificate is a name in a certificate of TLS.
	ClientCertificate
	// IssuedSubject is a subject of an issuer of OpenID Connect.
	IssuedSubject
)

// String is the kind's word.
func (k CredentialKind) String() string {
	switch k {
	case BearerToken:
		return "bearer"
	case ClientCertificate:
		return "certificate"
	case IssuedSubject:
		return "oidc"
	}
	return fmt.Sprintf("kind %d", uint8(k))
}

// Credential is what a principal shows to be believed.
type Credential struct {
	// ID is how people and the audit record speak of it; it is no secret.
	ID        string
	Principal string
	Kind      CredentialKind
	// Subject is the name in the certificate, or issuer and subject; empty for a bearer
	// token.
	Subject string
	// Digest is the SHA-256 of a bearer token's secret. The secret is 256 random bits, so
	// there is nothing to guess, and no salt or slow function would add to that; it makes
	// the check of each call cheap.
	Digest     []byte
	CreateTime time.Time
	MadeBy     string
	// ExpireTime is zero for one that does not expire, RevokeTime for one that stands.
	ExpireTime, RevokeTime time.Time
	RevokedBy              string
}

// Access is who may do what, as it is now.
type Access struct {
	// Stamp changes with every change to what follows.
	Stamp string
	// Principals are all of them, in the order of their names.
	Principals []Principal
	// SitesOf are the codes of the sites of each region.
	SitesOf map[string][]string
}

// Access reads who may do what; nil when nothing has changed since the stamp.
func (s *Store) Access(ctx context.Context, stamp string) (a *Access, err error) {
	err = s.view(visible.Everything(ctx), func(t *tx) error {
		now, err := t.accessStamp(ctx)
		if err != nil || now == stamp {
			return err
		}
		a = &Access{Stamp: now, SitesOf: map[string][]string{}}
		if a.Principals, err = t.principals(ctx); err != nil {
			return err
		}
		return t.query(ctx, func(rows *sql.Rows) error {
			var code, region string
			err := rows.Scan(&code, &region)
			a.SitesOf[region] = append(a.SitesOf[region], code)
			return err
		}, "SELECT code, region FROM sites WHERE region <> '' ORDER BY code")
	})
	if err != nil {
		return nil, err
	}
	return a, nil
}

// accessTables hold who may do what. Their rows are added only, so their numbers tell
// whether anything was; the greatest key would not, since a smaller one may be committed
// after it.
var accessTables = []string{"principals", "principal_standings", "grants", "grant_withdrawals", "credentials", "credential_revocations"}

func (t *tx) accessStamp(ctx context.Context) (string, error) {
	query := "SELECT (SELECT COUNT(*) FROM sites), (SELECT CAST(COALESCE(SUM(version), 0) AS bigint) FROM sites)"
	counts := make([]int64, 2+len(accessTables))
	targets := []any{&counts[0], &counts[1]}
	for i, table := range accessTables {
		query += ", (SELECT COUNT(*) FROM " + table + ")"
		targets = append(targets, &counts[2+i])
	}
	err := t.sql.QueryRowContext(ctx, query).Scan(targets...)
	// After the promotion of a standby that lacked some of them, others may have taken
	// their places.
	return fmt.Sprint(t.lineage.breaks.Load(), counts), err
}

// principals reads all of them.
func (t *tx) principals(ctx context.Context) ([]Principal, error) {
	var all []Principal
	at := map[int]int{} // by key
	err := t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var made int64
		var p Principal
		err := rows.Scan(&id, &p.Name, &p.Description, &made, &p.MadeBy)
		p.CreateTime = fromMicro(made)
		at[id] = len(all)
		all = append(all, p)
		return err
	}, "SELECT id, name, description, create_time, made_by FROM principals ORDER BY name")
	if err != nil {
		return nil, err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var of int
		var disabled bool
		if err := rows.Scan(&of, &disabled); err != nil {
			return err
		}
		all[at[of]].Disabled = disabled // the last one counts
		return nil
	}, "SELECT principal_id, disabled FROM principal_standings ORDER BY id")
	if err != nil {
		return nil, err
	}
	if err := t.eachGrant(ctx, func(of int, g Grant) { all[at[of]].Grants = append(all[at[of]].Grants, g) }); err != nil {
		return nil, err
	}
	err = t.eachCredential(ctx, func(of int, c Credential) {
		p := &all[at[of]]
		c.Principal = p.Name
		p.Credentials = append(p.Credentials, c)
	})
	// The order of the names is the same on both engines.
	slices.SortFunc(all, func(a, b Principal) int { return strings.Compare(a.Name, b.Name) })
	return all, err
}

func (t *tx) eachGrant(ctx context.Context, give func(principal int, g Grant)) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var of int
		var g Grant
		var site, by sql.NullString
		var made int64
		var withdrawn sql.NullInt64
		err := rows.Scan(&of, &g.Role, &site, &g.Region, &made, &g.MadeBy, &withdrawn, &by)
		g.Site, g.CreateTime = site.String, fromMicro(made)
		if withdrawn.Valid {
			g.WithdrawTime, g.WithdrawnBy = fromMicro(withdrawn.Int64), by.String
		}
		if err == nil {
			give(of, g)
		}
		return err
	}, `SELECT g.principal_id, g.role, s.code, g.region, g.create_time, g.made_by, w.create_time, w.made_by
FROM grants g LEFT JOIN sites s ON s.id = g.site_id LEFT JOIN grant_withdrawals w ON w.grant_id = g.id ORDER BY g.id`)
}

func (t *tx) eachCredential(ctx context.Context, give func(principal int, c Credential)) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var of int
		var c Credential
		var made, expires int64
		var revoked sql.NullInt64
		var by sql.NullString
		err := rows.Scan(&of, &c.ID, &c.Kind, &c.Subject, &c.Digest, &made, &c.MadeBy, &expires, &revoked, &by)
		c.CreateTime = fromMicro(made)
		if expires != 0 {
			c.ExpireTime = fromMicro(expires)
		}
		if revoked.Valid {
			c.RevokeTime, c.RevokedBy = fromMicro(revoked.Int64), by.String
		}
		if err == nil {
			give(of, c)
		}
		return err
	}, `SELECT c.principal_id, c.uid, c.kind, c.subject, c.digest, c.create_time, c.made_by, c.expire_time, r.create_time, r.made_by
FROM credentials c LEFT JOIN credential_revocations r ON r.credential_id = c.id ORDER BY c.id`)
}
