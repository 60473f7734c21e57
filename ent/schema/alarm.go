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

// AlarmRule says what is watched, and the plan by which it is: reckoned once,
// when the rule was registered.
type AlarmRule struct{ ent.Schema }

// Mixin of AlarmRule.
func (AlarmRule) Mixin() []ent.Mixin { return []ent.Mixin{Revised{}} }

// Fields of AlarmRule.
func (AlarmRule) Fields() []ent.Field {
	return []ent.Field{
		field.String("code").Unique().Immutable(),
		field.String("description"),
		field.Uint8("grouping").Immutable(),
		field.JSON("kinds", []int{}).Immutable().Comment("incident kinds that are counted"),
		field.Uint8("test").Immutable(),
		field.Float("in_control").Immutable().Comment("failures per attempt"),
		field.Float("out_of_control").Immutable().Comment("failures per attempt"),
		field.Float("run_length").Immutable().Comment("attempts; 0 for a test that ends"),
		field.Float("alpha").Immutable(),
		field.Float("beta").Immutable(),
		field.JSON("plan", column.AlarmPlan{}).Immutable(),
		field.Bool("count_history").Immutable(),
		field.Bool("active"),
	}
}

// AlarmProgress says how far a rule has read each site's chain. Its key is the
// rule's. Whoever advances a rule holds this row, so that several servers on one
// database count each record once.
type AlarmProgress struct{ ent.Schema }

// Annotations of AlarmProgress.
func (AlarmProgress) Annotations() []schema.Annotation {
	return []schema.Annotation{entsql.Annotation{Table: "alarm_progress"}}
}

// Fields of AlarmProgress.
func (AlarmProgress) Fields() []ent.Field {
	return []ent.Field{
		field.Int("id").Immutable().Annotations(given()),
		field.Int64("turn").Comment("counts how often it was advanced"),
		field.JSON("positions", map[int]int64{}).Comment("sequence that was read last, by site"),
		field.JSON("awaited", []int64{}).Comment("records passed over because they were replaced, whose replacement is yet to be read"),
	}
}

// AlarmState is where the counter of one lot or site stands under a rule.
type AlarmState struct{ ent.Schema }

// Fields of AlarmState.
func (AlarmState) Fields() []ent.Field {
	return []ent.Field{
		field.Int("rule_id").Immutable(),
		field.Int("group_id").Immutable().Comment("lot or site, as the rule groups"),
		field.Int64("points"),
		field.Int64("failures").Comment("since the counter began or last stood at 0"),
		field.Int64("attempts").Comment("likewise"),
		field.Int64("records"),
		field.Int64("signals"),
		field.Uint8("verdict").Comment("of a test that ends; 0 while it goes on"),
	}
}

// Indexes of AlarmState.
func (AlarmState) Indexes() []ent.Index {
	return []ent.Index{index.Fields("rule_id", "group_id").Unique().StorageKey("alarm_state_key")}
}

// Alarm is the content of an alarm; its key is the record's. A lot stands in the
// record.
type Alarm struct{ ent.Schema }

// Fields of Alarm.
func (Alarm) Fields() []ent.Field {
	return []ent.Field{
		field.Int64("id").Immutable().Annotations(given()),
		field.Int("rule_id").Immutable(),
		field.Uint8("test").Immutable(),
		field.Float("statistic").Immutable(),
		field.Float("threshold").Immutable(),
		field.Int64("failures").Immutable(),
		field.Int64("attempts").Immutable(),
		field.String("sentence").Immutable(),
		field.Int64("cause_id").Immutable().Comment("record that set it off"),
	}
}

// Edges of Alarm.
func (Alarm) Edges() []ent.Edge {
	return []ent.Edge{
		edge.To("rule", AlarmRule.Type).Field("rule_id").Unique().Required().Immutable().Annotations(keep()),
		edge.To("cause", Record.Type).Field("cause_id").Unique().Required().Immutable().Annotations(keep()),
	}
}

// Indexes of Alarm.
func (Alarm) Indexes() []ent.Index { return []ent.Index{index.Fields("rule_id")} }
