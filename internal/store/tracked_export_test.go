package store

import (
	"context"

	"jointledger/internal/analysis"
)

// ToolEvents reads what befell tools since their calibration with the choice left
// to the test: for many tools or for few.
func (s *Store) ToolEvents(ctx context.Context, q analysis.TrackedQuery, many bool) (events map[string][]analysis.Event, err error) {
	err = s.view(ctx, func(t *tx) error {
		all, err := t.toolsWithCalibrations(ctx, q, "", 0)
		if err != nil {
			return err
		}
		if err := t.checksOf(ctx, all, micro(q.AsOf)); err != nil {
			return err
		}
		events = map[string][]analysis.Event{}
		err = t.eventsFrom(ctx, all, micro(q.AsOf), many)
		for _, r := range all.rows {
			events[r.tool.Due.Tool.Serial] = append(r.tool.Due.Events, r.tool.PolicyEvents...)
		}
		return err
	})
	return events, err
}
