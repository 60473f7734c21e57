package store

import (
	"context"
	"database/sql"
	"slices"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// issued says whether the row is the issue of a tool.
func issued(r *staged) bool {
	c, ok := r.Record.(*ledger.Custody)
	return ok && c.Kind == ledger.CustodyIssued
}

// toolChecks reads the inspections, proof tests and checks of tools; in is the
// condition on the records, with keys and the kind for its marks.
func (t *tx) toolChecks(ctx context.Context, tools map[int]*toolRegister, in string, keys []any) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var tool int
		var at int64
		var d analysis.ActionDone
		var result ledger.InspectionResult
		if err := rows.Scan(&tool, &at, &d.Action, &result); err != nil {
			return err
		}
		d.At, d.Failed = fromMicro(at), result == ledger.InspectionFail
		tools[tool].checks = append(tools[tool].checks, d)
		return nil
	}, "SELECT r.tool_id, r.occur_time, x.action, x.result FROM records r JOIN tool_checks x ON x.id = r.id WHERE "+in+" ORDER BY r.tool_id, r.occur_time, r.id",
		append(keys[:len(keys):len(keys)], uint8(ledger.KindToolCheck))...)
}

// changed lets the records that follow in the wave know of a change of custody.
// What is remembered is shared, so it is copied first.
func (f *toolFacts) changed(at time.Time, c ledger.Custody) {
	moment := micro(at)
	where := lastBefore(f.custody, moment, func(c custodyAt) int64 { return c.at }) + 1
	f.custody = slices.Insert(slices.Clone(f.custody), where, custodyAt{Custody: c, at: moment})
	if c.Kind >= ledger.CustodyDropped {
		f.events = append(slices.Clone(f.events), moment)
	}
}

// inHands gives the change of custody that says who has the tool at a moment; nil
// for none. A drop or an overload leaves it in the hands that it was in, and says
// where it is only when nothing else does. The record that is corrected does not
// count.
func (f *toolFacts) inHands(at, corrected int64) *custodyAt {
	var fallback *custodyAt
	for i := len(f.custody) - 1; i >= 0; i-- {
		c := &f.custody[i]
		switch {
		case c.at > at || c.id != 0 && c.id == corrected:
		case c.Kind != ledger.CustodyDropped && c.Kind != ledger.CustodyOverloaded:
			return c
		case fallback == nil:
			fallback = c
		}
	}
	return fallback
}

// unfit says why the tool should not have been issued at the record's time.
func (f *toolFacts) unfit(r *staged, facts *rules.Facts) error {
	at := micro(r.OccurTime())
	tool := analysis.TrackedTool{
		Due:      analysis.DueInput{Tool: *f.tool, Location: f.home, Last: facts.Calibration},
		Policies: f.tool.Policies,
	}
	if facts.CyclesSince > 0 {
		tool.Due.Uses = []analysis.Use{{At: fromMicro(at - 1), Fasteners: facts.CyclesSince}}
	}
	since := f.since(at)
	for _, e := range f.events {
		if e >= at {
			continue
		}
		event := analysis.Event{At: fromMicro(e), Kind: ledger.DroppedTool}
		if i := slices.IndexFunc(f.custody, func(c custodyAt) bool { return c.at == e && c.Kind >= ledger.CustodyDropped }); i >= 0 {
			event = analysis.Event{At: event.At, Custody: f.custody[i].Kind, ID: f.custody[i].ID}
		}
		tool.PolicyEvents = append(tool.PolicyEvents, event)
		if e > since {
			tool.Due.Events = append(tool.Due.Events, event)
		}
	}
	earlier := func(a, b analysis.Event) int { return a.At.Compare(b.At) }
	slices.SortFunc(tool.PolicyEvents, earlier)
	slices.SortFunc(tool.Due.Events, earlier)
	for _, d := range f.checks {
		if micro(d.At) <= at {
			tool.Done = append(tool.Done, d)
		}
	}
	for _, h := range f.holds {
		if open([]span{h}, at) {
			tool.Holds = append(tool.Holds, analysis.ToolHold{Since: fromMicro(h.from)})
		}
	}
	if c := f.inHands(at, r.instead.id); c != nil {
		tool.Custody = &analysis.ToolCustody{Kind: c.Kind, Site: c.Site, Holder: c.Holder, Since: fromMicro(c.at)}
	}
	refusals, err := tool.LendingRefusals(r.SiteCode(), r.OccurTime())
	for _, refusal := range refusals {
		facts.Unfit = append(facts.Unfit, refusal.Detail)
	}
	return err
}
