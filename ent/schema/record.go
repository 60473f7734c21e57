package schema

import (
	"entgo.io/ent"
	"entgo.io/ent/dialect/entsql"
	"entgo.io/ent/schema"
	"entgo.io/ent/schema/edge"
	"entgo.io/ent/schema/field"
	"entgo.io/ent/schema/index"

	"jointledger/ent/column"
)

// given marks a key that the store gives; the database counts nothing up.
func given() schema.Annotation {
	no := false
	return entsql.Annotation{Incremental: &no}
}

// Record is what all kinds of record share. Its key is the site's key times
// 2^40 plus the sequence in the site's chain: a chain is one range of the
// primary key and needs no index of its own.
type Record struct{ ent.Schema }

// Fields of Record.
func (Record) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Bytes("uid").MaxLen(16).Unique().Immutable().Comment("the client's UUIDv7"),
		field.Uint8("kind").Immutable(),
		field.Int("site_id").Immutable(),
		field.Int("joint_id").Optional().Nillable().Immutable(),
		field.Int("lot_id").Optional().Nillable().Immutable(),
		field.Int("tool_id").Optional().Nillable().Immutable(),
		field.Int("person_id").Optional().Nillable().Immutable(),
		field.Int64("occur_time").Immutable(),
		field.Int("offset_minutes").Immutable(),
		field.Int("local_day").Immutable().Comment("days since 1970-01-01 of occur_time in the site's time zone"),
		field.Int64("receive_time").Immutable(),
		field.String("device").Immutable(),
		field.String("note").Immutable(),
		field.Uint8("offline").Default(0).Immutable().Annotations(entsql.DefaultExpr("0")).Comment("1 when it was kept without signal or handed in from a file before it came here"),
		field.Bytes("link").MaxLen(32).Immutable().Comment("SHA-256 over the previous link and the canonical bytes"),
	}
}

// Edges of Record.
func (Record) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("site", Site.Type).Field("site_id").Unique().Required().Immutable().Annotations(keep()),
		edge.To("joint", Joint.Type).Field("joint_id").Unique().Immutable().Annotations(keep()),
		edge.To("lot", Lot.Type).Field("lot_id").Unique().Immutable().Annotations(keep()),
		edge.To("tool", Tool.Type).Field("tool_id").Unique().Immutable().Annotations(keep()),
		edge.To("person", Person.Type).Field("person_id").Unique().Immutable().Annotations(keep()),
	}
}

// Indexes of Record.
func (Record) Indexes() []ent.Index {
	return []ent.Index{
		index.Fields("joint_id"),
		index.Fields("lot_id"),
		// A tool's newest calibration, its custody, its use: each kind a range in time.
		index.Fields("tool_id", "kind", "occur_time"),
	}
}

// Tightening is the content of a tightening; its key is the record's.
type Tightening struct{ ent.Schema }

// Fields of Tightening.
func (Tightening) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Int("specification_revision_id").Immutable(),
		field.Uint8("treatment").Immutable(),
		field.String("compound_batch").Immutable(),
		field.Float("torque_nm").Optional().Nillable().Immutable(),
		field.String("torque_as_typed").Immutable(),
		field.Int("fasteners").Immutable(),
		field.Uint8("pass").Immutable(),
		field.Uint8("method").Immutable(),
	}
}

// Edges of Tightening.
func (Tightening) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("specification_revision", SpecificationRevision.Type).Field("specification_revision_id").
			Unique().Required().Immutable().Annotations(keep()),
	}
}

// Incident is the content of an incident; its key is the record's.
type Incident struct{ ent.Schema }

// Fields of Incident.
func (Incident) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Int("specification_revision_id").Optional().Nillable().Immutable(),
		field.Uint8("kind").Immutable(),
		field.Int("fasteners").Immutable(),
		field.Uint8("treatment").Immutable(),
		field.Uint8("method").Immutable(),
		field.String("noticed").Immutable(),
		field.String("action").Immutable(),
	}
}

// Edges of Incident.
func (Incident) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("specification_revision", SpecificationRevision.Type).Field("specification_revision_id").
			Unique().Immutable().Annotations(keep()),
	}
}

// Calibration is the content of a calibration; its key is the record's.
type Calibration struct{ ent.Schema }

// Fields of Calibration.
func (Calibration) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.String("laboratory").Immutable(),
		field.String("certificate").Immutable(),
		field.JSON("points", []column.Point{}).Immutable(),
		field.Uint8("document").Default(0).Immutable(),
		field.Uint8("rule").Default(0).Immutable().Comment("decision rule asked for"),
		field.Uint8("stated_verdict").Default(0).Immutable(),
		field.Float("air_c").Optional().Nillable().Immutable(),
		field.Float("humidity_pct").Optional().Nillable().Immutable(),
		field.Float("device_uncertainty_pct").Default(0).Immutable(),
		field.JSON("verdict", &column.Verdict{}).Optional().Immutable().Comment("computed when it was taken in"),
	}
}

// Indexes of Calibration: a certificate is used once.
func (Calibration) Indexes() []ent.Index { return []ent.Index{index.Fields("certificate")} }

// LotMovement is the content of a lot movement; its key is the record's.
type LotMovement struct{ ent.Schema }

// Fields of LotMovement.
func (LotMovement) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Uint8("kind").Immutable(),
		field.Int64("quantity").Immutable(),
		field.String("reference").Immutable(),
		field.String("handled_by").Immutable(),
	}
}

// Chain is the head of a site's chain; its key is the site's.
type Chain struct{ ent.Schema }

// Fields of Chain.
func (Chain) Fields() []ent.Field {
	return []ent.Field{
		field.Int("id").Immutable().Annotations(given()),
		field.Int64("sequence"),
		field.Bytes("link").MaxLen(32),
	}
}

// Tally is a running sum of fasteners, kept by the transaction that writes the
// records: so the standard questions cost the same however many records there
// are. Everything in it can be counted again from the records.
type Tally struct{ ent.Schema }

// Fields of Tally. Key columns hold 0 where a record names nothing.
func (Tally) Fields() []ent.Field {
	return []ent.Field{
		field.Int("site_id").Immutable(),
		field.Int("day").Immutable().Comment("local day, as in Record"),
		field.Int("lot_id").Immutable(),
		field.Int("specification_revision_id").Immutable(),
		field.Uint8("treatment").Immutable(),
		field.Uint8("method").Immutable(),
		field.Uint8("outcome").Immutable().Comment("0 tightened in a first pass; else the incident kind"),
		field.Int64("fasteners"),
	}
}

// Indexes of Tally.
func (Tally) Indexes() []ent.Index {
	return []ent.Index{
		index.Fields("site_id", "day", "lot_id", "specification_revision_id", "treatment", "method", "outcome").
			Unique().StorageKey("tally_key"),
	}
}
