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
		items, err = analysis.TrackedDueOf(func(yield func(*analysis.TrackedTool) bool) {
			for _, r := range all.rows {
				if !yield(&r.tool) {
					return
				}
			}
		}, question)
		if err != nil {
			return err
		}
		bySerial := make(map[string]*trackedRow, len(items))
		for _, item := range items {
			bySerial[item.Tool.Serial] = nil
		}
		due := &trackedRows{}
		for _, r := range all.rows {
			if _, is := bySerial[r.tool.Due.Tool.Serial]; is {
				due.rows, bySerial[r.tool.Due.Tool.Serial] = append(due.rows, r), r
			}
		}
		due.index()
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
