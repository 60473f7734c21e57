package schema

import (
	"entgo.io/ent"
	"entgo.io/ent/schema/edge"
	"entgo.io/ent/schema/field"
)

// Batch is one batch of a consumable.
type Batch struct{ ent.Schema }

// Mixin of Batch.
func (Batch) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Batch.
func (Batch) Fields() []ent.Field {
	return []ent.Field{
		field.String("number").Unique().Immutable(),
		field.Uint8("kind"),
		field.String("product"),
		field.String("expire_date"),
		field.Float("min_c").Optional().Nillable(),
		field.Float("max_c").Optional().Nillable(),
	}
}

// Substitution permits another fastener than a specification's.
type Substitution struct{ ent.Schema }

// Mixin of Substitution.
func (Substitution) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of Substitution.
func (Substitution) Fields() []ent.Field {
	return append([]ent.Field{
		field.String("code").Unique().Immutable(),
		field.Int("specification_id"),
		field.String("needs"),
		field.Float("torque_nm"),
		field.String("approved_by"),
	}, fastenerFields()...)
}

// Edges of Substitution.
func (Substitution) Edges() []ent.Edge {
	return []ent.Edge{edge.To("specification", Specification.Type).Field("specification_id").Unique().Required().Annotations(keep())}
}
