package store_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// verified keeps twelve records at Denver and gives four, one of each kind,
// between others. They name no tool, so that no rule finds anything in them and
// nothing stands in the chain besides.
func verified(t *testing.T, s *store.Store) []ledger.Record {
	t.Helper()
	records := slices.Concat(oneOfEach(), oneOfEach(), oneOfEach())
	for _, r := range records {
		r.Head().Note = "as it was"
		switch r := r.(type) {
		case *ledger.Tightening:
			r.Tool = ""
		case *ledger.Incident:
			r.Tool = ""
		}
	}
	storetest.Record(t, s, records...)
	return records[4:8]
}

func problemsOf(t *testing.T, s *store.Store) (chain, tallies []string) {
	t.Helper()
	report, err := s.Verify(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, one := range report.Sites {
		for _, p := range one.Problems {
			chain = append(chain, one.Site+": "+p)
		}
	}
	if report.OK() != (len(chain)+len(report.TallyProblems)+len(report.GuardProblems)+len(report.AttachmentProblems) == 0) {
		t.Errorf("OK is %t with problems %v and %v", report.OK(), chain, report.TallyProblems)
	}
	return chain, report.TallyProblems
}

func testVerifySound(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	report := soundReport(t, s)
	if len(report.Sites) != 2 || report.Sites[0].Site != storetest.Kolkata || report.Sites[1].Site != storetest.Denver {
		t.Fatalf("sites %+v; expected both in the order of their codes", report.Sites)
	}
	for _, one := range report.Sites {
		if want := ledger.FirstLink(one.Site).String(); one.Records != 0 || one.Head != want {
			t.Errorf("%+v; expected no records and the first link %s", one, want)
		}
	}
	records := verified(t, s)
	report = soundReport(t, s)
	last, err := s.FindRecord(ctx, ledger.KindTightening, records[2].Head().ID)
	if err != nil {
		t.Fatal(err)
	}
	if report.Sites[1].Records != 12 || report.Sites[0].Records != 0 {
		t.Errorf("%+v; expected 12 records at one site", report.Sites)
	}
	if report.Sites[1].Head == last.Head().Link.String() {
		t.Error("the head is the link of a record in the middle")
	}

	t.Log("the chain over what was read, link by link, without the store")
	var chain []ledger.Record
	for _, kind := range []ledger.RecordKind{ledger.KindTightening, ledger.KindIncident, ledger.KindCalibration, ledger.KindLotMovement} {
		some, _, err := s.Records(ctx, store.RecordFilter{Kind: kind}, store.Page{Size: 100})
		if err != nil {
			t.Fatal(err)
		}
		chain = append(chain, some...)
	}
	slices.SortFunc(chain, func(a, b ledger.Record) int { return int(a.Head().Sequence - b.Head().Sequence) })
	found, _, err := s.Findings(ctx, store.FindingFilter{}, store.Page{Size: 1000})
	if err != nil {
		t.Fatal(err)
	}
	findings := map[string][]rules.Finding{}
	for _, f := range found {
		findings[f.Record] = append(findings[f.Record], f.Finding)
	}
	link := ledger.FirstLink(storetest.Denver)
	for i, r := range chain {
		r.Head().FindingsSum = rules.Sum(findings[ledger.RecordResource(r)])
		link = ledger.NextLink(link, r)
		if r.Head().Sequence != int64(i+1) || r.Head().Link != link {
			t.Errorf("record %d of the list is number %d with link %s; expected %s", i+1, r.Head().Sequence, r.Head().Link, link)
		}
	}
	if link.String() != report.Sites[1].Head {
		t.Errorf("head %s; expected %s", report.Sites[1].Head, link)
	}
}

func testVerifyFindsWhatIsMissing(t *testing.T, e storetest.Engine) {
	c := e.NewConfig(t)
	s := storetest.OpenFleet(t, c)
	records := verified(t, s)
	w := newTamperer(t, e, c)
	at := func(sequence int64) string { return fmt.Sprintf("id %% 1099511627776 = %d", sequence) }
	tightening, incident := records[2].Head().Sequence, records[3].Head().Sequence
	for _, tamper := range []struct {
		what  string
		do    []string
		mend  []string
		named []string
	}{
		{"a record is deleted", []string{"DELETE FROM records WHERE " + at(tightening), "DELETE FROM tightenings WHERE " + at(tightening)},
			[]string{"records", "tightenings"}, []string{fmt.Sprintf("RVB: record %d of the chain is missing", tightening)}},
		{"the content of a record is deleted", []string{"DELETE FROM incidents WHERE " + at(incident)},
			[]string{"incidents"}, []string{fmt.Sprintf("RVB: record %d of the chain is missing", incident)}},
		{"the last record is deleted", []string{"DELETE FROM records WHERE " + at(12), "DELETE FROM incidents WHERE " + at(12)},
			[]string{"records", "incidents"}, []string{"RVB: record 12 of the chain is missing", "RVB: the chain ends at"}},
		{"all records are deleted", []string{"DELETE FROM records", "DELETE FROM tightenings", "DELETE FROM incidents", "DELETE FROM calibrations", "DELETE FROM lot_movements"},
			recordTables, []string{"RVB: record 1 of the chain is missing", "RVB: record 12 of the chain is missing"}},
		{"two records are swapped", swapped("records", tightening, tightening-4),
			[]string{"records"}, []string{fmt.Sprintf("RVB: record %d (", tightening-4), fmt.Sprintf("RVB: record %d (", tightening)}},
		{"the content of two records is swapped with them", append(swapped("records", tightening, tightening-4), swapped("tightenings", tightening, tightening-4)...),
			[]string{"records", "tightenings"}, []string{fmt.Sprintf("RVB: record %d (", tightening-4), fmt.Sprintf("RVB: record %d (", tightening)}},
		{"content is slipped in under a record of another kind", []string{fmt.Sprintf(
			"INSERT INTO incidents (id, kind, fasteners, treatment, method, noticed, action, specification_revision_id) SELECT id, 1, 5, 1, 1, '', '', 1 FROM tightenings WHERE %s", at(tightening))},
			[]string{"incidents"}, []string{fmt.Sprintf("RVB: incidents %d is not the content of a record of that kind", tightening)}},
		{"a record is put beyond the end", []string{"UPDATE chains SET sequence = 11 WHERE sequence = 12"},
			[]string{"chains"}, []string{"RVB: 1 records stand beyond the end of the chain", "RVB: the chain ends at"}},
		{"the head is changed", []string{"UPDATE chains SET link = (SELECT link FROM records WHERE " + at(3) + ") WHERE sequence = 12"},
			[]string{"chains"}, []string{"RVB: the chain ends at"}},
		{"the head is cut short", []string{"UPDATE chains SET link = " + map[bool]string{true: `'\x00'`, false: "x'00'"}[w.postgres()] + " WHERE sequence = 12"},
			[]string{"chains"}, []string{"RVB: the site or the head of its chain is missing"}},
		{"the head is deleted", []string{"DELETE FROM chains"},
			[]string{"chains"}, []string{"RVB: the site or the head of its chain is missing", "RVB: 12 records stand beyond", "KVR: the site or the head"}},
		{"a site is deleted", []string{"DELETE FROM sites WHERE code = 'RVB'"},
			[]string{"sites"}, []string{"the site or the head of its chain is missing", "record 1 of the chain is missing"}},
		{"a site is deleted with its chain", []string{"DELETE FROM chains WHERE sequence = 12", "DELETE FROM sites WHERE code = 'RVB'"},
			[]string{"sites", "chains"}, []string{"the site or the head of its chain is missing", "12 records stand beyond"}},
		{"a site is renamed", []string{"UPDATE sites SET code = 'RVX' WHERE code = 'RVB'"},
			[]string{"sites"}, []string{"RVX: record 1 ("}},
	} {
		for _, query := range tamper.do {
			w.exec(query)
		}
		chain, _ := problemsOf(t, s)
		for _, named := range tamper.named {
			if !slices.ContainsFunc(chain, func(p string) bool { return strings.Contains(p, named) }) {
				t.Errorf("%s: problems %q lack %q", tamper.what, chain, named)
			}
		}
		w.mend(tamper.mend...)
	}
	w.guard()
	soundReport(t, s)
}

// swapped exchanges the keys of two rows.
func swapped(table string, a, b int64) []string {
	set := func(from, to int64) string {
		return fmt.Sprintf("UPDATE %s SET id = id - %d + %d WHERE id %% 1099511627776 = %d", table, from, to, from)
	}
	return []string{set(a, 900), set(b, a), set(900, b)}
}

func testVerifyFindsTallies(t *testing.T, e storetest.Engine) {
	c := e.NewConfig(t)
	s := storetest.OpenFleet(t, c)
	verified(t, s)
	w := newTamperer(t, e, c)
	tampers := []string{"DELETE FROM tallies WHERE outcome = 0", "DELETE FROM tallies", "UPDATE tallies SET fasteners = fasteners - 1 WHERE outcome = 1",
		"INSERT INTO tallies (id, site_id, day, lot_id, specification_revision_id, treatment, method, outcome, fasteners) VALUES (9999, 1, 1, 1, 1, 1, 1, 0, 7)"}
	for column := range w.columns("tallies") {
		if column != "id" {
			tampers = append(tampers, fmt.Sprintf("UPDATE tallies SET %s = %s + 100 WHERE outcome = 0", column, column))
		}
	}
	for _, tamper := range tampers {
		if w.exec(tamper) == 0 {
			t.Fatalf("%s changed nothing", tamper)
		}
		chain, tallies := problemsOf(t, s)
		if len(tallies) == 0 || len(chain) > 0 {
			t.Errorf("%s: tally problems %q, chain problems %q; expected the tallies alone", tamper, tallies, chain)
		}
		w.mend("tallies")
	}
	w.exec("UPDATE tallies SET fasteners = fasteners + 3 WHERE outcome = 0")
	_, tallies := problemsOf(t, s)
	if len(tallies) != 1 || !strings.Contains(tallies[0], "+3 fasteners off") || !strings.Contains(tallies[0], `treatment "anti-seize"`) {
		t.Errorf("tally problems %q; expected one, 3 too many with anti-seize", tallies)
	}
	w.mend("tallies")
	w.guard()
	soundReport(t, s)
}

// testRecordsAreNeverChanged tries what the triggers refuse, to whoever asks.
func testRecordsAreNeverChanged(t *testing.T, e storetest.Engine) {
	c := e.NewConfig(t)
	s := storetest.OpenFleet(t, c)
	everyKind(t, s)
	db := storetest.Raw(t, c)
	for _, table := range append([]string{"specification_revisions"}, recordTables...) {
		tries := []string{"UPDATE " + table + " SET id = id", "DELETE FROM " + table, "DELETE FROM " + table + " WHERE id > 0"}
		if e.Name == "postgres" {
			tries = append(tries, "TRUNCATE "+table+" CASCADE")
		}
		var before, after int
		count(t, db, table, &before)
		for _, try := range tries {
			if _, err := db.Exec(try); err == nil || !strings.Contains(err.Error(), "a record is never edited or deleted") {
				t.Errorf("%s: %v; expected it to be refused", try, err)
			}
		}
		if count(t, db, table, &after); before != after || before == 0 {
			t.Errorf("%s has %d rows after %d", table, after, before)
		}
	}
	soundReport(t, s)
}

func count(t *testing.T, db querier, table string, n *int) {
	t.Helper()
	if err := db.QueryRowContext(context.Background(), "SELECT count(*) FROM "+table).Scan(n); err != nil {
		t.Fatal(err)
	}
}
