package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
	"jointledger/internal/rules"
)

// FindingFilter narrows a list of findings. What is empty narrows nothing.
type FindingFilter struct {
	// Place is a site, tower, cell or joint at or below which it was found.
	Place    ledger.Place
	Rule     string // code
	Severity rules.Severity
}

// RecordFinding is a finding with the record that it is about.
type RecordFinding struct {
	Record    string       // resource name
	Joint     ledger.Place // no place when the record names no joint
	OccurTime time.Time
	Person    string
	Finding   rules.Finding
}

// FindingCount is a number of findings of one rule and severity.
type FindingCount struct {
	Rule     string
	Severity rules.Severity
	Findings int64
}

const (
	findingColumns = "f.rule, f.severity, f.message, f.figure, f.limit_value, f.unit, f.source"
	findingJoins   = ` FROM findings f JOIN records r ON r.id = f.record_id JOIN sites s ON s.id = r.site_id
LEFT JOIN joints j ON j.id = r.joint_id LEFT JOIN cells c ON c.id = j.cell_id LEFT JOIN towers t ON t.id = c.tower_id
LEFT JOIN people p ON p.id = r.person_id`
)

// findingTargets are where a row's findingColumns are scanned to.
func findingTargets(f *rules.Finding) []any {
	return []any{&f.Rule, &f.Severity, &f.Message, &f.Figure, &f.Limit, &f.Unit, &f.Source}
}

// findingClause gives the conditions of findings on records that count. A rule
// or place that is asked for must exist.
func (t *tx) findingClause(ctx context.Context, f FindingFilter) (*clause, error) {
	keys, err := t.place(ctx, f.Place)
	if err != nil {
		return nil, err
	}
	c := &clause{}
	if keys.cell == 0 && keys.site != 0 {
		// A site's records are one range of the key, and so are their findings.
		c.add("f.record_id >= ?", int64(keys.site)<<sequenceBits)
		c.add("f.record_id < ?", int64(keys.site+1)<<sequenceBits)
	}
	switch {
	case keys.joint != 0:
		c.add("r.joint_id = ?", keys.joint)
	case keys.cell != 0:
		c.add("j.cell_id = ?", keys.cell)
	case keys.tower != 0:
		c.add("c.tower_id = ?", keys.tower)
	}
	if f.Rule != "" {
		if err := knownRule(f.Rule); err != nil {
			return nil, err
		}
		c.add("f.rule = ?", f.Rule)
	}
	if f.Severity != 0 {
		c.add("f.severity = ?", uint8(f.Severity))
	}
	c.add(notCorrected)
	t.addVisibleRecords(c, 0)
	return c, nil
}

// ruleOrder gives each rule's place in the table.
func ruleOrder() map[string]int {
	order := map[string]int{}
	for i, r := range rules.Table() {
		order[r.Code] = i
	}
	return order
}

func knownRule(code string) error {
	order := ruleOrder()
	if _, known := order[code]; known {
		return nil
	}
	codes := make([]string, 0, len(order))
	for c := range order {
		codes = append(codes, c)
	}
	slices.Sort(codes)
	if near, ok := nearest.Name(code, codes); ok {
		return ledger.InvalidField("question", "rule", "%q is not a rule (did you mean %s?)", code, near)
	}
	return ledger.InvalidField("question", "rule", "%q is not a rule; expected one of %s", code, strings.Join(codes, ", "))
}

// Findings lists findings on records that no correction withdrew or replaced: by
// site, in each site in the order in which the records were taken in, and on
// each record in the order of the rules table. KindNotFound when the place does
// not exist; KindInvalid when there is no such rule.
func (s *Store) Findings(ctx context.Context, f FindingFilter, p Page) (items []RecordFinding, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		c, err := t.findingClause(ctx, f)
		if err != nil {
			return err
		}
		if record, id, ok := parseFindingKey(p.After); ok {
			c.add("(f.record_id, f.id) > (?, ?)", record, id)
		}
		var keys []string
		err = t.query(ctx, func(rows *sql.Rows) error {
			one, key, err := scanRecordFinding(rows)
			items, keys = append(items, one), append(keys, key)
			return err
		}, `SELECT f.record_id, f.id, r.uid, r.kind, s.code, COALESCE(t.tag, ''), COALESCE(c.tag, ''), COALESCE(j.tag, ''), r.occur_time, COALESCE(p.code, ''), `+
			findingColumns+findingJoins+c.where()+" ORDER BY f.record_id, f.id LIMIT ?", append(c.args, p.Size+1)...)
		if err != nil {
			return err
		}
		keys, next = cut(keys, p, func(key string) string { return key })
		items = items[:len(keys)]
		return nil
	})
	return items, next, err
}

func scanRecordFinding(rows *sql.Rows) (one RecordFinding, key string, err error) {
	var record, id, at int64
	var uid []byte
	var kind ledger.RecordKind
	targets := []any{&record, &id, &uid, &kind, &one.Joint.Site, &one.Joint.Tower, &one.Joint.Cell, &one.Joint.Joint, &at, &one.Person}
	if err := rows.Scan(append(targets, findingTargets(&one.Finding)...)...); err != nil {
		return one, "", err
	}
	one.Record, one.OccurTime = ledger.RecordName(kind, uuid.UUID(uid)), fromMicro(at)
	if one.Joint.Joint == "" {
		one.Joint = ledger.Place{}
	}
	return one, fmt.Sprintf("%d-%d", record, id), nil
}

// parseFindingKey reads the key of a page. One that can't be read starts from
// the front; the token around it was checked before.
func parseFindingKey(key string) (record, id int64, ok bool) {
	a, b, _ := strings.Cut(key, "-")
	record, errRecord := strconv.ParseInt(a, 10, 64)
	id, errID := strconv.ParseInt(b, 10, 64)
	return record, id, errRecord == nil && errID == nil
}

// CountFindings counts, by rule and severity in the order of the rules table, the
// findings on records that no correction withdrew or replaced. KindNotFound when
// the place does not exist.
func (s *Store) CountFindings(ctx context.Context, place ledger.Place) (counts []FindingCount, err error) {
	err = s.view(ctx, func(t *tx) error {
		c, err := t.findingClause(ctx, FindingFilter{Place: place})
		if err != nil {
			return err
		}
		return t.query(ctx, func(rows *sql.Rows) error {
			var n FindingCount
			err := rows.Scan(&n.Rule, &n.Severity, &n.Findings)
			counts = append(counts, n)
			return err
		}, "SELECT f.rule, f.severity, count(*)"+findingJoins+c.where()+" GROUP BY f.rule, f.severity", c.args...)
	})
	order := ruleOrder()
	rank := func(code string) int {
		if i, ok := order[code]; ok {
			return i
		}
		return len(order) // a rule that is no longer in the table
	}
	slices.SortFunc(counts, func(a, b FindingCount) int {
		return cmp.Or(cmp.Compare(rank(a.Rule), rank(b.Rule)), cmp.Compare(a.Rule, b.Rule), cmp.Compare(a.Severity, b.Severity))
	})
	return counts, err
}

// findingsOf reads the findings on records, by the records' keys, on each in the
// order of the rules table.
func (t *tx) findingsOf(ctx context.Context, records []any) (map[int64][]rules.Finding, error) {
	found := map[int64][]rules.Finding{}
	err := t.queryIn(ctx, func(rows *sql.Rows) error {
		var record int64
		var f rules.Finding
		err := rows.Scan(append([]any{&record}, findingTargets(&f)...)...)
		found[record] = append(found[record], f)
		return err
	}, "SELECT f.record_id, "+findingColumns+" FROM findings f WHERE f.record_id", records, " ORDER BY f.record_id, f.id")
	return found, err
}
