package store_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// everyKind keeps records of every kind at Denver, in every form that a kind has:
// on a joint, a cell and a tower, placed and released, withdrawn and replaced.
// Some of them break rules, so that there are findings.
func everyKind(t *testing.T, s *store.Store) {
	t.Helper()
	head := func() ledger.Entry {
		e := storetest.NewTightening(storetest.DenverJoint).Entry
		e.Note, e.Offline = "as it was", true
		return e
	}
	place := func(parts ...string) ledger.Place {
		parts = append(parts, "", "", "")
		return ledger.Place{Site: storetest.Denver, Tower: parts[0], Cell: parts[1], Joint: parts[2]}
	}
	// Only the server makes alarms; it counts what is not handed in without delay.
	registerRules(t, s, alarmRule(t, "GALL-LOT"), alarmRule(t, "GALL-SITE", bySite))
	storetest.Record(t, s, storetest.NewIncident(ledger.Galling, storetest.DenverJoint, func(r *ledger.Incident) {
		r.Entry, r.Fasteners = head(), 6
		r.Offline = false
	}))
	advance(t, s)
	joint, air, straight := place("CT1", "C1", "J001"), 11.5, true
	records := slices.Concat(oneOfEach(), oneOfEach())
	dropped := storetest.NewIncident(ledger.NearMiss, storetest.DenverJoint, func(r *ledger.Incident) {
		r.Joint, r.Lot, r.Tool, r.Treatment, r.Method, r.Fasteners = ledger.Place{}, "", "", 0, 0, 0
	})
	holds := []*ledger.Hold{
		{Action: ledger.HoldPlaced, Place: joint}, {Action: ledger.HoldPlaced, Place: place("CT1", "C1")},
		{Action: ledger.HoldPlaced, Lot: storetest.StainlessLot, Site: storetest.Denver}, {Action: ledger.HoldPlaced, Tool: storetest.DenverWrench, Site: storetest.Denver},
	}
	for _, h := range holds {
		h.Entry, h.Reason = head(), "looked at again"
		records = append(records, h)
	}
	records = append(records, dropped,
		&ledger.Hold{Entry: head(), Action: ledger.HoldReleased, Place: joint, Reason: "in order", Releases: holds[0].ID, Decision: ledger.DecisionUseAsIs},
		&ledger.Sealing{Entry: head(), Joint: place("CT1", "C1", "J003"), Sealant: "polyurethane", Batch: "PU-7", WidthMillimetres: 9.5, Solvent: "isopropanol",
			CleanTime: storetest.Occurred, AirCelsius: &air, SurfaceCelsius: &air, HumidityPercent: &air, Splice: ledger.SpliceMidRun, FlangeStraight: &straight},
		&ledger.Inspection{Entry: head(), Joint: joint, Kind: ledger.TorqueAudit, Sample: 2, Plan: "two of ten", ReadingsNewtonMetres: []float64{30.5, 31}, Result: ledger.InspectionPass, Tool: storetest.DenverWrench},
		&ledger.Inspection{Entry: head(), Joint: joint, Kind: ledger.LeakTest, Result: ledger.InspectionFail},
		&ledger.Custody{Entry: head(), Tool: storetest.DenverWrench, Kind: ledger.CustodyIssued, Site: storetest.Denver, Holder: storetest.DenverPerson,
			OverrideBy: storetest.DenverPerson, OverrideReason: "no other wrench"},
		storetest.NewToolCheck(storetest.DenverWrench, func(r *ledger.ToolCheck) { r.Entry = head() }),
		&ledger.Custody{Entry: head(), Tool: storetest.DenverWrench, Kind: ledger.CustodyReturned, Site: storetest.Denver},
		&ledger.Disposition{Entry: head(), Incident: records[3].Head().ID, Decision: ledger.DecisionScrap, Reason: "galled"},
		&ledger.SignOff{Entry: head(), Place: place("CT1"), Point: ledger.HoldPoint, Title: "erected"},
		&ledger.SignOff{Entry: head(), Place: place("CT1", "C1"), Point: ledger.WitnessPoint},
		&ledger.SignOff{Entry: head(), Place: joint, Point: ledger.WitnessPoint, Title: "torque"},
	)
	replacement := storetest.NewTightening(storetest.DenverJoint)
	records = append(records,
		&ledger.Correction{Entry: head(), Corrects: records[2].Head().ID, Replacement: replacement.ID, With: replacement, Reason: "counted again"},
		&ledger.Correction{Entry: head(), Corrects: records[7].Head().ID, Reason: "it was another joint"})
	storetest.Record(t, s, records...)
}

// testVerifyFindsEachColumn changes each column of each table that holds records,
// in all its rows at once, and expects every record that it changed to be named.
// Records that stand where another does are changed by themselves.
func testVerifyFindsEachColumn(t *testing.T, e storetest.Engine) {
	c := e.NewConfig(t)
	s := storetest.OpenFleet(t, c)
	everyKind(t, s)
	soundReport(t, s)
	w := newTamperer(t, e, c)
	const followers = "kind IN (9, 11)" // dispositions and corrections
	for _, table := range recordTables {
		parts := []string{"0 = 0"}
		if table == "records" {
			parts = []string{followers, "NOT " + followers}
		}
		var rows int
		if count(t, w.db, table, &rows); rows == 0 {
			t.Errorf("no rows in %s to tamper with", table)
		}
		for column, kind := range w.columns(table) {
			if table == "findings" && column == "id" {
				continue // only counts the findings up
			}
			for _, value := range w.other(column, kind) {
				if strings.HasPrefix(value, "CASE") && w.isNotNull(table, column) {
					continue // the column holds no NULL
				}
				for _, part := range parts {
					w.tamper(s, table, fmt.Sprintf("%s = %s", column, value), part)
				}
			}
		}
	}
	w.guard()
	soundReport(t, s)
}

// tamper changes part of a table, expects the records that it changed to be
// named, and puts the table right again.
func (w *tamperer) tamper(s *store.Store, table, change, part string) {
	w.t.Helper()
	what := fmt.Sprintf("UPDATE %s SET %s WHERE %s", table, change, part)
	w.exec(what)
	changed := w.changed(table)
	if len(changed) == 0 && !strings.Contains(change, "CASE") && !strings.HasPrefix(part, "kind IN") {
		w.t.Errorf("%s changed nothing", what)
	}
	w.expectNamed(s, what, changed)
	w.mend(table)
}

// changed gives the places in the chain of the records whose rows of a table are
// not what they were.
func (w *tamperer) changed(table string) []int64 {
	w.t.Helper()
	key := "id"
	if table == "findings" {
		key = "record_id"
	}
	rows, err := w.db.Query(fmt.Sprintf("SELECT DISTINCT %[1]s %% 1099511627776 FROM (SELECT * FROM sound_%[2]s EXCEPT SELECT * FROM %[2]s) sound", key, table))
	if err != nil {
		w.t.Fatal(err)
	}
	defer rows.Close()
	var changed []int64
	for rows.Next() {
		var sequence int64
		if err := rows.Scan(&sequence); err != nil {
			w.t.Fatal(err)
		}
		changed = append(changed, sequence)
	}
	if err := rows.Err(); err != nil {
		w.t.Fatal(err)
	}
	return changed
}

// expectNamed verifies, and expects each of the records to be named.
func (w *tamperer) expectNamed(s *store.Store, what string, records []int64) {
	w.t.Helper()
	report, err := s.Verify(context.Background())
	if err != nil {
		w.t.Errorf("%s: %v", what, err)
		return
	}
	var problems []string
	for _, one := range report.Sites {
		problems = append(problems, one.Problems...)
	}
	unnamed := slices.DeleteFunc(records, func(r int64) bool {
		return slices.ContainsFunc(problems, func(p string) bool { return strings.HasPrefix(p, fmt.Sprintf("record %d ", r)) })
	})
	if len(unnamed) > 0 {
		w.t.Errorf("%s: records %v are not named; the problems are\n%s", what, unnamed, strings.Join(problems, "\n"))
	}
}
