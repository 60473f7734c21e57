package store

import (
	"context"
	"database/sql"
	"reflect"

	"jointledger/ent"
	"jointledger/ent/alarmrule"
	"jointledger/ent/column"
	"jointledger/internal/ledger"
)

var alarmRules = thing[ledger.AlarmRule, string]{
	noun:     alarmRuleNoun,
	find:     named(alarmRuleNoun),
	resource: func(v ledger.AlarmRule) string { return "alarmRules/" + v.Code },
	key:      func(v ledger.AlarmRule) string { return v.Code },
	validate: ledger.AlarmRule.Validate,
	revision: func(v *ledger.AlarmRule) *ledger.Revision { return &v.Revision },
	same: func(a, b ledger.AlarmRule) bool {
		// The plan follows from the rest, and stays as it was reckoned.
		a.Revision, b.Revision, a.Plan, b.Plan = ledger.Revision{}, ledger.Revision{}, ledger.AlarmPlan{}, ledger.AlarmPlan{}
		return reflect.DeepEqual(a, b)
	},
	load: func(ctx context.Context, t *tx, code string) (ledger.AlarmRule, error) {
		row, err := t.ent().AlarmRule.Query().Where(alarmrule.Code(askable(code))).Only(ctx)
		if ent.IsNotFound(err) {
			return ledger.AlarmRule{}, t.notFound(ctx, alarmRuleNoun, 0, code, "alarmRules/"+code)
		}
		if err != nil {
			return ledger.AlarmRule{}, err
		}
		return alarmRuleOf(row), nil
	},
	insert: func(ctx context.Context, t *tx, v ledger.AlarmRule) error {
		if t.dry {
			return nil
		}
		kinds := make([]int, len(v.Kinds))
		for i, k := range v.Kinds {
			kinds[i] = int(k)
		}
		row, err := t.ent().AlarmRule.Create().SetCode(v.Code).SetDescription(v.Description).SetGrouping(uint8(v.Grouping)).SetKinds(kinds).
			SetTest(uint8(v.Test)).SetInControl(v.InControl).SetOutOfControl(v.OutOfControl).SetRunLength(v.RunLength).SetAlpha(v.Alpha).SetBeta(v.Beta).
			SetPlan(column.AlarmPlan(v.Plan)).SetCountHistory(v.CountHistory).SetActive(v.Active).
			SetVersion(v.Version).SetCreateTime(micro(v.CreateTime)).SetUpdateTime(micro(v.UpdateTime)).Save(ctx)
		if err != nil {
			return err
		}
		positions := map[int]int64{}
		if !v.CountHistory {
			if positions, err = t.chainLengths(ctx); err != nil {
				return err
			}
		}
		return t.ent().AlarmProgress.Create().SetID(row.ID).SetTurn(0).SetPositions(positions).SetAwaited([]int64{}).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, v ledger.AlarmRule) error {
		if t.dry {
			return nil
		}
		return t.ent().AlarmRule.Update().Where(alarmrule.Code(v.Code)).SetDescription(v.Description).SetActive(v.Active).
			SetVersion(v.Version).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
}

func alarmRuleOf(r *ent.AlarmRule) ledger.AlarmRule {
	v := ledger.AlarmRule{
		Code: r.Code, Description: r.Description, Grouping: ledger.AlarmGrouping(r.Grouping), Test: ledger.AlarmTest(r.Test),
		InControl: r.InControl, OutOfControl: r.OutOfControl, RunLength: r.RunLength, Alpha: r.Alpha, Beta: r.Beta,
		CountHistory: r.CountHistory, Active: r.Active, Plan: ledger.AlarmPlan(r.Plan),
		Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime),
	}
	for _, k := range r.Kinds {
		v.Kinds = append(v.Kinds, ledger.IncidentKind(k))
	}
	return v
}

// chainLengths reads how many records each site's chain has.
func (t *tx) chainLengths(ctx context.Context) (map[int]int64, error) {
	lengths := map[int]int64{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var site int
		var length int64
		err := rows.Scan(&site, &length)
		lengths[site] = length
		return err
	}, "SELECT id, sequence FROM chains")
	return lengths, err
}

// RegisterAlarmRules takes in rules, planned by analysis.PlanAlarmRule, and answers
// for each. A rule counts what is taken in from then on, or everything if it says
// so.
func (s *Store) RegisterAlarmRules(ctx context.Context, items []ledger.AlarmRule, c Change) ([]Outcome, error) {
	outcomes, err := register(ctx, s, alarmRules, items, c)
	s.alarms.wake()
	return outcomes, err
}

// AlarmRule reads one rule; KindNotFound when there is none.
func (s *Store) AlarmRule(ctx context.Context, code string) (ledger.AlarmRule, error) {
	return get(ctx, s, alarmRules, code)
}

// UpdateAlarmRule changes the description of a rule and whether it is active; what
// else apply changes is not kept. Errors as UpdateSite.
func (s *Store) UpdateAlarmRule(ctx context.Context, code string, version int, c Change, apply func(*ledger.AlarmRule) error) (ledger.AlarmRule, error) {
	kept, err := change(ctx, s, alarmRules, code, version, c, apply)
	s.alarms.wake()
	return kept, err
}

// AlarmRules lists rules in the order of their codes.
func (s *Store) AlarmRules(ctx context.Context, onlyActive bool, p Page) (items []ledger.AlarmRule, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		q := t.ent().AlarmRule.Query().Where(alarmrule.CodeGT(p.After)).Order(alarmrule.ByCode()).Limit(p.Size + 1)
		if onlyActive {
			q.Where(alarmrule.Active(true))
		}
		rows, err := q.All(ctx)
		for _, r := range rows {
			items = append(items, alarmRuleOf(r))
		}
		items, next = cut(items, p, func(v ledger.AlarmRule) string { return v.Code })
		return err
	})
	return items, next, err
}
