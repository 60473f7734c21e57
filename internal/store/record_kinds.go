package store

import (
	"fmt"

	"jointledger/internal/ledger"
)

// kindTable says where the content of a kind of record is kept.
type kindTable struct {
	table string
	// columns are read from the table, x, and what joins brings in.
	columns, joins string
	// unused are the references of a record that this kind leaves empty.
	unused []string
	// contrary is a condition over the content x and its record r that only
	// tampering fulfils: references that do not fit one another.
	contrary string
}

// Revisions of specifications are joined as sv, their names as sp.
const (
	withRevision  = " JOIN specification_revisions sv ON sv.id = x.specification_revision_id JOIN specifications sp ON sp.id = sv.specification_id"
	mayBeRevision = " LEFT JOIN specification_revisions sv ON sv.id = x.specification_revision_id LEFT JOIN specifications sp ON sp.id = sv.specification_id"
)

// unlike is the condition that two rows do not name the same joint, lot and tool.
func unlike(a, b string) string {
	const differ = "%[1]s.joint_id IS DISTINCT FROM %[2]s.joint_id OR %[1]s.lot_id IS DISTINCT FROM %[2]s.lot_id OR %[1]s.tool_id IS DISTINCT FROM %[2]s.tool_id"
	return fmt.Sprintf(differ, a, b)
}

var kindTables = map[ledger.RecordKind]kindTable{
	ledger.KindTightening: {
		table:   "tightenings",
		columns: "sp.code, sv.revision, x.treatment, x.compound_batch, x.torque_nm, x.torque_as_typed, x.fasteners, x.pass, x.method",
		joins:   withRevision,
	},
	ledger.KindIncident: {
		table:   "incidents",
		columns: "COALESCE(sp.code, ''), COALESCE(sv.revision, 0), x.kind, x.fasteners, x.treatment, x.method, x.noticed, x.action",
		joins:   mayBeRevision,
	},
	ledger.KindCalibration: {table: "calibrations", columns: "x.laboratory, x.certificate, x.points, x.document, x.rule, x.stated_verdict, x.air_c, x.humidity_pct, x.device_uncertainty_pct, x.verdict", unused: []string{"joint_id", "lot_id"}},
	ledger.KindLotMovement: {table: "lot_movements", columns: "x.kind, x.quantity, x.reference, x.handled_by", unused: []string{"joint_id", "tool_id"}},
	ledger.KindSealing: {
		table:   "sealings",
		columns: "sp.code, sv.revision, x.sealant, x.batch, x.width_mm, x.solvent, x.clean_time, x.air_c, x.surface_c, x.humidity_pct, x.splice, x.flange_straight",
		joins:   withRevision,
		unused:  []string{"lot_id", "tool_id"},
	},
	ledger.KindInspection: {table: "inspections", columns: "x.kind, x.sample, x.plan, x.readings_nm, x.result", unused: []string{"lot_id"}},
	ledger.KindCustody: {
		table:   "custodies",
		columns: "x.kind, COALESCE(hp.code, ''), COALESCE(op.code, ''), x.override_reason",
		joins:   " LEFT JOIN people hp ON hp.id = x.holder_id LEFT JOIN people op ON op.id = x.override_id",
		unused:  []string{"joint_id", "lot_id"},
	},
	ledger.KindToolCheck: {table: "tool_checks", columns: "x.action, x.result, x.certificate", unused: []string{"joint_id", "lot_id"}},
	ledger.KindAlarm: {
		table:   "alarms",
		columns: "ar.code, x.test, x.statistic, x.threshold, x.failures, x.attempts, x.sentence, cr.uid",
		joins:   " JOIN alarm_rules ar ON ar.id = x.rule_id JOIN records cr ON cr.id = x.cause_id",
		unused:  []string{"joint_id", "tool_id", "person_id"},
		// It stands at the site of its cause and, if it names a lot, names the cause's.
		contrary: "NOT EXISTS (SELECT 1 FROM records k WHERE k.id = x.cause_id AND k.site_id = r.site_id AND (r.lot_id IS NULL OR k.lot_id = r.lot_id))",
	},
	ledger.KindHold: {
		table:   "holds",
		columns: "x.action, COALESCE(ht.tag, ''), COALESCE(hc.tag, ''), x.reason, x.rule, cr.uid, hr.uid, x.decision, er.uid",
		joins: ` LEFT JOIN cells hc ON hc.id = x.cell_id LEFT JOIN towers ht ON ht.id = hc.tower_id LEFT JOIN records cr ON cr.id = x.cause_id
LEFT JOIN records hr ON hr.id = x.released_hold_id LEFT JOIN holds e ON e.released_hold_id = x.id LEFT JOIN records er ON er.id = e.id`,
		// What is held stands in the record too; a cell stands alone.
		contrary: unlike("x", "r") + `
OR x.cell_id IS NOT NULL AND (r.joint_id IS NOT NULL OR r.lot_id IS NOT NULL OR r.tool_id IS NOT NULL)
OR x.cause_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM records k WHERE k.id = x.cause_id)
OR x.released_hold_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM holds k WHERE k.id = x.released_hold_id)`,
	},
	ledger.KindDisposition: {
		table:   "dispositions",
		columns: "ir.uid, x.decision, x.reason",
		joins:   " JOIN records ir ON ir.id = x.incident_id",
		// It stands where its incident does.
		contrary: "EXISTS (SELECT 1 FROM records k WHERE k.id = x.incident_id AND (" + unlike("k", "r") + "))",
	},
	ledger.KindSignOff: {
		table:   "sign_offs",
		columns: "COALESCE(st.tag, ht.tag, ''), COALESCE(hc.tag, ''), x.point, x.title",
		joins:   " LEFT JOIN towers st ON st.id = x.tower_id LEFT JOIN cells hc ON hc.id = x.cell_id LEFT JOIN towers ht ON ht.id = hc.tower_id",
		unused:  []string{"lot_id", "tool_id"},
		// Of joint, cell and tower, one is named.
		contrary: "r.joint_id IS NOT NULL AND (x.cell_id IS NOT NULL OR x.tower_id IS NOT NULL) OR x.cell_id IS NOT NULL AND x.tower_id IS NOT NULL",
	},
	ledger.KindCorrection: {
		table:   "corrections",
		columns: "ar.uid, br.uid, x.reason",
		joins:   " JOIN records ar ON ar.id = x.corrected_id LEFT JOIN records br ON br.id = x.replacement_id",
		// It stands where the corrected record does.
		contrary: "EXISTS (SELECT 1 FROM records k WHERE k.id = x.corrected_id AND (" + unlike("k", "r") + `))
OR x.replacement_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM records k WHERE k.id = x.replacement_id)`,
	},
}

const (
	recordColumns = `r.id, r.uid, s.code, COALESCE(t.tag, ''), COALESCE(c.tag, ''), COALESCE(j.tag, ''),
COALESCE(l.number, ''), COALESCE(tl.serial, ''), COALESCE(p.code, ''),
r.occur_time, r.offset_minutes, r.local_day, r.receive_time, r.device, r.note, r.offline, r.link, ko.uid, `
	// The kind's number stands in the place of the verb.
	recordJoins = ` JOIN records r ON r.id = x.id AND r.kind = %d JOIN sites s ON s.id = r.site_id
LEFT JOIN joints j ON j.id = r.joint_id LEFT JOIN cells c ON c.id = j.cell_id LEFT JOIN towers t ON t.id = c.tower_id
LEFT JOIN lots l ON l.id = r.lot_id LEFT JOIN tools tl ON tl.id = r.tool_id LEFT JOIN people p ON p.id = r.person_id
LEFT JOIN corrections kc ON kc.corrected_id = r.id LEFT JOIN records ko ON ko.id = kc.id`
)
