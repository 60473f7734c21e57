package schema

import (
	"entgo.io/ent"
	"entgo.io/ent/schema/edge"
	"entgo.io/ent/schema/field"
	"entgo.io/ent/schema/index"
)

// Sealing is the content of a sealing; its key is the record's.
type Sealing struct{ ent.Schema }

// Fields of Sealing.
func (Sealing) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Int("specification_revision_id").Immutable(),
		field.String("sealant").Immutable(),
		field.String("batch").Immutable(),
		field.Float("width_mm").Immutable(),
		field.String("solvent").Immutable(),
		field.Int64("clean_time").Optional().Nillable().Immutable(),
		field.Float("air_c").Optional().Nillable().Immutable(),
		field.Float("surface_c").Optional().Nillable().Immutable(),
		field.Float("humidity_pct").Optional().Nillable().Immutable(),
		field.Uint8("splice").Immutable(),
		field.Bool("flange_straight").Optional().Nillable().Immutable(),
	}
}

// Edges of Sealing.
func (Sealing) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("specification_revision", SpecificationRevision.Type).Field("specification_revision_id").
			Unique().Required().Immutable().Annotations(keep()),
	}
}

// Inspection is the content of an inspection; its key is the record's.
type Inspection struct{ ent.Schema }

// Fields of Inspection.
func (Inspection) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Uint8("kind").Immutable(),
		field.Int("sample").Immutable(),
		field.String("plan").Immutable(),
		field.JSON("readings_nm", []float64{}).Immutable(),
		field.Uint8("result").Immutable(),
	}
}

// Custody is the content of a change of custody; its key is the record's.
type Custody struct{ ent.Schema }

// Fields of Custody.
func (Custody) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Uint8("kind").Immutable(),
		field.Int("holder_id").Optional().Nillable().Immutable(),
		field.Int("override_id").Optional().Nillable().Immutable().Comment("person who let an unfit tool be issued"),
		field.String("override_reason").Default("").Immutable(),
	}
}

// Edges of Custody.
func (Custody) Edges() []ent.Edge {
	return []ent.Edge{edge.To("holder", Person.Type).Field("holder_id").Unique().Immutable().Annotations(keep())}
}

// ToolCheck is the content of an inspection, proof test or check before use of a
// tool; its key is the record's.
type ToolCheck struct{ ent.Schema }

// Fields of ToolCheck.
func (ToolCheck) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Uint8("action").Immutable(),
		field.Uint8("result").Immutable(),
		field.String("certificate").Immutable(),
	}
}

// Hold is the content of a hold or a release; its key is the record's. What is
// held stands here once more, or here alone for a cell: few records are holds,
// and those on a lot are wanted with every use of it.
type Hold struct{ ent.Schema }

// Fields of Hold.
func (Hold) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Uint8("action").Immutable(),
		field.Int("cell_id").Optional().Nillable().Immutable(),
		field.Int("joint_id").Optional().Nillable().Immutable(),
		field.Int("lot_id").Optional().Nillable().Immutable(),
		field.Int("tool_id").Optional().Nillable().Immutable(),
		field.String("reason").Immutable(),
		field.String("rule").Immutable(),
		field.Int64("cause_id").Optional().Nillable().Immutable().Comment("record on which the finding was made"),
		field.Int64("released_hold_id").Optional().Nillable().Immutable().Comment("hold that this releases; at most one release each"),
		field.Uint8("decision").Immutable(),
	}
}

// Edges of Hold.
func (Hold) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("cell", Cell.Type).Field("cell_id").Unique().Immutable().Annotations(keep()),
		edge.To("joint", Joint.Type).Field("joint_id").Unique().Immutable().Annotations(keep()),
		edge.To("lot", Lot.Type).Field("lot_id").Unique().Immutable().Annotations(keep()),
		edge.To("tool", Tool.Type).Field("tool_id").Unique().Immutable().Annotations(keep()),
		edge.To("cause", Record.Type).Field("cause_id").Unique().Immutable().Annotations(keep()),
		edge.To("released_hold", Record.Type).Field("released_hold_id").Unique().Immutable().Annotations(keep()),
	}
}

// Indexes of Hold.
func (Hold) Indexes() []ent.Index {
	return []ent.Index{
		index.Fields("cell_id"), index.Fields("joint_id"), index.Fields("lot_id"), index.Fields("tool_id"),
		// At most one release each; and every figure asks whether a hold is open. An
		// edge's column gets no index from the field's Unique.
		index.Fields("released_hold_id").Unique(),
	}
}

// Disposition is the content of a disposition; its key is the record's.
type Disposition struct{ ent.Schema }

// Fields of Disposition.
func (Disposition) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Int64("incident_id").Immutable(),
		field.Uint8("decision").Immutable(),
		field.String("reason").Immutable(),
	}
}

// Edges of Disposition.
func (Disposition) Edges() []ent.Edge {
	return []ent.Edge{edge.To("incident", Record.Type).Field("incident_id").Unique().Required().Immutable().Annotations(keep())}
}

// Indexes of Disposition.
func (Disposition) Indexes() []ent.Index { return []ent.Index{index.Fields("incident_id")} }

// SignOff is the content of a sign-off; its key is the record's. A joint stands
// in the record; a cell or tower stands here.
type SignOff struct{ ent.Schema }

// Fields of SignOff.
func (SignOff) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Int("tower_id").Optional().Nillable().Immutable(),
		field.Int("cell_id").Optional().Nillable().Immutable(),
		field.Uint8("point").Immutable(),
		field.String("title").Immutable(),
	}
}

// Edges of SignOff.
func (SignOff) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("tower", Tower.Type).Field("tower_id").Unique().Immutable().Annotations(keep()),
		edge.To("cell", Cell.Type).Field("cell_id").Unique().Immutable().Annotations(keep()),
	}
}

// Indexes of SignOff.
func (SignOff) Indexes() []ent.Index {
	return []ent.Index{index.Fields("cell_id"), index.Fields("tower_id")}
}

// Correction is the content of a correction; its key is the record's. A record
// is corrected at most once: its replacement may be corrected in turn.
type Correction struct{ ent.Schema }

// Fields of Correction.
func (Correction) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Int64("corrected_id").Immutable(),
		field.Int64("replacement_id").Optional().Nillable().Immutable(),
		field.String("reason").Immutable(),
	}
}

// Edges of Correction.
func (Correction) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("corrected", Record.Type).Field("corrected_id").Unique().Required().Immutable().Annotations(keep()),
		edge.To("replacement", Record.Type).Field("replacement_id").Unique().Immutable().Annotations(keep()),
	}
}

// Indexes of Correction: at most one correction each, and every figure asks
// whether a record was corrected. An edge's column gets no index from the
// field's Unique.
func (Correction) Indexes() []ent.Index {
	return []ent.Index{index.Fields("corrected_id").Unique(), index.Fields("replacement_id").Unique()}
}

// Finding is a rule of the trade that a record breaks, as found when the record
// was taken in.
type Finding struct{ ent.Schema }

// Fields of Finding.
func (Finding) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("record_id").Immutable(),
		field.String("rule").Immutable(),
		field.Uint8("severity").Immutable(),
		field.String("message").Immutable(),
		field.Float("figure").Optional().Nillable().Immutable(),
		field.Float("limit_value").Optional().Nillable().Immutable(),
		field.String("unit").Immutable(),
		field.String("source").Immutable(),
	}
}

// Edges of Finding.
func (Finding) Edges() []ent.Edge {
	return []ent.Edge{edge.To("record", Record.Type).Field("record_id").Unique().Required().Immutable().Annotations(keep())}
}

// Indexes of Finding.
func (Finding) Indexes() []ent.Index { return []ent.Index{index.Fields("record_id")} }

// ToolUse is a running sum of the fasteners tightened with a tool, by hour of
// occurrence: cycles are counted from it. It can be counted again from the
// records.
type ToolUse struct{ ent.Schema }

// Fields of ToolUse.
func (ToolUse) Fields() []ent.Field {
	return []ent.Field{
		field.Int("tool_id").Immutable(),
		field.Int64("hour").Immutable().Comment("hours since 1970-01-01 UTC"),
		field.Int64("fasteners"),
		field.Int64("last_time").Comment("when the last of them was tightened"),
	}
}

// Indexes of ToolUse.
func (ToolUse) Indexes() []ent.Index {
	return []ent.Index{index.Fields("tool_id", "hour").Unique().StorageKey("tool_use_key")}
}

// LotSum is a running sum of what came, went and was used of a lot at a site. It
// can be counted again from the records.
type LotSum struct{ ent.Schema }

// Fields of LotSum.
func (LotSum) Fields() []ent.Field {
	return []ent.Field{
		field.Int("lot_id").Immutable(),
		field.Int("site_id").Immutable(),
		field.Int64("received"),
		field.Int64("removed"),
		field.Int64("used"),
		field.Int64("on_hand"),
		field.Int64("count_time").Comment("when stock was last counted; what happened before it no longer moves on_hand; 0 for never"),
	}
}

// Indexes of LotSum.
func (LotSum) Indexes() []ent.Index {
	return []ent.Index{index.Fields("lot_id", "site_id").Unique().StorageKey("lot_sum_key")}
}

// Blob is the content of attachments, kept once under its SHA-256, in parts.
type Blob struct{ ent.Schema }

// Fields of Blob.
func (Blob) Fields() []ent.Field {
	return []ent.Field{
		field.Bytes("sha256").MaxLen(32).Immutable(),
		field.Int("part").Immutable(),
		field.Bytes("content").Immutable(),
	}
}

// Indexes of Blob.
func (Blob) Indexes() []ent.Index {
	return []ent.Index{index.Fields("sha256", "part").Unique().StorageKey("blob_key")}
}

// Attachment says that a content belongs to a record.
type Attachment struct{ ent.Schema }

// Fields of Attachment.
func (Attachment) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("record_id").Immutable(),
		field.Bytes("sha256").MaxLen(32).Immutable(),
		field.String("file_name").Immutable(),
		field.String("media_type").Immutable(),
		field.Int64("size").Immutable(),
		field.Int64("create_time").Immutable(),
	}
}

// Edges of Attachment.
func (Attachment) Edges() []ent.Edge {
	return []ent.Edge{edge.To("record", Record.Type).Field("record_id").Unique().Required().Immutable().Annotations(keep())}
}

// Indexes of Attachment.
func (Attachment) Indexes() []ent.Index {
	return []ent.Index{index.Fields("record_id", "sha256").Unique(), index.Fields("sha256")}
}
