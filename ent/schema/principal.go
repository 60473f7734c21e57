package schema

import (
	"entgo.io/ent"
	"entgo.io/ent/schema/edge"
	"entgo.io/ent/schema/field"
	"entgo.io/ent/schema/index"
)

// Who may do what is kept as it came about: rows are added and never changed, so what
// somebody could do at any time can be read from them. What ends, ends by a row of its
// own.

// Principal is who calls: a person, a device or a program.
type Principal struct{ ent.Schema }

// Fields of Principal.
func (Principal) Fields() []ent.Field {
	return []ent.Field{
		field.String("name").Unique().Immutable(),
		field.String("description").Immutable(),
		field.Int64("create_time").Immutable(),
		field.String("made_by").Immutable(),
	}
}

// PrincipalStanding says from when on a principal was let in, or was not; the last one
// counts, and without one it is let in.
type PrincipalStanding struct{ ent.Schema }

// Fields of PrincipalStanding.
func (PrincipalStanding) Fields() []ent.Field {
	return []ent.Field{
		field.Int("principal_id").Immutable(),
		field.Bool("disabled").Immutable(),
		field.Int64("create_time").Immutable(),
		field.String("made_by").Immutable(),
	}
}

// Edges of PrincipalStanding.
func (PrincipalStanding) Edges() []ent.Edge { return []ent.Edge{ofPrincipal()} }

// Grant gives a principal a role: everywhere, at a site, or at the sites that a region
// has at the time of the call.
type Grant struct{ ent.Schema }

// Fields of Grant.
func (Grant) Fields() []ent.Field {
	return []ent.Field{
		field.Int("principal_id").Immutable(),
		field.Uint8("role").Immutable(),
		field.Int("site_id").Optional().Nillable().Immutable(),
		field.String("region").Immutable().Comment("empty for a site and for everywhere"),
		field.Int64("create_time").Immutable(),
		field.String("made_by").Immutable(),
	}
}

// Edges of Grant.
func (Grant) Edges() []ent.Edge {
	return []ent.Edge{
		ofPrincipal(),
		edge.To("site", Site.Type).Field("site_id").Unique().Immutable().Annotations(keep()),
	}
}

// Indexes of Grant.
func (Grant) Indexes() []ent.Index { return []ent.Index{index.Fields("principal_id")} }

// GrantWithdrawal ends a grant.
type GrantWithdrawal struct{ ent.Schema }

// Fields of GrantWithdrawal.
func (GrantWithdrawal) Fields() []ent.Field {
	return []ent.Field{
		field.Int("grant_id").Immutable(),
		field.Int64("create_time").Immutable(),
		field.String("made_by").Immutable(),
	}
}

// Edges of GrantWithdrawal.
func (GrantWithdrawal) Edges() []ent.Edge {
	return []ent.Edge{edge.To("grant", Grant.Type).Field("grant_id").Unique().Required().Immutable().Annotations(keep())}
}

// Indexes of GrantWithdrawal.
func (GrantWithdrawal) Indexes() []ent.Index { return []ent.Index{index.Fields("grant_id").Unique()} }

// Credential is what a principal shows to be believed. Of a bearer token only the
// digest of its secret part is kept.
type Credential struct{ ent.Schema }

// Fields of Credential.
func (Credential) Fields() []ent.Field {
	return []ent.Field{
		field.String("uid").Unique().Immutable().Comment("id by which people and the audit record speak of it"),
		field.Int("principal_id").Immutable(),
		field.Uint8("kind").Immutable(),
		field.String("subject").Immutable().Comment("name in a certificate, or issuer|subject; empty for a bearer token"),
		field.Bytes("digest").MaxLen(32).Immutable().Comment("SHA-256 of a bearer token's secret; empty for others"),
		field.Int64("create_time").Immutable(),
		field.String("made_by").Immutable(),
		field.Int64("expire_time").Immutable().Comment("0 for one that does not expire"),
	}
}

// Edges of Credential.
func (Credential) Edges() []ent.Edge { return []ent.Edge{ofPrincipal()} }

// Indexes of Credential.
func (Credential) Indexes() []ent.Index { return []ent.Index{index.Fields("kind", "subject")} }

// CredentialRevocation ends a credential.
type CredentialRevocation struct{ ent.Schema }

// Fields of CredentialRevocation.
func (CredentialRevocation) Fields() []ent.Field {
	return []ent.Field{
		field.Int("credential_id").Immutable(),
		field.Int64("create_time").Immutable(),
		field.String("made_by").Immutable(),
	}
}

// Edges of CredentialRevocation.
func (CredentialRevocation) Edges() []ent.Edge {
	return []ent.Edge{edge.To("credential", Credential.Type).Field("credential_id").Unique().Required().Immutable().Annotations(keep())}
}

// Indexes of CredentialRevocation.
func (CredentialRevocation) Indexes() []ent.Index {
	return []ent.Index{index.Fields("credential_id").Unique()}
}

// AuditEntry is an administrative act, or a call that was refused. Names are kept as
// they were said: who is refused may be nobody. It is not part of any site's chain.
type AuditEntry struct{ ent.Schema }

// Fields of AuditEntry.
func (AuditEntry) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable(),
		field.Int64("create_time").Immutable().Comment("of the first, where several alike share the row"),
		field.Int64("last_time").Immutable(),
		field.Int64("times").Immutable(),
		field.String("principal").Immutable(),
		field.String("credential").Immutable(),
		field.String("peer").Immutable(),
		field.String("act").Immutable(),
		field.String("object").Immutable(),
		field.Uint8("outcome").Immutable(),
		field.String("detail").Immutable(),
		field.String("request_id").Immutable(),
	}
}

// Indexes of AuditEntry.
func (AuditEntry) Indexes() []ent.Index { return []ent.Index{index.Fields("create_time")} }

func ofPrincipal() ent.Edge {
	return edge.To("principal", Principal.Type).Field("principal_id").Unique().Required().Immutable().Annotations(keep())
}
