package known

import (
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// waiting are the records that are to be judged with though the source does not know
// them yet, as they bear on one site.
type waiting struct {
	source Source
	site   string
	// live are those that no other of them corrects, with the replacements that came
	// with corrections, in the order they were made.
	live []ledger.Record
	// gone are records that were corrected, old those of them that the source knows
	// and gives.
	gone map[uuid.UUID]bool
	old  []ledger.Record
	// tightened are the tightenings among live by their joint, where many joints will be
	// asked for; nil else.
	tightened map[ledger.Place][]*ledger.Tightening
}

// waitingBefore reads what stands before a record; it is left out of that itself,
// should it be among them.
func waitingBefore(s Source, record ledger.Record, replaced uuid.UUID, before []ledger.Record) *waiting {
	self := record.Head().ID
	w := &waiting{source: s, site: record.SiteCode(), gone: map[uuid.UUID]bool{self: true}}
	if replaced != uuid.Nil {
		w.gone[replaced] = true
	}
	w.read(before, self)
	return w
}

// read takes in what stands before a record, itself left out of it.
func (w *waiting) read(before []ledger.Record, self uuid.UUID) {
	var all []ledger.Record
	for _, r := range before {
		c, ok := r.(*ledger.Correction)
		if !ok {
			all = append(all, r)
			continue
		}
		w.gone[c.Corrects] = true
		if c.With != nil {
			all = append(all, c.With)
		}
	}
	w.live = make([]ledger.Record, 0, len(all))
	for _, r := range all {
		if !w.gone[r.Head().ID] {
			w.live = append(w.live, r)
		}
	}
	// Mostly nothing was corrected, and thousands may stand before the record.
	if records, ok := w.source.(Records); ok && (len(w.gone) > 1 || !w.gone[self]) {
		made := make(map[uuid.UUID]bool, len(all))
		for _, r := range all {
			made[r.Head().ID] = true
		}
		for id := range w.gone {
			// What was made on the device is not looked for: that may cost the source much.
			if made[id] || id == self {
				continue
			}
			if old, ok := records.Record(id); ok {
				w.old = append(w.old, old)
			}
		}
	}
}

// insert puts an item into a list in order of time, after those of the same moment.
// What the list was is left alone: a source may keep it.
func insert[T any](items []T, item T, when func(*T) time.Time) []T {
	return slices.Insert(slices.Clip(items), LastBy(items, when(&item), when)+1, item)
}

// without leaves out the first item that fits. What the list was is left alone.
func without[T any](items []T, fits func(T) bool) []T {
	if i := slices.IndexFunc(items, fits); i >= 0 {
		return slices.Delete(slices.Clone(items), i, i+1)
	}
	return items
}

// keep leaves out the records that were corrected. What the list was is left alone.
func keep[T any](items []T, gone map[uuid.UUID]bool, id func(*T) uuid.UUID) []T {
	if !slices.ContainsFunc(items, func(v T) bool { return gone[id(&v)] }) {
		return items
	}
	return slices.DeleteFunc(slices.Clone(items), func(v T) bool { return gone[id(&v)] })
}

// tightenings are those of a joint that count.
func (w *waiting) tightenings(past []Tightened, joint ledger.Place) []Tightened {
	past = slices.Clip(keep(past, w.gone, func(t *Tightened) uuid.UUID { return t.ID }))
	if w.tightened != nil {
		for _, t := range w.tightened[joint] {
			past = append(past, tightenedBy(t))
		}
		return past
	}
	for _, r := range w.live {
		if t, ok := r.(*ledger.Tightening); ok && t.Joint == joint {
			past = append(past, tightenedBy(t))
		}
	}
	return past
}

func tightenedBy(t *ledger.Tightening) Tightened {
	return Tightened{ID: t.ID, At: t.OccurTime, Treatment: t.Treatment, Fasteners: int(UsedUp(t))}
}

// holds are those on one thing; on says whether a hold is on it.
func (w *waiting) holds(past []Span, on func(*ledger.Hold) bool) []Span {
	spans := slices.Clone(past)
	for _, r := range w.live {
		h, ok := r.(*ledger.Hold)
		switch {
		case !ok:
		case h.Action == ledger.HoldReleased:
			end(spans, h, on(h))
		case on(h):
			spans = append(spans, Span{From: h.OccurTime, ID: h.ID})
		}
	}
	return spans
}

// end ends the hold that is released, if it is among these. Where a source does not
// say which record began a hold, and the release is on the same thing, the only one
// open is meant.
func end(spans []Span, release *ledger.Hold, sameThing bool) {
	unnamed := -1
	for i, s := range spans {
		switch {
		case s.ID == release.Releases:
			spans[i].To = release.OccurTime
			return
		case s.ID != uuid.Nil || !s.To.IsZero():
		case unnamed >= 0:
			sameThing = false
		default:
			unnamed = i
		}
	}
	if sameThing && unnamed >= 0 {
		spans[unnamed].To = release.OccurTime
	}
}

// tool adds to a tool's past what waits, and takes out what was corrected.
func (w *waiting) tool(past ToolPast) ToolPast {
	serial := past.Tool.Serial
	past.Calibrations = keep(past.Calibrations, w.gone, func(c *ledger.Calibration) uuid.UUID { return c.ID })
	past.Custody = keep(past.Custody, w.gone, func(c *ledger.Custody) uuid.UUID { return c.ID })
	past.Holds = w.holds(past.Holds, func(h *ledger.Hold) bool { return h.Tool == serial })
	for _, r := range w.old {
		if _, _, tool := subjectsOf(r); tool == serial {
			past.takeBack(r)
		}
	}
	var uses []analysis.Use
	for _, r := range w.live {
		if t, ok := r.(*ledger.Tightening); ok {
			if t.Tool == serial {
				uses = append(uses, useOf(t))
			}
			continue
		}
		if _, _, tool := subjectsOf(r); tool == serial {
			past = past.After(r)
		}
	}
	if len(uses) > 0 && past.Tool.IntervalCycles != 0 {
		// All at once: there may be thousands in a sheet.
		past.Uses = append(slices.Clip(past.Uses), uses...)
		slices.SortStableFunc(past.Uses, func(a, b analysis.Use) int { return a.At.Compare(b.At) })
	}
	past.Calibrations = proving(past.Calibrations)
	return past
}

// After is the past with one more record about the tool, which its lists then have in
// their order; the lists that it came from are left alone. Kinds that are nothing to a
// tool's past change nothing.
func (p ToolPast) After(r ledger.Record) ToolPast {
	at := r.Head().OccurTime
	switch r := r.(type) {
	case *ledger.Calibration:
		c := *r
		if c.Verdict == nil {
			// The server computes it from the same; what can't be is refused there.
			c.Verdict, _ = analysis.CalibrationVerdict(p.Tool, &c)
		}
		p.Calibrations = insert(p.Calibrations, c, calibrated)
	case *ledger.Custody:
		p.Custody = insert(p.Custody, *r, changedHands)
	case *ledger.Incident:
		if r.Kind == ledger.DroppedTool {
			p.Dropped = insert(p.Dropped, at, itself)
		}
	case *ledger.ToolCheck:
		done := analysis.ActionDone{Action: r.Action, At: at, Failed: r.Result == ledger.InspectionFail}
		p.Checks = insert(p.Checks, done, func(d *analysis.ActionDone) time.Time { return d.At })
	case *ledger.Tightening:
		p.Uses = insert(p.Uses, useOf(r), func(u *analysis.Use) time.Time { return u.At })
	}
	return p
}

func useOf(t *ledger.Tightening) analysis.Use {
	return analysis.Use{At: t.OccurTime, Fasteners: int64(t.Fasteners)}
}

// takeBack takes out what has no id in the lists; what has one is out already.
func (p *ToolPast) takeBack(r ledger.Record) {
	at := r.Head().OccurTime
	switch r := r.(type) {
	case *ledger.Incident:
		if r.Kind == ledger.DroppedTool {
			p.Dropped = without(p.Dropped, at.Equal)
		}
	case *ledger.ToolCheck:
		p.Checks = without(p.Checks, func(d analysis.ActionDone) bool { return d.At.Equal(at) && d.Action == r.Action })
	case *ledger.Tightening:
		p.Uses = without(p.Uses, func(u analysis.Use) bool { return u.At.Equal(at) && u.Fasteners == int64(r.Fasteners) })
	}
}

// proving leaves out calibrations from which no interval is counted, see
// ledger.Proving.
func proving(all []ledger.Calibration) []ledger.Calibration {
	pointers := make([]*ledger.Calibration, len(all))
	for i := range all {
		pointers[i] = &all[i]
	}
	kept := ledger.Proving(pointers)
	if len(kept) == len(all) {
		return all
	}
	out := make([]ledger.Calibration, len(kept))
	for i, c := range kept {
		out[i] = *c
	}
	return out
}
