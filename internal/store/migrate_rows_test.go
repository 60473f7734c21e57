package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/gofrs/flock"
	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	"jointledger/migrations"
)

// firstVersion makes a database of version 1 with a row in each table, as the
// first release would have left it: its chain is sound.
func firstVersion(t *testing.T, e storetest.Engine) (store.Config, ledger.Record) {
	t.Helper()
	c := e.Empty(t)
	migrateTo(t, e, c, 1)
	db := storetest.Raw(t, c)
	insert := func(query string, args ...any) {
		t.Helper()
		if e.Name == "postgres" {
			for i := 1; strings.Contains(query, "?"); i++ {
				query = strings.Replace(query, "?", fmt.Sprintf("$%d", i), 1)
			}
		}
		if _, err := db.Exec(query, args...); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
	}
	const revised = "version, create_time, update_time"
	insert("INSERT INTO sites (" + revised + ", id, code, name, region, time_zone, status, units) VALUES (1, 10, 10, 7, 'RVB', 'Riverbend', 'mountain', 'America/Denver', 2, 1)")
	insert("INSERT INTO towers (" + revised + ", id, tag, material, drawing, planned_start, planned_finish, site_id) VALUES (1, 10, 10, 3, 'CT1', 3, '', '', '', 7)")
	insert("INSERT INTO cells (" + revised + ", id, tag, description, tower_id) VALUES (1, 10, 10, 4, 'C1', '', 3)")
	insert("INSERT INTO specifications (" + revised + ", id, code) VALUES (1, 10, 10, 5, 'SS-M10-STR')")
	insert(`INSERT INTO specification_revisions (id, revision, create_time, treatment, locking, torque_nm, torque_tolerance_pct, torque_basis, nut_factor, torque_tool_required,
sealant, seal_width_mm, thread, length_mm, material, property_class, coating, head, specification_id) VALUES (6, 1, 10, 2, 1, 32, 10, 2, 0, true, '', 0, 'M10', 40, 3, '', '', '', 5)`)
	insert("INSERT INTO joints (" + revised + ", id, tag, kind, critical, part_a, part_b, fasteners, cell_id, specification_id) VALUES (1, 10, 10, 8, 'J001', 1, true, '', '', 24, 4, 5)")
	insert("INSERT INTO lots (" + revised + ", id, number, supplier, heat, description, state, thread, length_mm, material, property_class, coating, head) VALUES (1, 10, 10, 9, 'M10-316-4471', 'Alder', '', '', 1, 'M10', 40, 3, '', '', '')")
	insert("INSERT INTO tools (" + revised + ", id, serial, kind, type_class, min_nm, max_nm, resolution_nm, interval_months, interval_cycles, due_after_event, home_site_id) VALUES (1, 10, 10, 11, 'TW-0107', 1, '', 20, 100, 0, 12, 0, false, 7)")
	insert("INSERT INTO people (" + revised + ", id, code, name, employer, roles, qualifications, home_site_id) VALUES (1, 10, 10, 12, 'a.reyes', '', '', '[1]', '[]', 7)")
	insert("INSERT INTO request_keys (request_id, digest, create_time) VALUES (?, ?, 10)", storetest.NewID().String(), make([]byte, 32))

	r := storetest.NewTightening("RVB/CT1/C1/J001", func(r *ledger.Tightening) { r.Note = "it's the first" })
	r.ReceiveTime, r.Sequence, r.Specification = r.OccurTime.AddDate(0, 0, 1), 1, ledger.SpecificationRef{Code: "SS-M10-STR", Revision: 1}
	r.LocalDay = 20514 // 2026-03-02, 56 years of which 14 are leap years and 60 days after 1970-01-01
	r.Link = ledger.NextLink(ledger.FirstLink("RVB"), r)
	key := int64(7)<<40 + 1
	insert(`INSERT INTO records (id, uid, kind, site_id, joint_id, lot_id, tool_id, person_id, occur_time, offset_minutes, local_day, receive_time, device, note, link)
VALUES (?, ?, 1, 7, 8, 9, 11, 12, ?, ?, ?, ?, ?, ?, ?)`, key, r.ID[:], r.OccurTime.UnixMicro(), r.OffsetMinutes, r.LocalDay, r.ReceiveTime.UnixMicro(), r.Device, r.Note, r.Link[:])
	insert("INSERT INTO tightenings (id, treatment, compound_batch, torque_nm, torque_as_typed, fasteners, pass, method, specification_revision_id) VALUES (?, ?, ?, ?, ?, ?, ?, ?, 6)",
		key, int(r.Treatment), r.CompoundBatch, *r.TorqueNewtonMetres, r.TorqueAsTyped, r.Fasteners, int(r.Pass), int(r.Method))
	insert("INSERT INTO chains (id, sequence, link) VALUES (7, 1, ?)", r.Link[:])
	insert("INSERT INTO tallies (site_id, day, lot_id, specification_revision_id, treatment, method, outcome, fasteners) VALUES (7, ?, 9, 6, ?, ?, 0, ?)", r.LocalDay, int(r.Treatment), int(r.Method), r.Fasteners)
	return c, r
}

func rowCounts(t *testing.T, db *sql.DB, tables []string) map[string]int {
	t.Helper()
	counts := map[string]int{}
	for _, table := range tables {
		var n int
		count(t, db, table, &n)
		counts[table] = n
	}
	return counts
}

// TestMigrationKeepsRows migrates a database of the first version with rows in
// it, and asks it afterwards what it was told before.
func TestMigrationKeepsRows(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		c, kept := firstVersion(t, e)
		db := storetest.Raw(t, c)
		tables := tablesOf(t, e, db)
		before := rowCounts(t, db, tables)
		if current, latest, dirty, err := store.MigrationStatus(ctx, c); current != 1 || latest != migrations.Latest || dirty || err != nil {
			t.Errorf("status %d of %d, dirty %t, %v; expected 1", current, latest, dirty, err)
		}
		from, to, err := store.MigrateUp(ctx, c)
		if from != 1 || to != migrations.Latest || err != nil {
			t.Fatalf("migrated from %d to %d, %v", from, to, err)
		}
		if diff := cmp.Diff(before, rowCounts(t, db, tables)); diff != "" {
			t.Errorf("rows (-before +after):\n%s", diff)
		}
		if from, to, err = store.MigrateUp(ctx, c); from != migrations.Latest || to != migrations.Latest || err != nil {
			t.Errorf("migrated again from %d to %d, %v; expected nothing to do", from, to, err)
		}
		s := storetest.Open(t, c)
		got := storedRecords(t, s, []ledger.Record{kept})[0]
		if diff := cmp.Diff(kept, got); diff != "" {
			t.Errorf("the record (-kept by the first version +read now):\n%s", diff)
		}
		if n := chainLength(t, s, "RVB"); n != 1 {
			t.Errorf("%d records in the chain; expected 1", n)
		}
		counts, err := s.Counts(ctx, analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite, analysis.ByLot, analysis.ByMonth}})
		if want := []analysis.Count{{Values: []string{"RVB", "M10-316-4471", "2026-03"}, Tightened: 8}}; err != nil || cmp.Diff(want, counts) != "" {
			t.Errorf("counts %+v, %v; expected %+v", counts, err, want)
		}
		stock, err := s.LotStock(ctx, "M10-316-4471")
		if want := []ledger.LotStock{{Site: "RVB", Used: 8, OnHand: -8}}; err != nil || cmp.Diff(want, stock) != "" {
			t.Errorf("stock %+v, %v; expected %+v", stock, err, want)
		}
		due, err := s.DueInputs(ctx, analysis.DueQuery{AsOf: kept.Head().ReceiveTime})
		if err != nil || len(due) != 1 || len(due[0].Uses) != 1 || due[0].Uses[0].Fasteners != 8 {
			t.Errorf("due inputs %+v, %v; expected one tool with 8 fasteners", due, err)
		}
		storetest.Record(t, s, storetest.NewTightening("RVB/CT1/C1/J001"))
		soundReport(t, s)
	})
}

// TestBackupBeforeMigration opens the backup that was made, and finds in it all
// that was there.
func TestBackupBeforeMigration(t *testing.T) {
	t.Parallel()
	e := storetest.SQLite()
	c, _ := firstVersion(t, e)
	db := storetest.Raw(t, c)
	tables := tablesOf(t, e, db)
	before := rowCounts(t, db, tables)
	storetest.Open(t, c)
	backups, err := filepath.Glob(filepath.Join(c.DataDir, "backups", "*"))
	if err != nil || len(backups) != 1 || !strings.HasPrefix(filepath.Base(backups[0]), "before-migration-from-0001-") {
		t.Fatalf("backups %v, %v; expected one of version 1", backups, err)
	}
	restored := store.Config{DataDir: t.TempDir(), Logger: c.Logger}
	made, err := os.ReadFile(backups[0])
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(restored.DataDir, storetest.DatabaseFile), made, 0o600); err != nil {
		t.Fatal(err)
	}
	backup := storetest.Raw(t, restored)
	if v := versionOf(t, backup); v != "1" {
		t.Errorf("the backup has version %s; expected 1", v)
	}
	if diff := cmp.Diff(before, rowCounts(t, backup, tables)); diff != "" {
		t.Errorf("rows (-before +in the backup):\n%s", diff)
	}
	if sound := lines(t, backup, "PRAGMA integrity_check"); len(sound) != 1 || sound[0] != "ok" {
		t.Errorf("integrity of the backup: %v", sound)
	}
	if err := backup.Close(); err != nil {
		t.Fatal(err)
	}
	t.Log("restored, it is migrated in its turn")
	soundReport(t, storetest.Open(t, restored))
	if again, err := filepath.Glob(filepath.Join(c.DataDir, "backups", "*")); err != nil || len(again) != 1 {
		t.Errorf("backups %v, %v; opening a migrated database makes none", again, err)
	}
}

// TestNoMigrationUnderAServer holds the lock that a serving store holds.
func TestNoMigrationUnderAServer(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	c, _ := firstVersion(t, storetest.SQLite())
	serving := flock.New(filepath.Join(c.DataDir, "serve.lock"))
	if ok, err := serving.TryRLock(); !ok || err != nil {
		t.Fatal(ok, err)
	}
	_, err := store.Open(ctx, c)
	wantError(t, err, ledger.KindUnavailable, ledger.ReasonStoreUnavailable, "another trackerd serves "+c.DataDir, "stop it first")
	if _, _, err := store.MigrateUp(ctx, c); err == nil {
		t.Error("migrated under a server's feet")
	}
	if v := versionOf(t, storetest.Raw(t, c)); v != "1" {
		t.Errorf("version %s; expected it to be left at 1", v)
	}
	if backups, _ := filepath.Glob(filepath.Join(c.DataDir, "backups", "*")); len(backups) != 0 {
		t.Errorf("backups %v of a migration that was refused", backups)
	}
	if err := serving.Unlock(); err != nil {
		t.Fatal(err)
	}
	first := storetest.Open(t, c)
	t.Log("a second server of the same version is no trouble, and keeps the lock with the first")
	second := storetest.Open(t, c)
	soundReport(t, second)
	other := flock.New(filepath.Join(c.DataDir, "serve.lock"))
	if ok, err := other.TryLock(); ok || err != nil {
		t.Errorf("the lock was to be had, %v, with two stores open", err)
	}
	for _, s := range []*store.Store{first, second} {
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if ok, err := other.TryLock(); !ok || err != nil {
		t.Errorf("the lock was not to be had, %v, with no store open", err)
	}
	other.Unlock()
}
