package store

import (
	"jointledger/internal/ledger"
	"jointledger/internal/recent"
)

// cycleMemory remembers what tools have tightened since an hour, so that whether their
// cycles are used up is no sum over all hours since their calibration for each record.
// What it gives is at least what was tightened: a correction lowers it, and is not
// followed. It holds while there are as many records as it knows of; where there are
// more, another server has written, or this one otherwise (alarms, a commit that was not
// answered), and nothing is known any more. Only the writer uses it.
type cycleMemory struct {
	records int64 // in all chains
	tools   *recent.Cache[int, usedAfter]
}

// usedAfter is what a tool has tightened after an hour, to this day.
type usedAfter struct{ hour, fasteners int64 }

func newCycleMemory() *cycleMemory {
	return &cycleMemory{tools: recent.New[int, usedAfter](20_000)}
}

// usedHere is what a transaction knows of the use of tools.
type usedHere struct {
	// known says that the records were counted, written how many this transaction has
	// added since.
	known   bool
	written int64
	// tools are those that were asked for or used here.
	tools map[int]usedAfter
}

// countedRecords tells the memory how many records the transaction sees, in a statement
// that comes after the lock on the chains.
func (t *tx) countedRecords(n int64) {
	if t.statements == nil || t.dry {
		return
	}
	if t.cycles.records+t.usedHere.written != n {
		t.cycles.tools.Purge()
		t.cycles.records, t.usedHere.tools = n-t.usedHere.written, nil
	}
	if !t.usedHere.known {
		t.usedHere.known = true
		t.learn(func() {
			t.cycles.records += t.usedHere.written
			for tool, used := range t.usedHere.tools {
				t.cycles.tools.Add(tool, used)
			}
		})
	}
}

// rememberedUse gives the use of a tool as the transaction sees it; false when it is not
// known.
func (t *tx) rememberedUse(tool int) (used usedAfter, known bool) {
	if !t.usedHere.known {
		return used, false
	}
	if used, known = t.usedHere.tools[tool]; !known {
		used, known = t.cycles.tools.Get(tool)
	}
	return used, known
}

// rememberUse notes the use of a tool as the transaction sees it.
func (t *tx) rememberUse(tool int, used usedAfter) {
	if !t.usedHere.known {
		return
	}
	if t.usedHere.tools == nil {
		t.usedHere.tools = map[int]usedAfter{}
	}
	t.usedHere.tools[tool] = used
}

// wroteUses notes what a wave has added.
func (t *tx) wroteUses(rows []*staged) {
	t.usedHere.written += int64(len(rows))
	for _, r := range rows {
		v, ok := r.Record.(*ledger.Tightening)
		if !ok || r.tool == 0 {
			continue
		}
		if used, known := t.rememberedUse(r.tool); known && floorHour(micro(v.OccurTime)) > used.hour {
			used.fasteners += int64(v.Fasteners)
			t.rememberUse(r.tool, used)
		}
	}
}
