package store_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// bare is a tamperer that has changed nothing yet, the guards included.
func bare(t *testing.T, e storetest.Engine, c store.Config) *tamperer {
	return &tamperer{t: t, db: storetest.Raw(t, c), engine: e}
}

func reportOf(t *testing.T, s *store.Store) store.Report {
	t.Helper()
	report, err := s.Verify(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return report
}

// guardedTables are those that hold what was recorded.
var guardedTables = []string{
	"audit_entries", "credential_revocations", "credentials", "grant_withdrawals", "grants", "principal_standings", "principals",
	"records", "tightenings", "incidents", "calibrations", "lot_movements", "specification_revisions", "sealings", "inspections",
	"custodies", "holds", "dispositions", "sign_offs", "corrections", "tool_checks", "alarms", "findings", "blobs", "attachments",
}

// A guard that is missing, switched off or has no teeth is told, by name.
func TestVerifyFindsMissingGuards(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		s := storetest.OpenFleet(t, c)
		soundReport(t, s)
		w := bare(t, e, c)
		w.dropGuards()
		var want []string
		for _, table := range guardedTables {
			for _, what := range map[bool][]string{true: {"change"}, false: {"update", "delete"}}[w.postgres()] {
				want = append(want, fmt.Sprintf("trigger %s_never_%s is missing: %s may have been changed", table, what, table))
			}
		}
		report := reportOf(t, s)
		if diff := cmp.Diff(want, report.GuardProblems, cmpopts.SortSlices(strings.Compare)); diff != "" || report.OK() {
			t.Errorf("none there, OK %t (-want +got):\n%s", report.OK(), diff)
		}
		w.guard()
		soundReport(t, s)

		tampers := map[string][2]string{ // what is done, and undone
			"trigger holds_never_update is switched off or another one": {
				"DROP TRIGGER holds_never_update; CREATE TRIGGER holds_never_update BEFORE UPDATE ON holds BEGIN SELECT 1; END",
				"DROP TRIGGER holds_never_update; " + madeBy(w.guards, "holds_never_update")},
			"trigger blobs_never_delete is switched off or another one": {
				"DROP TRIGGER blobs_never_delete; " + strings.ReplaceAll(madeBy(w.guards, "blobs_never_delete"), "ON `blobs`", "ON `sites`"),
				"DROP TRIGGER blobs_never_delete; " + madeBy(w.guards, "blobs_never_delete")},
		}
		if w.postgres() {
			tampers = map[string][2]string{
				"trigger holds_never_change is switched off or another one": {
					"ALTER TABLE holds DISABLE TRIGGER holds_never_change", "ALTER TABLE holds ENABLE TRIGGER holds_never_change"},
				"trigger blobs_never_change is switched off or another one": {
					"DROP TRIGGER blobs_never_change ON blobs; CREATE TRIGGER blobs_never_change BEFORE TRUNCATE ON blobs EXECUTE FUNCTION refuse_change()",
					"DROP TRIGGER blobs_never_change ON blobs; " + madeBy(w.guards, "blobs_never_change")},
			}
		}
		for problem, tamper := range tampers {
			mustExec(t, w.db, tamper[0])
			if got := reportOf(t, s).GuardProblems; len(got) != 1 || !strings.HasPrefix(got[0], problem) {
				t.Errorf("problems %q; expected %q", got, problem)
			}
			mustExec(t, w.db, tamper[1])
			soundReport(t, s)
		}
		if w.postgres() {
			mustExec(t, w.db, "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$")
			if got := reportOf(t, s).GuardProblems; len(got) != len(guardedTables) {
				t.Errorf("a function without teeth: %d problems; expected %d", len(got), len(guardedTables))
			}
		}
	})
}

// madeBy is the statement that makes the trigger of a name.
func madeBy(guards []string, name string) string {
	i := slices.IndexFunc(guards, func(g string) bool {
		return strings.Contains(g, "TRIGGER `"+name) || strings.Contains(g, "TRIGGER "+name)
	})
	if i < 0 {
		return ""
	}
	return guards[i]
}

// A content that was changed, cut short or taken away is told, and every
// attachment of it.
func TestVerifyFindsDamagedAttachments(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		s := storetest.OpenFleet(t, c)
		d := &diary{t, s, storetest.Occurred}
		first, second := d.tighten(structural, 8), d.tighten(structural, 8)
		large, small := photo(600<<10), photo(10)
		a := d.attach(first, "large.png", large)
		d.attach(second, "again.png", large)
		d.attach(second, "small.png", small)
		soundReport(t, s)

		w := bare(t, e, c)
		w.dropGuards()
		for _, table := range []string{"blobs", "attachments"} {
			w.exec(fmt.Sprintf("CREATE TABLE sound_%s AS SELECT * FROM %s", table, table))
		}
		if w.postgres() {
			w.exec("SET session_replication_role = replica") // no references are checked
		}
		content := fmt.Sprintf("the content kept as %x has another SHA-256: it was changed, or a part of it is missing", a.SHA256)
		gone := func(name string, r *ledger.Tightening) string {
			return fmt.Sprintf("attachment %q of %s: its content %x is not there, or not whole", name, ledger.RecordResource(r), a.SHA256)
		}
		damaged := []string{content, gone("large.png", first), gone("again.png", second)}
		for _, tamper := range []struct {
			do   string
			want []string
		}{
			{"UPDATE blobs SET content = sha256 WHERE part = 2", damaged},
			{"DELETE FROM blobs WHERE part = 2", damaged},
			{"DELETE FROM blobs WHERE part = 1", damaged},
			{"UPDATE blobs SET part = 5 - part WHERE part > 0", damaged},
			{"DELETE FROM blobs WHERE sha256 IN (SELECT sha256 FROM blobs WHERE part = 2)", damaged[1:]},
			{"UPDATE attachments SET size = size + 1 WHERE file_name = 'large.png'", []string{
				fmt.Sprintf("attachment %q of %s: its size is kept as %d bytes, its content has %d", "large.png", ledger.RecordResource(first), 600<<10+1, 600<<10)}},
		} {
			if w.exec(tamper.do) == 0 {
				t.Fatalf("%s changed nothing", tamper.do)
			}
			report := reportOf(t, s)
			if diff := cmp.Diff(tamper.want, report.AttachmentProblems); diff != "" || report.OK() {
				t.Errorf("%s: OK %t (-want +got):\n%s", tamper.do, report.OK(), diff)
			}
			w.mend("blobs", "attachments")
		}
		w.guard()
		soundReport(t, s)
	})
}

// The times beside the running sums are counted again too.
func TestVerifyFindsTimesOfSums(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		s := storetest.OpenFleet(t, c)
		d := &diary{t, s, storetest.Occurred}
		d.keep(storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver, func(r *ledger.LotMovement) { r.Kind, r.Quantity = ledger.MovementCounted, 50 }))
		counted := d.now
		last := d.tighten(structural, 8)
		withdrawn := d.tighten(structural, 4, func(r *ledger.Tightening) { r.Tool = storetest.KolkataWrench })
		d.correct(withdrawn, nil)
		soundReport(t, s)
		const form = "2006-01-02T15:04:05.999999999Z07:00"
		w := bare(t, e, c)
		for _, tamper := range []struct{ do, undo, want string }{
			{"UPDATE lot_sums SET count_time = 0 WHERE count_time > 0", fmt.Sprintf("UPDATE lot_sums SET count_time = %d", counted.UnixMicro()),
				"lot M10-316-4471 at site RVB: the last count is kept as of never, the records say " + counted.Format(form)},
			{"UPDATE tool_uses SET last_time = last_time + 1000000 WHERE last_time > 0", "UPDATE tool_uses SET last_time = last_time - 1000000 WHERE last_time > 0",
				"tool TW-0107, hour 2026-03-02T15Z: the last use is kept as 2026-03-02T15:06:06.123456Z, the records say " + last.OccurTime.Format(form)},
		} {
			if w.exec(tamper.do) != 1 {
				t.Fatalf("%s changed something else than one row", tamper.do)
			}
			if got := reportOf(t, s).TallyProblems; len(got) != 1 || got[0] != tamper.want {
				t.Errorf("%s: problems %q; expected %q", tamper.do, got, tamper.want)
			}
			w.exec(tamper.undo)
			soundReport(t, s)
		}
	})
}
