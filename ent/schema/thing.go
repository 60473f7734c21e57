// Package schema describes the tables: the things, the records and what is
// derived from them. Keys inside are integers; names stand at the door. Times
// are microseconds since 1970-01-01 UTC, so that both engines keep and order
// them alike.
package schema

import (
	"entgo.io/ent"
	"entgo.io/ent/dialect/entsql"
	"entgo.io/ent/schema"
	"entgo.io/ent/schema/edge"
	"entgo.io/ent/schema/field"
	"entgo.io/ent/schema/index"
	"entgo.io/ent/schema/mixin"

	"jointledger/ent/column"
)

// Revised is what every thing carries: it may change, and says when it did.
type Revised struct{ mixin.Schema }

// Fields of every thing.
func (Revised) Fields() []ent.Field {
	return []ent.Field{
		field.Int("version").Comment("counts changes from 1"),
		field.Int64("create_time").Immutable(),
		field.Int64("update_time"),
	}
}

// keep refuses the deletion of a row that something refers to.
func keep() entsql.Annotation { return entsql.Annotation{OnDelete: entsql.Restrict} }

func fastenerFields() []ent.Field {
	return []ent.Field{
		field.String("thread"),
		field.Float("length_mm"),
		field.Uint8("material"),
		field.String("property_class"),
		field.String("coating"),
		field.String("head"),
	}
}

// Site is a place where towers are erected.
type Site struct{ ent.Schema }

// Mixin of Site.
func (Site) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Site.
func (Site) Fields() []ent.Field {
	return []ent.Field{
		field.String("code").Unique().Immutable(),
		field.String("name"),
		field.String("region"),
		field.String("time_zone"),
		field.Uint8("status"),
		field.Uint8("units"),
	}
}

// Tower is one cooling tower at a site.
type Tower struct{ ent.Schema }

// Mixin of Tower.
func (Tower) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Tower.
func (Tower) Fields() []ent.Field {
	return []ent.Field{
		field.Int("site_id").Immutable(),
		field.String("tag").Immutable(),
		field.Uint8("material"),
		field.String("drawing"),
		field.String("planned_start"),
		field.String("planned_finish"),
	}
}

// Edges of Tower.
func (Tower) Edges() []ent.Edge {
	return []ent.Edge{edge.To("site", Site.Type).Field("site_id").Unique().Required().Immutable().Annotations(keep())}
}

// Indexes of Tower.
func (Tower) Indexes() []ent.Index { return []ent.Index{index.Fields("site_id", "tag").Unique()} }

// Cell is one cell of a tower.
type Cell struct{ ent.Schema }

// Mixin of Cell.
func (Cell) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Cell.
func (Cell) Fields() []ent.Field {
	return []ent.Field{
		field.Int("tower_id").Immutable(),
		field.String("tag").Immutable(),
		field.String("description"),
	}
}

// Edges of Cell.
func (Cell) Edges() []ent.Edge {
	return []ent.Edge{edge.To("tower", Tower.Type).Field("tower_id").Unique().Required().Immutable().Annotations(keep())}
}

// Indexes of Cell.
func (Cell) Indexes() []ent.Index { return []ent.Index{index.Fields("tower_id", "tag").Unique()} }

// Joint is one bolted or screwed joint of a cell.
type Joint struct{ ent.Schema }

// Mixin of Joint.
func (Joint) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Joint.
func (Joint) Fields() []ent.Field {
	return []ent.Field{
		field.Int("cell_id").Immutable(),
		field.String("tag").Immutable(),
		field.Uint8("kind"),
		field.Bool("critical"),
		field.String("part_a"),
		field.String("part_b"),
		field.Int("specification_id"),
		field.Int("fasteners"),
	}
}

// Edges of Joint.
func (Joint) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("cell", Cell.Type).Field("cell_id").Unique().Required().Immutable().Annotations(keep()),
		edge.To("specification", Specification.Type).Field("specification_id").Unique().Required().Annotations(keep()),
	}
}

// Indexes of Joint.
func (Joint) Indexes() []ent.Index { return []ent.Index{index.Fields("cell_id", "tag").Unique()} }

// Specification is the name under which the revisions of a joint specification
// stand; its version is the newest revision's number.
type Specification struct{ ent.Schema }

// Mixin of Specification.
func (Specification) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Specification.
func (Specification) Fields() []ent.Field {
	return []ent.Field{field.String("code").Unique().Immutable()}
}

// SpecificationRevision is one revision, never changed.
type SpecificationRevision struct{ ent.Schema }

// Fields of SpecificationRevision.
func (SpecificationRevision) Fields() []ent.Field {
	return append([]ent.Field{
		field.Int("specification_id").Immutable(),
		field.Int("revision").Immutable(),
		field.Int64("create_time").Immutable(),
		field.Uint8("treatment"),
		field.Uint8("locking"),
		field.Float("torque_nm"),
		field.Float("torque_tolerance_pct"),
		field.Uint8("torque_basis"),
		field.Float("nut_factor"),
		field.Bool("torque_tool_required"),
		field.String("sealant"),
		field.Float("seal_width_mm"),
		field.Float("min_surface_c").Optional().Nillable(),
	}, fastenerFields()...)
}

// Edges of SpecificationRevision.
func (SpecificationRevision) Edges() []ent.Edge {
	return []ent.Edge{edge.To("specification", Specification.Type).Field("specification_id").Unique().Required().Immutable().Annotations(keep())}
}

// Indexes of SpecificationRevision.
func (SpecificationRevision) Indexes() []ent.Index {
	return []ent.Index{index.Fields("specification_id", "revision").Unique()}
}

// Lot is one delivery lot of one fastener.
type Lot struct{ ent.Schema }

// Mixin of Lot.
func (Lot) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Lot.
func (Lot) Fields() []ent.Field {
	return append([]ent.Field{
		field.String("number").Unique().Immutable(),
		field.String("supplier"),
		field.String("heat"),
		field.String("description"),
		field.Uint8("state"),
	}, fastenerFields()...)
}

// Tool is one tool that is tracked by its serial.
type Tool struct{ ent.Schema }

// Mixin of Tool.
func (Tool) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Tool.
func (Tool) Fields() []ent.Field {
	return []ent.Field{
		field.String("serial").Unique().Immutable(),
		field.Uint8("kind"),
		field.String("type_class"),
		field.Float("min_nm"),
		field.Float("max_nm"),
		field.Float("resolution_nm"),
		field.Int("home_site_id"),
		field.Int("interval_months"),
		field.Int("interval_cycles"),
		field.Bool("due_after_event"),
		field.Float("rated_load_kg").Default(0),
		field.JSON("policies", []column.Policy{}).Optional(),
	}
}

// Edges of Tool.
func (Tool) Edges() []ent.Edge {
	return []ent.Edge{edge.To("home_site", Site.Type).Field("home_site_id").Unique().Required().Annotations(keep())}
}

// Person makes records.
type Person struct{ ent.Schema }

// Annotations of Person: the trade says people, and so does the table.
func (Person) Annotations() []schema.Annotation {
	return []schema.Annotation{entsql.Annotation{Table: "people"}}
}

// Mixin of Person.
func (Person) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Person.
func (Person) Fields() []ent.Field {
	return []ent.Field{
		field.String("code").Unique().Immutable().Comment("initials or badge"),
		field.String("name"),
		field.String("employer"),
		field.Int("home_site_id").Optional().Nillable(),
		field.JSON("roles", []int{}),
		field.JSON("qualifications", []column.Qualification{}),
	}
}

// Edges of Person.
func (Person) Edges() []ent.Edge {
	return []ent.Edge{edge.To("home_site", Site.Type).Field("home_site_id").Unique().Annotations(keep())}
}

// RequestKey remembers a change by its request id, so that a repetition changes
// nothing.
type RequestKey struct{ ent.Schema }

// Fields of RequestKey.
func (RequestKey) Fields() []ent.Field {
	return []ent.Field{
		field.String("request_id").Unique().Immutable(),
		field.Bytes("digest").MaxLen(32).Immutable().Comment("SHA-256 of the request"),
		field.Int64("create_time").Immutable(),
	}
}
