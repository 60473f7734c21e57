package store_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	"jointledger/migrations"
)

// Each released schema leaves a dump of a small database behind, which every
// later program must open. The dump of the newest is made with -update; those of
// older ones are never made again.
var update = flag.Bool("update", false, "write the dump of the newest schema, testdata/sqlite-vN.sql, anew")

// dumpedCertificate is that of the calibration in every dump.
const dumpedCertificate = "C-26-118"

// dumpedRecords are what each dump holds, so that what is read from it can be told
// in figures. They break no rule, and name no tool: nothing else stands in the
// chains.
func dumpedRecords(certificate string) []ledger.Record {
	withoutTool := func(r *ledger.Tightening) { r.Tool = "" }
	return []ledger.Record{
		storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver),
		storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.Certificate = certificate }),
		storetest.NewTightening(storetest.DenverJoint, withoutTool, func(r *ledger.Tightening) { r.Note = "it's 2 °C; \"cold\"\nand windy 🌬" }),
		storetest.NewTightening(storetest.DenverJoint, withoutTool, func(r *ledger.Tightening) { r.Pass, r.TorqueNewtonMetres = ledger.PassFinal, nil }),
		storetest.NewTightening(storetest.KolkataJoint, withoutTool),
		storetest.NewIncident(ledger.Galling, storetest.DenverJoint, func(r *ledger.Incident) { r.Tool = "" }),
		storetest.NewIncident(ledger.NearMiss, storetest.KolkataJoint, func(r *ledger.Incident) {
			r.Tool, r.Joint, r.Lot, r.Treatment, r.Method, r.Fasteners = "", ledger.Place{}, "", 0, 0, 0
		}),
	}
}

// TestDumpsOfReleasedSchemas loads each dump, opens it and asks it everything.
func TestDumpsOfReleasedSchemas(t *testing.T) {
	t.Parallel()
	if *update {
		writeDump(t, migrations.Latest)
	}
	dumps, err := filepath.Glob(filepath.Join("testdata", "sqlite-v*.sql"))
	if err != nil || len(dumps) == 0 {
		t.Fatalf("dumps %v, %v", dumps, err)
	}
	if newest := filepath.Join("testdata", fmt.Sprintf("sqlite-v%d.sql", migrations.Latest)); !slices.Contains(dumps, newest) {
		t.Errorf("no %s; make it with go test ./internal/store -run TestDumps -update", newest)
	}
	for _, dump := range dumps {
		t.Run(filepath.Base(dump), func(t *testing.T) {
			t.Parallel()
			ctx := context.Background()
			text, err := os.ReadFile(dump)
			if err != nil {
				t.Fatal(err)
			}
			c := store.Config{DataDir: t.TempDir(), Logger: storetest.Logger(t)}
			db := storetest.Raw(t, c)
			mustExec(t, db, string(text))
			if got := fmt.Sprintf("sqlite-v%s.sql", versionOf(t, db)); got != filepath.Base(dump) {
				t.Errorf("it says that it is %s", got)
			}
			tables := slices.DeleteFunc(tablesOf(t, storetest.SQLite(), db), func(table string) bool {
				return table == "lot_sums" || table == "tool_uses" // counted from the records
			})
			before := rowCounts(t, db, tables)
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			s := storetest.Open(t, c)
			if diff := cmp.Diff(before, rowCounts(t, storetest.Raw(t, c), tables)); diff != "" {
				t.Errorf("rows (-in the dump +after opening):\n%s", diff)
			}
			checkDumped(t, ctx, s, filepath.Base(dump))
			if !slices.Contains(beforePrincipals, filepath.Base(dump)) {
				checkDumpedPrincipals(t, s)
			}
			if filepath.Base(dump) == "sqlite-v2.sql" {
				checkOldQuarantine(t, s)
			}
		})
	}
}

// beforePrincipals are the dumps from when nobody was registered to call.
var beforePrincipals = []string{"sqlite-v2.sql", "sqlite-v4.sql", "sqlite-v7.sql"}

// registerDumped registers who may call, in the dumps since then.
func registerDumped(t *testing.T, s *store.Store) {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(s.AddPrincipal(ctx, store.Principal{Name: "nd1", Description: "Nessa's tablet", Grants: []store.Grant{{Role: 1, RoleWord: "technician", Site: storetest.Denver}, {Role: 4, RoleWord: "quality", Region: "south"}}}, "the crib"))
	must(s.WithdrawRoles(ctx, "nd1", []store.Grant{{Role: 4, RoleWord: "quality", Region: "south"}}, "the crib"))
	must(s.AddCredential(ctx, store.Credential{ID: "dumped", Principal: "nd1", Kind: store.BearerToken, Digest: []byte("digest")}, "the crib"))
	must(s.RevokeCredential(ctx, "dumped", "the crib"))
	must(s.SetPrincipalDisabled(ctx, "nd1", true, "the crib"))
}

// checkDumpedPrincipals looks for who was registered, and for what was done about it.
func checkDumpedPrincipals(t *testing.T, s *store.Store) {
	t.Helper()
	a, err := s.Access(t.Context(), "")
	if err != nil || len(a.Principals) != 1 {
		t.Fatalf("%+v, %v; expected one principal", a, err)
	}
	p := a.Principals[0]
	if p.Name != "nd1" || !p.Disabled || len(p.Grants) != 2 || !p.Grants[0].Stands() || p.Grants[0].Site != storetest.Denver || p.Grants[1].Stands() ||
		len(p.Credentials) != 1 || p.Credentials[0].ID != "dumped" || p.Credentials[0].RevokeTime.IsZero() || string(p.Credentials[0].Digest) != "digest" {
		t.Errorf("principal %+v", p)
	}
	entries, err := s.AuditEntries(t.Context(), store.AuditFilter{})
	if err != nil || len(entries) != 5 || entries[4].Act != "principal disable" || entries[4].Principal != "the crib" {
		t.Errorf("audit record %+v, %v", entries, err)
	}
}

// beforeUncertainty are the dumps from when readings were taken without it.
var beforeUncertainty = []string{"sqlite-v2.sql", "sqlite-v4.sql", "sqlite-v7.sql"}

func checkDumped(t *testing.T, ctx context.Context, s *store.Store, dump string) {
	t.Helper()
	sent := dumpedRecords(dumpedCertificate)
	if slices.Contains(beforeUncertainty, dump) {
		sent[1].(*ledger.Calibration).Points[1].ExpandedUncertaintyNewtonMetres = 0
	}
	lengths := map[string]int64{}
	for _, one := range soundReport(t, s).Sites {
		lengths[one.Site] = one.Records
	}
	if diff := cmp.Diff(map[string]int64{storetest.Denver: 5, storetest.Kolkata: 2}, lengths); diff != "" {
		t.Errorf("lengths of the chains (-want +got):\n%s", diff)
	}
	var read []ledger.Record
	for _, kind := range []ledger.RecordKind{ledger.KindLotMovement, ledger.KindCalibration, ledger.KindTightening, ledger.KindIncident} {
		some, _, err := s.Records(ctx, store.RecordFilter{Kind: kind}, store.Page{Size: 100})
		if err != nil {
			t.Fatal(err)
		}
		read = append(read, some...)
	}
	if len(read) != len(sent) {
		t.Fatalf("%d records; expected %d", len(read), len(sent))
	}
	for i, r := range read {
		want := resent(sent[i])
		want.Head().ID = r.Head().ID // made anew for each dump
		if diff := cmp.Diff(want, resent(r)); diff != "" {
			t.Errorf("record %d (-as it was sent +read):\n%s", i, diff)
		}
	}
	counts, err := s.Counts(ctx, analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite, analysis.ByTreatment, analysis.ByMonth}})
	want := []analysis.Count{{Values: []string{"KVR", "anti-seize", "2026-03"}, Tightened: 8}, {Values: []string{"RVB", "anti-seize", "2026-03"}, Tightened: 8}}
	want[1].Incidents[ledger.Galling] = 1
	if diff := cmp.Diff(want, counts); err != nil || diff != "" {
		t.Errorf("counts, %v (-want +got):\n%s", err, diff)
	}
	stock, err := s.LotStock(ctx, storetest.StainlessLot)
	if diff := cmp.Diff([]ledger.LotStock{{Site: "KVR", Used: 8, OnHand: -8}, {Site: "RVB", Received: 1000, Used: 9, OnHand: 991}}, stock); err != nil || diff != "" {
		t.Errorf("stock, %v (-want +got):\n%s", err, diff)
	}
	f := storetest.NewFleet()
	for _, want := range f.Tools {
		if got, err := s.Tool(ctx, want.Serial); err != nil || cmp.Diff(want, got, given) != "" {
			t.Errorf("tool %+v, %v; expected %+v", got, err, want)
		}
	}
	for _, want := range f.People {
		if got, err := s.Person(ctx, want.ID); err != nil || cmp.Diff(want, got, given) != "" {
			t.Errorf("person %+v, %v; expected %+v", got, err, want)
		}
	}
	storetest.Record(t, s, dumpedRecords("C-26-119")...)
	soundReport(t, s)
}

// checkOldQuarantine asks about the lot that the program of version 2 kept as
// quarantined, without a hold: it stays so, and counts as held, until its state is
// changed.
func checkOldQuarantine(t *testing.T, s *store.Store) {
	t.Helper()
	d := &diary{t, s, storetest.Occurred}
	const number = storetest.GalvanizedLot
	if state := d.lotState(number); state != "quarantined" {
		t.Errorf("lot %s is %s; expected quarantined", number, state)
	}
	old, err := s.Lot(t.Context(), number)
	if err != nil {
		t.Fatal(err)
	}
	use := func(at time.Time) (held bool) {
		d.now = at
		outcome := d.keep(storetest.NewTightening(mechanical, func(r *ledger.Tightening) { r.Lot, r.Tool = number, "" }))
		return slices.ContainsFunc(outcome.Findings, func(f rules.Finding) bool { return f.Rule == rules.CodeLotHeld })
	}
	if before, after := use(old.UpdateTime.Add(-time.Hour)), use(old.UpdateTime); before || !after {
		t.Errorf("used before its last change: held %t; after: held %t", before, after)
	}
	if state, err := d.setLot(number, func(l *ledger.Lot) { l.Description = "box 3" }); err != nil || state != "quarantined" {
		t.Errorf("with another description: %s, %v", state, err)
	}
	if state, err := d.setLot(number, func(l *ledger.Lot) { l.State = ledger.LotReleased }); err != nil || state != "released" || d.lotState(number) != state {
		t.Errorf("released: %s, %v", state, err)
	}
	if use(time.Now()) {
		t.Error("used after it was released: held")
	}
}

// writeDump fills a database and writes it down as SQL, as the sqlite3 shell's
// .dump does. For an older version than the newest it is migrated down first.
func writeDump(t *testing.T, version uint) {
	t.Helper()
	e := storetest.SQLite()
	c := e.NewConfig(t)
	s, err := store.Open(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	storetest.NewFleet().Register(t, s)
	storetest.Record(t, s, dumpedRecords(dumpedCertificate)...)
	registerDumped(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	migrateTo(t, e, c, version)
	db := storetest.Raw(t, c)
	text := []string{"PRAGMA foreign_keys=OFF;", "BEGIN TRANSACTION;"}
	statements := func(kinds string) []string {
		return mapped(lines(t, db, "SELECT sql FROM sqlite_master WHERE type IN ("+kinds+") AND sql IS NOT NULL AND name NOT LIKE 'sqlite_%' ORDER BY name"),
			func(s string) string { return s + ";" })
	}
	text = append(text, statements("'table'")...)
	for _, table := range append(tablesOf(t, e, db), "sqlite_sequence") {
		columns := lines(t, db, "SELECT name FROM pragma_table_info('"+table+"')")
		quoted := mapped(columns, func(c string) string { return `quote("` + c + `")` })
		for _, row := range lines(t, db, "SELECT "+strings.Join(quoted, " || ',' || ")+" FROM "+table+" ORDER BY rowid") {
			text = append(text, fmt.Sprintf(`INSERT INTO "%s" ("%s") VALUES(%s);`, table, strings.Join(columns, `","`), row))
		}
	}
	text = append(append(text, statements("'index', 'trigger'")...), "COMMIT;", "")
	if err := os.MkdirAll("testdata", 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join("testdata", fmt.Sprintf("sqlite-v%d.sql", version)), []byte(strings.Join(text, "\n")), 0o644); err != nil {
		t.Fatal(err)
	}
}
