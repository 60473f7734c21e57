package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/ledger"
)

// AlarmPosition is how far somebody has read the alarms: by site's key the
// sequence of the last one.
type AlarmPosition map[int]int64

// String writes the position so that ParseAlarmPosition reads it back.
func (p AlarmPosition) String() string {
	var b strings.Builder
	for _, site := range slices.Sorted(maps.Keys(p)) {
		fmt.Fprintf(&b, "%s.%s,", strconv.FormatInt(int64(site), 36), strconv.FormatInt(p[site], 36))
	}
	return strings.TrimSuffix(b.String(), ",")
}

// ParseAlarmPosition reads what String wrote; empty is the beginning.
func ParseAlarmPosition(text string) (AlarmPosition, error) {
	p := AlarmPosition{}
	if text == "" {
		return p, nil
	}
	for part := range strings.SplitSeq(text, ",") {
		site, sequence, ok := strings.Cut(part, ".")
		key, err := strconv.ParseInt(site, 36, 23)
		last, err2 := strconv.ParseInt(sequence, 36, sequenceBits+1)
		if !ok || err != nil || err2 != nil || key < 1 || last < 1 {
			return nil, errors.New("is not one that this server made")
		}
		p[int(key)] = last
	}
	return p, nil
}

// AlarmFilter narrows alarms to rules, by their codes, and to the chains of sites;
// what is empty narrows nothing.
type AlarmFilter struct{ Rules, Sites []string }

// PlacedAlarm is an alarm with the key of its site, for positions.
type PlacedAlarm struct {
	*ledger.Alarm
	SiteKey int
}

// AlarmsAfter reads at most so many alarms after the position, in each site in the
// order of its chain. Alarms join a chain one after the other, so whoever goes on
// after the last one that he got misses none. KindNotFound when the filter names
// something unknown.
func (s *Store) AlarmsAfter(ctx context.Context, f AlarmFilter, p AlarmPosition, limit int) (alarms []PlacedAlarm, err error) {
	err = s.view(ctx, func(t *tx) error {
		c, err := t.alarmClause(ctx, f, p)
		if err != nil || c == nil {
			return err
		}
		found, err := t.recordsWhere(ctx, ledger.KindAlarm, c, " ORDER BY x.id LIMIT ?", limit)
		for _, k := range found {
			alarms = append(alarms, PlacedAlarm{k.Record.(*ledger.Alarm), int(k.id >> sequenceBits)})
		}
		return err
	})
	return alarms, err
}

// alarmClause gives the conditions of alarms after a position; nil when there are
// none, as the newest ones tell: to look for those costs next to nothing.
func (t *tx) alarmClause(ctx context.Context, f AlarmFilter, p AlarmPosition) (*clause, error) {
	wanted, err := t.keysOfNames(ctx, siteNoun, f.Sites)
	if err != nil {
		return nil, err
	}
	rules, err := t.keysOfNames(ctx, alarmRuleNoun, f.Rules)
	if err != nil {
		return nil, err
	}
	newest, err := t.newestAlarms(ctx)
	if err != nil {
		return nil, err
	}
	var ranges []string
	c := &clause{}
	for _, site := range slices.Sorted(maps.Keys(newest)) {
		if newest[site] <= p[site] || len(wanted) > 0 && !slices.Contains(wanted, any(site)) {
			continue
		}
		ranges = append(ranges, "x.id > ? AND x.id <= ?")
		base := int64(site) << sequenceBits
		c.args = append(c.args, base|p[site], base|newest[site])
	}
	if len(ranges) == 0 {
		return nil, nil
	}
	c.conditions = []string{"(" + strings.Join(ranges, " OR ") + ")"}
	if len(rules) > 0 {
		c.add("x.rule_id IN "+marks(1, len(rules)), rules...)
	}
	return c, nil
}

// keysOfNames looks up things that must be known.
func (t *tx) keysOfNames(ctx context.Context, n noun, names []string) ([]any, error) {
	keys := make([]any, 0, len(names))
	for _, name := range names {
		key, err := t.needNamed(ctx, n, name)
		if err != nil {
			return nil, err
		}
		keys = append(keys, key)
	}
	return keys, nil
}

// newestAlarms reads the sequence of the last alarm of each site that is seen: from one site to the
// next by the primary key, so that it costs what there are sites.
func (t *tx) newestAlarms(ctx context.Context) (AlarmPosition, error) {
	newest := AlarmPosition{}
	var of clause
	t.addVisible(&of, "c.id")
	err := t.query(ctx, func(rows *sql.Rows) error {
		var site int
		var last sql.NullInt64
		if err := rows.Scan(&site, &last); err != nil || !last.Valid {
			return err
		}
		newest[site] = last.Int64 & (1<<sequenceBits - 1)
		return nil
	}, fmt.Sprintf("SELECT c.id, (SELECT MAX(x.id) FROM alarms x WHERE x.id > c.id << %[1]d AND x.id < (c.id + 1) << %[1]d) FROM chains c", sequenceBits)+of.where())
	return newest, err
}

// AlarmsSoFar is the position after every alarm that there is.
func (s *Store) AlarmsSoFar(ctx context.Context) (p AlarmPosition, err error) {
	err = s.view(ctx, func(t *tx) error {
		p, err = t.newestAlarms(ctx)
		return err
	})
	return p, err
}
