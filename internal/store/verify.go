package store

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Report is the result of Verify.
type Report struct {
	Sites []SiteReport
	// TallyProblems name each running sum (tally, use of a tool, stock of a lot)
	// that differs from a recount.
	TallyProblems []string
	// GuardProblems name each trigger that keeps records from being edited and is
	// missing, switched off or another one.
	GuardProblems []string
	// AttachmentProblems name each content that is not what was attached.
	AttachmentProblems []string
}

// SiteReport is the result for one site's chain.
type SiteReport struct {
	Site    string
	Records int64
	// Head is the last link, in hexadecimal.
	Head string
	// Problems name each record that is missing, changed or out of order.
	Problems []string
}

// OK says whether nothing was found.
func (r Report) OK() bool {
	return len(r.TallyProblems)+len(r.GuardProblems)+len(r.AttachmentProblems) == 0 && !slices.ContainsFunc(r.Sites, func(s SiteReport) bool { return len(s.Problems) > 0 })
}

// mostProblems bounds what is reported of one site; one change makes one
// problem, since checking goes on from the stored link.
const mostProblems = 50

// Verify reads every record again, checks each site's chain link by link, counts
// the running sums anew, reads every attached content against its SHA-256, and
// looks for the triggers that refuse changes. Everything is read from one state
// of the database. The chain covers what records say and what was found on them;
// it does not cover the registers (sites, people, tools, lots, joints and the
// like, and specifications with their revisions) nor what is attached to which
// record under which name.
func (s *Store) Verify(ctx context.Context) (report Report, err error) {
	err = s.viewLong(ctx, func(t *tx) error {
		report, err = t.verify(ctx)
		return err
	})
	return report, err
}

func (t *tx) verify(ctx context.Context) (report Report, err error) {
	chains, err := t.recordedChains(ctx)
	if err != nil {
		return report, err
	}
	for _, c := range chains {
		one, err := t.verifyChain(ctx, c)
		if err != nil {
			return report, err
		}
		report.Sites = append(report.Sites, one)
	}
	if report.TallyProblems, err = t.verifyTallies(ctx); err != nil {
		return report, err
	}
	more, err := t.verifySums(ctx)
	if err != nil {
		return report, err
	}
	report.TallyProblems = append(report.TallyProblems, more...)
	if report.GuardProblems, err = t.verifyGuards(ctx); err != nil {
		return report, err
	}
	report.AttachmentProblems, err = t.verifyAttachments(ctx)
	return report, err
}

// recordedChain is what the database says of a site's chain.
type recordedChain struct {
	id     int
	code   string
	length int64
	head   ledger.Link
	// known is false when the site has records and no chain, or no site.
	known bool
}

// recordedChains reads the chain of each site and, so that nothing hides behind
// a row that was taken away, of each key that records or a chain stand under.
func (t *tx) recordedChains(ctx context.Context) (chains []recordedChain, err error) {
	err = t.query(ctx, func(rows *sql.Rows) error {
		var c recordedChain
		var code sql.NullString
		var length sql.NullInt64
		var head []byte
		if err := rows.Scan(&c.id, &code, &length, &head); err != nil {
			return err
		}
		c.code, c.length, c.known = code.String, length.Int64, code.Valid && length.Valid && len(head) == len(c.head)
		if !code.Valid {
			c.code = fmt.Sprintf("(site key %d)", c.id)
		}
		copy(c.head[:], head)
		chains = append(chains, c)
		return nil
	}, fmt.Sprintf(`SELECT k.id, s.code, c.sequence, c.link
FROM (SELECT id FROM sites UNION SELECT id FROM chains UNION SELECT DISTINCT id >> %d FROM records) k
LEFT JOIN sites s ON s.id = k.id LEFT JOIN chains c ON c.id = k.id ORDER BY s.code, k.id`, sequenceBits))
	return chains, err
}

// verifyChain walks one site's chain in windows, so that memory does not grow
// with the number of records.
func (t *tx) verifyChain(ctx context.Context, c recordedChain) (SiteReport, error) {
	const window = 2000
	report := SiteReport{Site: c.code, Head: c.head.String()}
	problem := func(format string, args ...any) {
		if len(report.Problems) < mostProblems {
			report.Problems = append(report.Problems, fmt.Sprintf(format, args...))
		}
	}
	if !c.known {
		problem("the site or the head of its chain is missing")
	}
	base, length := int64(c.id)<<sequenceBits, c.length
	previous := ledger.FirstLink(c.code)
	for from := int64(1); from <= length; from += window {
		records, err := t.recordsBetween(ctx, base+from, base+min(from+window-1, length))
		if err != nil {
			return report, err
		}
		for sequence := from; sequence <= min(from+window-1, length); sequence++ {
			r, ok := records[base+sequence]
			if !ok {
				problem("record %d of the chain is missing, or is not of its kind", sequence)
				continue
			}
			report.Records++
			if want := ledger.NextLink(previous, r); want != r.Head().Link {
				problem("record %d (%s) does not match its link: it, or the one before it, was changed", sequence, ledger.RecordResource(r))
			}
			previous = r.Head().Link
		}
	}
	if previous != c.head {
		problem("the chain ends at %s, not at its recorded head %s", previous, c.head)
	}
	if err := t.strays(ctx, base, base+1<<sequenceBits, problem); err != nil {
		return report, err
	}
	beyond, err := t.countBeyond(ctx, base+length, base+1<<sequenceBits)
	if err != nil {
		return report, err
	}
	if beyond > 0 {
		problem("%d records stand beyond the end of the chain", beyond)
	}
	return report, nil
}

func (t *tx) recordsBetween(ctx context.Context, from, to int64) (map[int64]ledger.Record, error) {
	records := map[int64]ledger.Record{}
	for kind := range kindTables {
		var c clause
		c.add("x.id >= ?", from)
		c.add("x.id <= ?", to)
		found, err := t.recordsWhere(ctx, kind, &c, "")
		if err != nil {
			return nil, err
		}
		for _, k := range found {
			records[k.id] = k.Record
		}
	}
	keys := make([]any, 0, len(records))
	for id := range records {
		keys = append(keys, id)
	}
	findings, err := t.findingsOf(ctx, keys)
	for id, r := range records {
		r.Head().FindingsSum = rules.Sum(findings[id])
	}
	return records, err
}

func (t *tx) countBeyond(ctx context.Context, last, end int64) (n int64, err error) {
	err = t.sql.QueryRowContext(ctx, t.engine.bind("SELECT count(*) FROM records WHERE id > ? AND id < ?"), last, end).Scan(&n)
	return n, err
}

// strays reports what the links can't cover: rows of content under a record of
// another kind or under none, and references that a kind of record does not use.
func (t *tx) strays(ctx context.Context, from, to int64, problem func(string, ...any)) error {
	for _, kind := range slices.Sorted(maps.Keys(kindTables)) {
		own := kindTables[kind]
		err := t.query(ctx, func(rows *sql.Rows) error {
			var id int64
			err := rows.Scan(&id)
			problem("%s %d is not the content of a record of that kind", own.table, id&(1<<sequenceBits-1))
			return err
		}, "SELECT x.id FROM "+own.table+" x LEFT JOIN records r ON r.id = x.id AND r.kind = ? WHERE x.id >= ? AND x.id < ? AND r.id IS NULL ORDER BY x.id LIMIT ?",
			uint8(kind), from, to, mostProblems)
		if err != nil {
			return err
		}
		if own.contrary != "" {
			if err := t.contradictions(ctx, kind, from, to, problem); err != nil {
				return err
			}
		}
		if len(own.unused) == 0 {
			continue
		}
		err = t.query(ctx, func(rows *sql.Rows) error {
			var id int64
			err := rows.Scan(&id)
			problem("record %d names something that a %s does not name", id&(1<<sequenceBits-1), ledger.RecordKinds.Name(kind))
			return err
		}, "SELECT id FROM records WHERE kind = ? AND id >= ? AND id < ? AND ("+strings.Join(own.unused, " IS NOT NULL OR ")+" IS NOT NULL) ORDER BY id LIMIT ?",
			uint8(kind), from, to, mostProblems)
		if err != nil {
			return err
		}
	}
	return nil
}

// contradictions reports records whose references do not fit one another: some
// are kept twice, so that they are found quickly, and the links cover them once.
func (t *tx) contradictions(ctx context.Context, kind ledger.RecordKind, from, to int64, problem func(string, ...any)) error {
	own := kindTables[kind]
	return t.query(ctx, func(rows *sql.Rows) error {
		var id int64
		err := rows.Scan(&id)
		problem("record %d (%s) names one thing in one place and another in another", id&(1<<sequenceBits-1), ledger.RecordKinds.Name(kind))
		return err
	}, "SELECT x.id FROM "+own.table+" x JOIN records r ON r.id = x.id WHERE x.id >= ? AND x.id < ? AND ("+own.contrary+") ORDER BY x.id LIMIT ?", from, to, mostProblems)
}

// verifyTallies compares the tallies with a recount from the records.
func (t *tx) verifyTallies(ctx context.Context) (problems []string, err error) {
	const key = tallyKeys
	err = t.query(ctx, func(rows *sql.Rows) error {
		var k tallyKey
		var n int64
		if err := rows.Scan(&k.site, &k.day, &k.lot, &k.revision, &k.treatment, &k.method, &k.outcome, &n); err != nil {
			return err
		}
		if len(problems) < mostProblems {
			problems = append(problems, fmt.Sprintf("site key %d, day %d, lot key %d, specification key %d, treatment %q, driving method %q, outcome %d: the tally is %+d fasteners off the records",
				k.site, k.day, k.lot, k.revision, ledger.Treatments.Name(ledger.Treatment(k.treatment)), ledger.DrivingMethods.Name(ledger.DrivingMethod(k.method)), k.outcome, n))
		}
		return nil
	}, `SELECT `+key+`, SUM(n) FROM (
SELECT `+key+`, fasteners AS n FROM tallies
UNION ALL
SELECT `+key+`, -fasteners FROM (`+recordCounts+`) counted
) both_ways GROUP BY `+key+` HAVING SUM(n) <> 0`)
	return problems, err
}
