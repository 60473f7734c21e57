package store_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
	"jointledger/migrations"
)

// The views for notebooks say what is on record, in the same words on both engines.
func TestNotebookViews(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		s := storetest.OpenFleet(t, c)
		mistaken := storetest.NewIncident(ledger.Galling, storetest.DenverJoint, func(r *ledger.Incident) { r.Fasteners = 3 })
		storetest.Record(t, s,
			storetest.NewTightening(storetest.DenverJoint), // 8 fasteners
			storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Pass = ledger.PassFinal; r.Treatment = ledger.TreatmentAntiSeize }),
			storetest.NewIncident(ledger.Galling, storetest.DenverJoint), // 1 fastener
			mistaken,
			storetest.NewIncident(ledger.Leak, storetest.DenverJoint, func(r *ledger.Incident) { r.Fasteners = 0; r.Lot = ""; r.Treatment = 0 }),
		)
		storetest.Record(t, s, &ledger.Correction{Entry: storetest.NewIncident(ledger.Galling, storetest.DenverJoint).Entry, Corrects: mistaken.ID, Reason: "counted twice"})
		db := storetest.Raw(t, c)
		views, err := migrations.Views.ReadFile("views/" + e.Name + ".sql")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec(string(views)); err != nil {
			t.Fatal(err)
		}
		for query, want := range map[string][][]string{
			"SELECT site, lot, treatment, driving_method, CAST(tightened AS TEXT), CAST(failures AS TEXT), CAST(attempts AS TEXT), CAST(incidents AS TEXT) FROM notebook_counts WHERE lot IS NOT NULL": {
				{storetest.Denver, storetest.StainlessLot, "anti-seize", "hand", "8", "1", "9", "1"}},
			"SELECT joint, lot, supplier, tool, treatment, driving_method, pass, CAST(fasteners AS TEXT) FROM notebook_tightenings ORDER BY pass": {
				{storetest.DenverJoint, storetest.StainlessLot, "Alder", storetest.DenverWrench, "anti-seize", "hand", "final", "8"},
				{storetest.DenverJoint, storetest.StainlessLot, "Alder", storetest.DenverWrench, "anti-seize", "hand", "first", "8"}},
			"SELECT joint, kind, COALESCE(lot, 'none'), COALESCE(treatment, 'none given'), CAST(fasteners AS TEXT) FROM notebook_incidents ORDER BY kind": {
				{storetest.DenverJoint, "galling", storetest.StainlessLot, "anti-seize", "1"},
				{storetest.DenverJoint, "leak", "none", "none given", "0"}},
		} {
			rows, err := db.Query(query)
			if err != nil {
				t.Fatalf("%s: %v", query, err)
			}
			defer rows.Close()
			var got [][]string
			columns, _ := rows.Columns() // the rows are open
			for rows.Next() {
				row, targets := make([]string, len(columns)), make([]any, len(columns))
				for i := range row {
					targets[i] = &row[i]
				}
				if err := rows.Scan(targets...); err != nil {
					t.Fatal(err)
				}
				got = append(got, row)
			}
			if err := rows.Err(); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%s (-want +got):\n%s", query, diff)
			}
		}
		checkViewWords(t, e)
	})
}

// checkViewWords holds the words that the views write to those of the ledger.
func checkViewWords(t *testing.T, e storetest.Engine) {
	t.Helper()
	views, err := migrations.Views.ReadFile("views/" + e.Name + ".sql")
	if err != nil {
		t.Fatal(err)
	}
	for column, words := range map[string][]string{
		"x.treatment": ledger.Treatments.All(), "y.treatment": ledger.Treatments.All(), "x.method": ledger.DrivingMethods.All(), "y.method": ledger.DrivingMethods.All(),
		"x.pass": ledger.Passes.All(), "x.kind": ledger.IncidentKinds.All(),
	} {
		want := "CASE " + column
		for i, w := range words {
			want += fmt.Sprintf(" WHEN %d THEN '%s'", i+1, w)
		}
		if !strings.Contains(string(views), want+" END") {
			t.Errorf("%s: %s is not written as %s", e.Name, column, words)
		}
	}
	// The thread failures are the first kinds: what notebook_counts takes for attempts.
	for i := range ledger.IncidentKinds.All() {
		if kind := ledger.IncidentKind(i + 1); kind.ThreadFailure() != (kind <= 6) {
			t.Errorf("%s: the views take kinds 1 to 6 for thread failures", ledger.IncidentKinds.Name(kind))
		}
	}
}
