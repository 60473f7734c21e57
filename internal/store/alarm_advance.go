package store

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/ent/alarmprogress"
	"jointledger/ent/alarmrule"
	"jointledger/ent/alarmstate"
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

const (
	// mostAdvance bounds how many records of all chains together one turn takes a
	// rule past: what is longer, as a history of years, is counted in parts, each in
	// the order in which it happened. It is read beside the writer, and takes about a
	// second and some 15 MB.
	mostAdvance = 200_000
	// What was handed in later than it happened is counted when no more came for
	// handedInQuiet, and at the latest after handedInLongest; that some came is seen
	// among the last handedInTail records. Choices of ours.
	handedInQuiet   = 20 * time.Second
	handedInLongest = 10 * time.Minute
	handedInTail    = 200
)

// advance is a rule on its way through one turn: from where it stood in the
// database to where it will stand. Nothing of it is written before commitAlarms.
type advance struct {
	rule ledger.AlarmRule
	id   int
	// turn is the one that was read; a rule that another server has advanced since
	// is left as it is.
	turn      int64
	positions map[int]int64
	// awaited are records that were passed over because a replacement stands for
	// them, which is yet to be counted.
	awaited map[int64]bool
	states  map[int]ledger.AlarmState
	changed map[int]bool
	raised  []raised
	// more says that chains go on where this turn ends, moved that something is to be
	// kept.
	more, moved bool
}

// raised is an alarm that is not written yet.
type raised struct {
	alarm     *ledger.Alarm
	site, lot int
	cause     int64
}

// advanceAlarms reads what active rules have not counted yet, and counts it.
func (t *tx) advanceAlarms(ctx context.Context) (work []*advance, err error) {
	rules, err := t.ent().AlarmRule.Query().Where(alarmrule.Active(true)).Order(alarmrule.ByID()).All(ctx)
	if err != nil || len(rules) == 0 {
		return nil, err
	}
	lengths, err := t.chainLengths(ctx)
	if err != nil {
		return nil, err
	}
	reader := &attemptsReader{tx: t, read: map[window][]attempts{}}
	for _, row := range rules {
		p, err := t.ent().AlarmProgress.Query().Where(alarmprogress.ID(row.ID)).Only(ctx)
		if err != nil {
			return nil, err
		}
		a := &advance{rule: alarmRuleOf(row), id: row.ID, turn: p.Turn, positions: p.Positions,
			awaited: map[int64]bool{}, states: map[int]ledger.AlarmState{}, changed: map[int]bool{}}
		if a.positions == nil {
			a.positions = map[int]int64{}
		}
		for _, id := range p.Awaited {
			a.awaited[id] = true
		}
		if err := a.run(ctx, reader, lengths); err != nil {
			return nil, fmt.Errorf("alarm rule %s: %w", a.rule.Code, err)
		}
		if a.moved {
			work = append(work, a)
		}
	}
	return work, nil
}

// windows gives the parts of the chains that the rule reads in this turn: every
// site has its share, so that a busy one keeps no other waiting.
func (a *advance) windows(ctx context.Context, t *tx, lengths map[int]int64) ([]window, error) {
	var all []window
	for _, site := range slices.Sorted(maps.Keys(lengths)) {
		if length := lengths[site]; length > a.positions[site] {
			all = append(all, window{site, a.positions[site], length})
		}
	}
	for i := range all {
		w := &all[i]
		if share := max(1, mostAdvance/int64(len(all))); w.to-w.from > share {
			w.to, a.more = w.from+share, true
		}
		to, err := t.settled(ctx, *w, lengths[w.site])
		if err != nil {
			return nil, err
		}
		w.to = to
	}
	return slices.DeleteFunc(all, func(w window) bool { return w.to == w.from }), nil
}

func (a *advance) run(ctx context.Context, r *attemptsReader, lengths map[int]int64) error {
	windows, err := a.windows(ctx, r.tx, lengths)
	if err != nil {
		return err
	}
	rows, err := r.in(ctx, windows)
	if err != nil {
		return err
	}
	// What counts for nobody, such as movements and alarms, is not worth a
	// transaction of its own.
	a.more = a.more && len(windows) > 0
	a.moved = len(rows) > 0 || a.more
	if !a.moved {
		return nil
	}
	for _, w := range windows {
		a.positions[w.site] = w.to
	}
	if err := a.loadStates(ctx, r.tx, rows); err != nil {
		return err
	}
	for _, row := range rows {
		counts, err := a.counts(ctx, r.tx, row)
		if err == nil && counts {
			err = a.count(ctx, r.tx, row)
		}
		if err != nil {
			return err
		}
	}
	return a.forget(ctx, r.tx)
}

// group is the lot or site whose counter a record moves.
func (a *advance) group(row attempts) int {
	if a.rule.Grouping == ledger.AlarmBySite {
		return row.site()
	}
	return row.lot
}

func (a *advance) loadStates(ctx context.Context, t *tx, rows []attempts) error {
	for _, row := range rows {
		a.states[a.group(row)] = analysis.BeginAlarm(&a.rule)
	}
	groups := slices.Collect(maps.Keys(a.states))
	return inChunks(groups, 1, func(part []int) error {
		kept, err := t.ent().AlarmState.Query().Where(alarmstate.RuleID(a.id), alarmstate.GroupIDIn(part...)).All(ctx)
		for _, s := range kept {
			a.states[s.GroupID] = ledger.AlarmState{Points: s.Points, Failures: s.Failures, Attempts: s.Attempts, Records: s.Records, Signals: s.Signals, Verdict: s.Verdict}
		}
		return err
	})
}

// counts says whether a record counts. Of a record and its replacements one does:
// the record itself where nothing had corrected it when the rule came by, else the
// last replacement, and none where it was withdrawn. A correction that comes later
// takes nothing back.
func (a *advance) counts(ctx context.Context, t *tx, row attempts) (bool, error) {
	if row.replaces == 0 {
		if row.corrected && row.replacement != 0 {
			a.awaited[row.id] = true
		}
		return !row.corrected, nil
	}
	first, err := t.original(ctx, row)
	if err != nil || !a.awaited[first] || row.corrected && row.replacement != 0 {
		return false, err
	}
	delete(a.awaited, first)
	return !row.corrected, nil
}

// forget leaves out of awaited what will come no more: replacements that were
// passed and count nothing, as a tightening that turned out to be of another pass.
func (a *advance) forget(ctx context.Context, t *tx) error {
	for id := range a.awaited {
		last, err := t.standing(ctx, id)
		if err != nil {
			return err
		}
		if site := int(last >> sequenceBits); last == 0 || last&(1<<sequenceBits-1) <= a.positions[site] {
			delete(a.awaited, id)
		}
	}
	return nil
}

func (a *advance) count(ctx context.Context, t *tx, row attempts) error {
	failures := int64(0)
	if slices.Contains(a.rule.Kinds, row.failure) {
		failures = row.quantity
	}
	group := a.group(row)
	next, signal, err := analysis.AdvanceAlarm(&a.rule, a.states[group], failures, row.quantity)
	if err != nil {
		return err
	}
	if next != a.states[group] {
		a.states[group], a.changed[group] = next, true
	}
	if signal == nil {
		return nil
	}
	return a.raise(ctx, t, row, signal)
}

// raise makes the alarm of a record: it happened where and when that did.
func (a *advance) raise(ctx context.Context, t *tx, row attempts, signal *analysis.AlarmRaised) error {
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	alarm := &ledger.Alarm{Entry: ledger.Entry{ID: id}, Rule: a.rule.Code, Test: a.rule.Test,
		Statistic: signal.Statistic, Threshold: signal.Threshold, Failures: signal.Failures, Attempts: signal.Attempts}
	var uid []byte
	var occur int64
	err = t.sql.QueryRowContext(ctx, t.engine.bind(`SELECT r.uid, r.occur_time, r.offset_minutes, s.code, COALESCE(l.number, '')
FROM records r JOIN sites s ON s.id = r.site_id LEFT JOIN lots l ON l.id = r.lot_id WHERE r.id = ?`), row.id).
		Scan(&uid, &occur, &alarm.OffsetMinutes, &alarm.Site, &alarm.Lot)
	if err != nil {
		return err
	}
	alarm.Cause, alarm.OccurTime = idOf(uid), fromMicro(occur)
	what, lot := "lot "+alarm.Lot, row.lot
	if a.rule.Grouping == ledger.AlarmBySite {
		what, lot, alarm.Lot = "site "+alarm.Site, 0, ""
	}
	alarm.Sentence = analysis.AlarmSentence(&a.rule, what, signal)
	if fields := alarm.Validate(); len(fields) > 0 {
		return fmt.Errorf("the alarm on %s is not sound: %v", what, fields)
	}
	a.raised = append(a.raised, raised{alarm: alarm, site: row.site(), lot: lot, cause: row.id})
	return nil
}

// sortedAwaited is awaited as it is kept.
func (a *advance) sortedAwaited() []int64 {
	return slices.SortedFunc(maps.Keys(a.awaited), cmp.Compare[int64])
}
