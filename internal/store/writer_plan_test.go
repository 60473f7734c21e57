package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// On a PostgreSQL that was just set up, and has gathered no statistics, what the rules read
// for each record finds tightenings by their keys: a plan that goes through all there are
// takes as long as there are many.
func TestTheWriterGoesThroughNoTable(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	c := storetest.Postgres().NewConfig(t)
	s := storetest.OpenFleet(t, c)
	joints := registerMoreJoints(t, s, 32)
	var keys []any
	for n := range joints {
		keys = append(keys, n+1)
	}
	one := storetest.NewTightening(joints[0].Place.String())
	keep(t, s, one)
	// PostgreSQL gathers statistics within a minute or so, by then the test is over.
	db, err := sql.Open("pgx", c.DSN)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, statement := range []string{
		`INSERT INTO records SELECT (jsonb_populate_record(r, jsonb_build_object('id', r.id + 1000 + g, 'uid', '\x' || md5(g::text)))).* FROM records r, generate_series(1, 40000) g WHERE r.uid = $1`,
		`INSERT INTO tightenings SELECT (jsonb_populate_record(x, jsonb_build_object('id', x.id + 1000 + g))).* FROM records r JOIN tightenings x ON x.id = r.id, generate_series(1, 40000) g WHERE r.uid = $1`,
	} {
		if _, err := db.ExecContext(ctx, statement, one.ID[:]); err != nil {
			t.Fatal(err)
		}
	}
	plans, err := s.WriterPlans(ctx, keys, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, plan := range plans {
		if strings.Contains(plan, "BitmapAnd") {
			t.Errorf("more than one index is gone through:\n%s", plan)
		}
	}
	byKey := regexp.MustCompile(`on (tightenings|records|corrections) \w+ .*\n\s+(Index|Recheck) Cond: `)
	for _, plan := range plans {
		scans := strings.Count(plan, "on tightenings ") + strings.Count(plan, "on records ") + strings.Count(plan, "on corrections ")
		if scans != 3 || strings.Contains(plan, "Seq Scan") || len(byKey.FindAllString(plan, -1)) != scans {
			t.Errorf("of %d scans some are not by key:\n%s", scans, plan)
		}
	}
}

// registerMoreJoints gives the Denver cell more joints.
func registerMoreJoints(t *testing.T, s *store.Store, n int) (joints []ledger.Joint) {
	t.Helper()
	for i := range n {
		p := ledger.Place{Site: storetest.Denver, Tower: "CT1", Cell: "C1", Joint: fmt.Sprintf("P%03d", i)}
		joints = append(joints, ledger.Joint{Place: p, Kind: ledger.JointStructural, Specification: storetest.Stainless, Fasteners: 8})
	}
	outcomes, err := s.RegisterJoints(t.Context(), joints, store.Change{})
	if err != nil || outcomes[0].Err != nil {
		t.Fatal(err, outcomes[0].Err)
	}
	return joints
}
