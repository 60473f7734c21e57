package schema

import (
	"entgo.io/ent"
	"entgo.io/ent/dialect/entsql"
	"entgo.io/ent/schema"
	"entgo.io/ent/schema/field"
)

// RegisterEpoch is one row that counts the changes to what the rules read and
// records seldom change: things, calibrations, custody, holds on lots and tools,
// events of tools. Every transaction that makes such a change counts it up with
// its last statement; while the count stands, what a server read before still
// holds and need not be read again.
type RegisterEpoch struct{ ent.Schema }

// Fields of RegisterEpoch.
func (RegisterEpoch) Fields() []ent.Field {
	return []ent.Field{
		field.Int("id").Immutable().Annotations(given()),
		field.Int64("epoch"),
	}
}

// Annotations of RegisterEpoch.
func (RegisterEpoch) Annotations() []schema.Annotation {
	return []schema.Annotation{entsql.Annotation{Table: "register_epoch"}}
}
