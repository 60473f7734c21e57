package store

import (
	"context"

	"jointledger/internal/analysis"
)

// DueItems answers which actions on tools are due. It is TrackedTools and
// analysis.TrackedDue in one state of the database, but reads where a tool is and
// who has it only for those that are due: they are few. KindNotFound when the
// query names an unknown site, person or tool.
func (s *Store) DueItems(ctx context.Context, q analysis.TrackedQuery, question analysis.DueQuestion) (items []analysis.DueItem, err error) {
	err = s.view(ctx, func(t *tx) error {
		if q.Visiting || q.Holder != "" || q.Lent {
			tools, err := t.trackedTools(ctx, q)
			if err == nil {
				items, err = analysis.TrackedDue(tools, question)
			}
			return err
		}
		all, err := t.toolsWithCalibrations(ctx, q, "", 0)
		if err != nil {
			return err
		}
		for _, read := range []func(context.Context, *trackedRows, int64) error{t.checksOf, t.usesOf, t.eventsOf} {
			if err := read(ctx, all, micro(q.AsOf)); err != nil {
				return err
			}
		}
		tools := make([]analysis.TrackedTool, len(all.rows))
		bySerial := make(map[string]*trackedRow, len(all.rows))
		for i, r := range all.rows {
			tools[i], bySerial[r.tool.Due.Tool.Serial] = r.tool, r
		}
		if items, err = analysis.TrackedDue(tools, question); err != nil {
			return err
		}
		due := &trackedRows{byKey: map[int]*trackedRow{}}
		for _, item := range items {
			if r := bySerial[item.Tool.Serial]; due.byKey[r.key] == nil {
				due.rows, due.byKey[r.key] = append(due.rows, r), r
			}
		}
		if err := t.custodyOf(ctx, due, micro(q.AsOf)); err != nil {
			return err
		}
		for i := range items {
			items[i].Place(bySerial[items[i].Tool.Serial].tool)
		}
		return nil
	})
	return items, err
}

// DueInputs reads what the due dates of calibrations hang on, as TrackedTools has
// it. KindNotFound when a site is unknown.
func (s *Store) DueInputs(ctx context.Context, q analysis.DueQuery) (inputs []analysis.DueInput, err error) {
	tools, err := s.TrackedTools(ctx, analysis.TrackedQuery{AsOf: q.AsOf, Sites: q.Sites, Kinds: q.Kinds})
	for _, t := range tools {
		inputs = append(inputs, t.Due)
	}
	return inputs, err
}
