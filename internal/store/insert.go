package store

import (
	"context"
	"database/sql"
	"strings"
)

// The hot inserts are prepared SQL, several rows a statement: through ent they
// reach about half the driver's rate.

// insertSizes are the rows a statement takes, largest first: any number of rows
// is a few statements. The largest is for what comes in masses: SQLite holds a
// program for each, with instructions for every value of every row.
var insertSizes = [...]int{256, 32, 4, 1}

// inMasses says whether a table is written in hundreds of rows at a time.
func (t insertTable) inMasses() bool {
	switch t.name {
	case recordsTable.name, tighteningsTable.name, incidentsTable.name, findingsTable.name, talliesTable.name, toolUsesTable.name:
		return true
	}
	return false
}

type insertTable struct {
	name    string
	columns []string
	suffix  string
}

var (
	recordsTable = insertTable{"records", []string{
		"id", "uid", "kind", "site_id", "joint_id", "lot_id", "tool_id", "person_id",
		"occur_time", "offset_minutes", "local_day", "receive_time", "device", "note", "offline", "link",
	}, ""}
	tighteningsTable = insertTable{"tightenings", []string{
		"id", "specification_revision_id", "treatment", "compound_batch", "torque_nm", "torque_as_typed", "fasteners", "pass", "method",
	}, ""}
	incidentsTable = insertTable{"incidents", []string{
		"id", "specification_revision_id", "kind", "fasteners", "treatment", "method", "noticed", "action",
	}, ""}
	calibrationsTable = insertTable{"calibrations", []string{
		"id", "laboratory", "certificate", "points", "document", "rule", "stated_verdict", "air_c", "humidity_pct", "device_uncertainty_pct", "verdict",
	}, ""}
	movementsTable = insertTable{"lot_movements", []string{"id", "kind", "quantity", "reference", "handled_by"}, ""}
	sealingsTable  = insertTable{"sealings", []string{
		"id", "specification_revision_id", "sealant", "batch", "width_mm", "solvent", "clean_time",
		"air_c", "surface_c", "humidity_pct", "splice", "flange_straight",
	}, ""}
	inspectionsTable = insertTable{"inspections", []string{"id", "kind", "sample", "plan", "readings_nm", "result"}, ""}
	custodiesTable   = insertTable{"custodies", []string{"id", "kind", "holder_id", "override_id", "override_reason"}, ""}
	toolChecksTable  = insertTable{"tool_checks", []string{"id", "action", "result", "certificate"}, ""}
	holdsTable       = insertTable{"holds", []string{
		"id", "action", "cell_id", "joint_id", "lot_id", "tool_id", "reason", "rule", "cause_id", "released_hold_id", "decision",
	}, ""}
	dispositionsTable = insertTable{"dispositions", []string{"id", "incident_id", "decision", "reason"}, ""}
	signOffsTable     = insertTable{"sign_offs", []string{"id", "tower_id", "cell_id", "point", "title"}, ""}
	correctionsTable  = insertTable{"corrections", []string{"id", "corrected_id", "replacement_id", "reason"}, ""}
	alarmsTable       = insertTable{"alarms", []string{
		"id", "rule_id", "test", "statistic", "threshold", "failures", "attempts", "sentence", "cause_id",
	}, ""}
	findingsTable = insertTable{"findings", []string{
		"record_id", "rule", "severity", "message", "figure", "limit_value", "unit", "source",
	}, ""}
	toolUsesTable = insertTable{"tool_uses", []string{"tool_id", "hour", "fasteners", "last_time"},
		" ON CONFLICT (tool_id, hour) DO UPDATE SET fasteners = tool_uses.fasteners + excluded.fasteners, last_time = CASE WHEN excluded.last_time > tool_uses.last_time THEN excluded.last_time ELSE tool_uses.last_time END"}
	lotSumsTable = insertTable{"lot_sums", []string{"lot_id", "site_id", "received", "removed", "used", "on_hand", "count_time"},
		" ON CONFLICT (lot_id, site_id) DO UPDATE SET received = lot_sums.received + excluded.received, removed = lot_sums.removed + excluded.removed, used = lot_sums.used + excluded.used, on_hand = lot_sums.on_hand + excluded.on_hand"}
	alarmStatesTable = insertTable{"alarm_states", []string{"rule_id", "group_id", "points", "failures", "attempts", "records", "signals", "verdict"},
		" ON CONFLICT (rule_id, group_id) DO UPDATE SET points = excluded.points, failures = excluded.failures, attempts = excluded.attempts, records = excluded.records, signals = excluded.signals, verdict = excluded.verdict"}
	talliesTable = insertTable{"tallies", tallyColumns,
		" ON CONFLICT (" + strings.Join(tallyColumns[:tallyKeyColumns], ", ") + ") DO UPDATE SET fasteners = tallies.fasteners + excluded.fasteners"}
)

// inserter holds the statements of each table, by size, and the one that moves the head
// of a chain.
type inserter struct {
	tables map[string][len(insertSizes)]writeStatement
	head   writeStatement
}

const moveHead = "UPDATE chains SET sequence = ?, link = ? WHERE id = ?"

// writeStatement is a statement that writes, prepared, and its text.
type writeStatement struct {
	stmt  *sql.Stmt
	query string
}

// prepareInserts prepares them before any transaction holds the one connection
// that writes.
func prepareInserts(ctx context.Context, on preparer, e engine) (all inserter, err error) {
	prepare := func(query string) (writeStatement, error) {
		query = e.bind(query)
		stmt, err := on.PrepareContext(ctx, query)
		return writeStatement{stmt, query}, err
	}
	if all.head, err = prepare(moveHead); err != nil {
		return all, err
	}
	all.tables = map[string][len(insertSizes)]writeStatement{}
	for _, table := range append(recordTables[:len(recordTables):len(recordTables)], talliesTable, toolUsesTable, lotSumsTable, alarmStatesTable) {
		var statements [len(insertSizes)]writeStatement
		for i, n := range insertSizes {
			if i == 0 && !table.inMasses() {
				continue
			}
			statements[i], err = prepare("INSERT INTO " + table.name + " (" + strings.Join(table.columns, ", ") + ") VALUES " + marks(n, len(table.columns)) + table.suffix)
			if err != nil {
				return all, err
			}
		}
		all.tables[table.name] = statements
	}
	return all, nil
}

// insertRows inserts rows whose values lie one after the other in args.
func (t *tx) insertRows(ctx context.Context, table insertTable, args []any) error {
	width := len(table.columns)
	for i, size := range insertSizes {
		n := size * width
		if len(args) < n || i == 0 && !table.inMasses() {
			continue
		}
		in := t.insert.tables[table.name][i]
		for len(args) >= n {
			if err := t.put(ctx, in, args[:n]); err != nil {
				return err
			}
			args = args[n:]
		}
	}
	return nil
}
