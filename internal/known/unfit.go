package known

import (
	"slices"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// unfit says why the tool should not have been issued at the record's time.
func (p *Pieces) unfit(at time.Time) ([]string, error) {
	refusals, err := p.tracked(at).LendingRefusals(p.Record.SiteCode(), at)
	var clauses []string
	for _, r := range refusals {
		clauses = append(clauses, r.Detail)
	}
	return clauses, err
}

// tracked is the tool at a moment, with all that says whether it may go out.
func (p *Pieces) tracked(at time.Time) analysis.TrackedTool {
	past := p.Tool
	tool := analysis.TrackedTool{
		Due:      analysis.DueInput{Tool: past.Tool, Location: past.Home, Last: p.Calibration},
		Policies: past.Tool.Policies,
	}
	if p.Cycles > 0 {
		tool.Due.Uses = []analysis.Use{{At: at.Add(-time.Microsecond), Fasteners: p.Cycles}}
	}
	tool.PolicyEvents = p.events(at)
	for _, e := range tool.PolicyEvents {
		if p.Calibration == nil || e.At.After(p.Calibration.OccurTime) {
			tool.Due.Events = append(tool.Due.Events, e)
		}
	}
	for _, d := range past.Checks {
		if !d.At.After(at) {
			tool.Done = append(tool.Done, d)
		}
	}
	for _, h := range past.Holds {
		if h.Open(at) {
			tool.Holds = append(tool.Holds, analysis.ToolHold{Since: h.From})
		}
	}
	tool.Custody = custodyOf(p.inHands(at))
	return tool
}

// custodyOf is where a change of custody says that its tool is; nil for none.
func custodyOf(c *ledger.Custody) *analysis.ToolCustody {
	if c == nil {
		return nil
	}
	return &analysis.ToolCustody{Kind: c.Kind, Site: c.Site, Holder: c.Holder, Since: c.OccurTime}
}

// events are what befell the tool before the moment, in order of time.
func (p *Pieces) events(at time.Time) (events []analysis.Event) {
	for _, t := range p.Tool.Dropped {
		if t.Before(at) {
			events = append(events, analysis.Event{At: t, Kind: ledger.DroppedTool})
		}
	}
	for i := range p.Tool.Custody {
		c := &p.Tool.Custody[i]
		if Befalls(c.Kind) && c.OccurTime.Before(at) && !p.replaces(c.ID) {
			events = append(events, analysis.Event{At: c.OccurTime, Custody: c.Kind, ID: c.ID})
		}
	}
	slices.SortStableFunc(events, func(a, b analysis.Event) int { return a.At.Compare(b.At) })
	return events
}
