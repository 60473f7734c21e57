package store

import (
	"context"
	"reflect"

	"jointledger/ent"
	"jointledger/ent/column"
	"jointledger/ent/tool"
	"jointledger/internal/ledger"
)

// ToolFilter narrows a list of tools.
type ToolFilter struct {
	Kind     ledger.ToolKind
	HomeSite string
}

var tools = thing[ledger.Tool, string]{
	noun:     toolNoun,
	find:     named(toolNoun),
	resource: func(v ledger.Tool) string { return "tools/" + v.Serial },
	key:      func(v ledger.Tool) string { return v.Serial },
	validate: ledger.Tool.Validate,
	revision: func(v *ledger.Tool) *ledger.Revision { return &v.Revision },
	same: func(a, b ledger.Tool) bool {
		a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
		return reflect.DeepEqual(a, b)
	},
	load: func(ctx context.Context, t *tx, serial string) (ledger.Tool, error) {
		row, err := t.ent().Tool.Query().Where(tool.Serial(askable(serial))).WithHomeSite().Only(ctx)
		if ent.IsNotFound(err) {
			return ledger.Tool{}, t.notFound(ctx, toolNoun, 0, serial, "tools/"+serial)
		}
		if err != nil {
			return ledger.Tool{}, err
		}
		return toolOf(row)
	},
	insert: func(ctx context.Context, t *tx, v ledger.Tool) error {
		home, err := t.needNamed(ctx, siteNoun, v.HomeSite)
		if err != nil || t.dry {
			return err
		}
		return t.ent().Tool.Create().SetSerial(v.Serial).SetKind(uint8(v.Kind)).SetTypeClass(v.TypeClass).
			SetMinNm(v.MinimumNewtonMetres).SetMaxNm(v.MaximumNewtonMetres).SetResolutionNm(v.ResolutionNewtonMetres).
			SetHomeSiteID(home).SetIntervalMonths(v.IntervalMonths).SetIntervalCycles(v.IntervalCycles).SetDueAfterEvent(v.DueAfterEvent).
			SetRatedLoadKg(v.RatedLoadKilograms).SetPolicies(policyColumns(v.Policies)).
			SetVersion(v.Version).SetCreateTime(micro(v.CreateTime)).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, v ledger.Tool) error {
		home, err := t.needNamed(ctx, siteNoun, v.HomeSite)
		if err != nil || t.dry {
			return err
		}
		return t.ent().Tool.Update().Where(tool.Serial(v.Serial)).SetKind(uint8(v.Kind)).SetTypeClass(v.TypeClass).
			SetMinNm(v.MinimumNewtonMetres).SetMaxNm(v.MaximumNewtonMetres).SetResolutionNm(v.ResolutionNewtonMetres).
			SetHomeSiteID(home).SetIntervalMonths(v.IntervalMonths).SetIntervalCycles(v.IntervalCycles).SetDueAfterEvent(v.DueAfterEvent).
			SetRatedLoadKg(v.RatedLoadKilograms).SetPolicies(policyColumns(v.Policies)).
			SetVersion(v.Version).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
}

func policyColumns(policies []ledger.Policy) []column.Policy {
	columns := make([]column.Policy, len(policies))
	for i, p := range policies {
		columns[i] = column.Policy{
			Action: uint8(p.Action), Months: p.Months, Days: p.Days, Cycles: p.Cycles, AfterEvent: p.AfterEvent, EachShift: p.EachShift,
		}
	}
	return columns
}

func policiesOf(columns []column.Policy) []ledger.Policy {
	var policies []ledger.Policy
	for _, p := range columns {
		policies = append(policies, ledger.Policy{
			Action: ledger.PolicyAction(p.Action), Months: p.Months, Days: p.Days, Cycles: p.Cycles, AfterEvent: p.AfterEvent, EachShift: p.EachShift,
		})
	}
	return policies
}

func toolOf(r *ent.Tool) (ledger.Tool, error) {
	home, err := r.Edges.HomeSiteOrErr()
	if err != nil {
		return ledger.Tool{}, err
	}
	return ledger.Tool{
		Serial: r.Serial, Kind: ledger.ToolKind(r.Kind), TypeClass: r.TypeClass,
		MinimumNewtonMetres: r.MinNm, MaximumNewtonMetres: r.MaxNm, ResolutionNewtonMetres: r.ResolutionNm,
		HomeSite: home.Code, IntervalMonths: r.IntervalMonths, IntervalCycles: r.IntervalCycles, DueAfterEvent: r.DueAfterEvent,
		RatedLoadKilograms: r.RatedLoadKg, Policies: policiesOf(r.Policies),
		Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime),
	}, nil
}

// RegisterTools takes in tools and answers for each.
func (s *Store) RegisterTools(ctx context.Context, items []ledger.Tool, c Change) ([]Outcome, error) {
	return register(ctx, s, tools, items, c)
}

// Tool reads one tool; KindNotFound when there is none.
func (s *Store) Tool(ctx context.Context, serial string) (ledger.Tool, error) {
	return get(ctx, s, tools, serial)
}

// UpdateTool changes one tool; errors as UpdateSite.
func (s *Store) UpdateTool(ctx context.Context, serial string, version int, c Change, apply func(*ledger.Tool) error) (ledger.Tool, error) {
	return change(ctx, s, tools, serial, version, c, apply)
}

// Tools lists tools in the order of their serials. KindNotFound when the home
// site does not exist.
func (s *Store) Tools(ctx context.Context, f ToolFilter, p Page) (items []ledger.Tool, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		q := t.ent().Tool.Query().Where(tool.SerialGT(p.After)).Order(tool.BySerial()).Limit(p.Size + 1).WithHomeSite()
		if f.Kind != 0 {
			q.Where(tool.Kind(uint8(f.Kind)))
		}
		if f.HomeSite != "" {
			home, err := t.needNamed(ctx, siteNoun, f.HomeSite)
			if err != nil {
				return err
			}
			q.Where(tool.HomeSiteID(home))
		}
		rows, err := q.All(ctx)
		if err != nil {
			return err
		}
		for _, r := range rows {
			v, err := toolOf(r)
			if err != nil {
				return err
			}
			items = append(items, v)
		}
		items, next = cut(items, p, func(v ledger.Tool) string { return v.Serial })
		return nil
	})
	return items, next, err
}
