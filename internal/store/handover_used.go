package store

import (
	"cmp"
	"context"
	"database/sql"
	"maps"
	"slices"

	"github.com/google/uuid"

	"jointledger/ent/lot"
	"jointledger/ent/tool"
	"jointledger/internal/handover"
	"jointledger/internal/ledger"
)

// usedThings are the tools and lots that records of some joints name, records
// that were withdrawn or replaced left out.
type usedThings struct {
	tools map[string]handover.Tool
	lots  []ledger.Lot // in the order of their numbers
	// heldLots are those that must not be used now, and why.
	heldLots map[string]string
}

func (t *tx) readUsed(ctx context.Context, joints []*jointWork) (usedThings, error) {
	used := usedThings{tools: map[string]handover.Tool{}, heldLots: map[string]string{}}
	x := indexJoints(joints)
	toolKeys, err := t.keysNamed(ctx, "r.tool_id", x)
	if err != nil {
		return used, err
	}
	if err := t.readUsedTools(ctx, toolKeys, used.tools); err != nil {
		return used, err
	}
	lotKeys, err := t.keysNamed(ctx, "r.lot_id", x)
	if err != nil {
		return used, err
	}
	return used, t.readUsedLots(ctx, lotKeys, &used)
}

// keysNamed are the keys in a column of the tightenings, incidents and
// inspections of joints.
func (t *tx) keysNamed(ctx context.Context, column string, x jointIndex) ([]int, error) {
	keys := map[int]bool{}
	err := t.queryIn(ctx, func(rows *sql.Rows) error {
		var key int
		err := rows.Scan(&key)
		keys[key] = true
		return err
	}, "SELECT DISTINCT "+column+" FROM records r WHERE r.kind IN (1, 2, 6) AND "+column+" IS NOT NULL AND "+notCorrected+" AND r.joint_id", x.joints, "")
	return slices.Sorted(maps.Keys(keys)), err
}

func (t *tx) readUsedTools(ctx context.Context, keys []int, tools map[string]handover.Tool) error {
	rows, err := t.ent().Tool.Query().Where(tool.IDIn(keys...)).WithHomeSite().All(ctx)
	if err != nil {
		return err
	}
	ids := make([]any, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
		v := handover.Tool{}
		if v.Tool, err = toolOf(r); err != nil {
			return err
		}
		if v.Location, err = t.names.zone(r.Edges.HomeSite.TimeZone); err != nil {
			return err
		}
		tools[v.Serial] = v
	}
	records, err := t.recordsIn(ctx, ledger.KindCalibration, "r.tool_id", ids)
	if err != nil {
		return err
	}
	slices.SortFunc(records, func(a, b keyed) int { return earlier(a.Record, b.Record) })
	for _, k := range records {
		c := k.Record.(*ledger.Calibration)
		if c.CorrectedBy == uuid.Nil {
			v := tools[c.Tool]
			v.Calibrations = append(v.Calibrations, c)
			tools[c.Tool] = v
		}
	}
	for serial, v := range tools {
		v.Calibrations = ledger.Proving(v.Calibrations)
		tools[serial] = v
	}
	return nil
}

func (t *tx) readUsedLots(ctx context.Context, keys []int, used *usedThings) error {
	rows, err := t.ent().Lot.Query().Where(lot.IDIn(keys...)).Order(lot.ByNumber()).All(ctx)
	if err != nil {
		return err
	}
	read, err := t.lotRows(ctx, rows)
	for _, r := range read {
		used.lots = append(used.lots, r.Lot)
		switch {
		case r.held:
			used.heldLots[r.Number] = "is on hold"
		case r.State == ledger.LotQuarantined:
			used.heldLots[r.Number] = "is quarantined"
		}
	}
	return err
}

// workBook gathers over the joints of a hand-over what its head lists.
type workBook struct {
	used     usedThings
	inForce  map[string]map[uuid.UUID]*ledger.Calibration // by tool
	revision map[ledger.SpecificationRef]bool
	persons  map[string]bool
}

func newWorkBook(used usedThings) *workBook {
	return &workBook{used, map[string]map[uuid.UUID]*ledger.Calibration{}, map[ledger.SpecificationRef]bool{}, map[string]bool{}}
}

// add takes in one joint and gives it as the completeness check wants it.
func (b *workBook) add(j *jointWork, told HandoverJoint) handover.Joint {
	checked := handover.Joint{Joint: j.Joint, Sealant: j.sealant, Torque: j.torque, Tightened: j.work.TightenedFirst, SignedOff: j.work.SignedOff, OpenHolds: told.Status.OpenHolds}
	b.revision[j.specification] = true
	for _, item := range told.Items {
		head := item.Record.Head()
		checked.Records = append(checked.Records, item.Record)
		if head.Person != "" {
			b.persons[head.Person] = true
		}
		if head.CorrectedBy != uuid.Nil {
			continue
		}
		switch r := item.Record.(type) {
		case *ledger.Tightening:
			b.revision[r.Specification] = true
			b.useOf(r.Tool, r)
		case *ledger.Sealing:
			b.revision[r.Specification] = true
		case *ledger.Incident:
			b.revision[r.Specification] = true
			b.useOf(r.Tool, r)
		case *ledger.Inspection:
			b.useOf(r.Tool, r)
		}
	}
	return checked
}

func (b *workBook) useOf(serial string, r ledger.Record) {
	if serial == "" {
		return
	}
	if c := b.used.tools[serial].InForce(r.Head().OccurTime); c != nil {
		if b.inForce[serial] == nil {
			b.inForce[serial] = map[uuid.UUID]*ledger.Calibration{}
		}
		b.inForce[serial][c.ID] = c
	}
}

// toolsInForce are the tools, each with the calibrations that were the newest at
// some use of it.
func (b *workBook) toolsInForce() []HandoverTool {
	var list []HandoverTool
	for _, serial := range slices.Sorted(maps.Keys(b.used.tools)) {
		one := HandoverTool{Tool: b.used.tools[serial].Tool, Calibrations: slices.Collect(maps.Values(b.inForce[serial]))}
		slices.SortFunc(one.Calibrations, earlier[*ledger.Calibration])
		list = append(list, one)
	}
	return list
}

func (b *workBook) people() []string { return slices.Sorted(maps.Keys(b.persons)) }

// specifications reads every revision that a record was made under or that holds
// now for a joint.
func (b *workBook) specifications(ctx context.Context, t *tx) (list []ledger.Specification, err error) {
	refs := slices.SortedFunc(maps.Keys(b.revision), func(x, y ledger.SpecificationRef) int {
		return cmp.Or(cmp.Compare(x.Code, y.Code), cmp.Compare(x.Revision, y.Revision))
	})
	for _, ref := range refs {
		if ref.Code == "" {
			continue // an incident that stands under none
		}
		s, err := t.specification(ctx, ref.Code, ref.Revision)
		if err != nil {
			return nil, err
		}
		list = append(list, s)
	}
	return list, nil
}
