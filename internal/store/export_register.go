package store

import (
	"context"
	"database/sql"
	"maps"
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/proof"
)

// namedThings are those that the records of a chain name.
type namedThings struct {
	people, lots, tools, batches, alarmRules map[string]bool
	revisions                                map[ledger.SpecificationRef]bool
}

func newNamedThings() namedThings {
	return namedThings{map[string]bool{}, map[string]bool{}, map[string]bool{}, map[string]bool{}, map[string]bool{}, map[ledger.SpecificationRef]bool{}}
}

func (n namedThings) take(named proof.Named) {
	for _, of := range []struct {
		known map[string]bool
		names []string
	}{{n.people, named.People}, {n.lots, named.Lots}, {n.tools, named.Tools}, {n.batches, named.Batches}, {n.alarmRules, named.AlarmRules}} {
		for _, name := range of.names {
			of.known[name] = true
		}
	}
	if named.Specification != "" {
		n.revisions[ledger.SpecificationRef{Code: named.Specification, Revision: named.Revision}] = true
	}
}

// entry collects the fields of one entry of a register. What is empty is left out.
type entry map[string]string

func (e entry) text(key, value string) entry {
	if value != "" {
		e[key] = value
	}
	return e
}

func (e entry) number(key string, value float64) entry {
	if value != 0 {
		e[key] = strconv.FormatFloat(value, 'g', -1, 64)
	}
	return e
}

func (e entry) given(key string, value *float64) entry {
	if value != nil {
		e[key] = strconv.FormatFloat(*value, 'g', -1, 64)
	}
	return e
}

func (e entry) flag(key string, value bool) entry {
	if value {
		e[key] = "yes"
	}
	return e
}

func (e entry) fastener(f ledger.Fastener) entry {
	return e.text("thread", f.Thread).number("length_millimetres", f.LengthMillimetres).text("material", ledger.Materials.Name(f.Material)).
		text("property_class", f.PropertyClass).text("coating", f.Coating).text("head", f.Head)
}

// registers writes the site with its places, and what its records name.
func (e *exporter) registers(ctx context.Context) error {
	site, err := sites.load(ctx, e.tx, e.code)
	if err != nil {
		return err
	}
	err = e.out.Register(proof.Register{Register: "sites", Name: site.Code, Fields: entry{}.text("display_name", site.Name).text("region", site.Region).
		text("time_zone", site.TimeZone).text("status", ledger.SiteStatuses.Name(site.Status)).text("units", ledger.UnitPreferences.Name(site.Units))})
	if err != nil {
		return err
	}
	for _, write := range []func(context.Context) error{
		e.towers, e.cells, e.joints, e.people, e.lots, e.tools, e.batches, e.specifications, e.alarmRules,
	} {
		if err := write(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (e *exporter) towers(ctx context.Context) error {
	return e.query(ctx, func(rows *sql.Rows) error {
		var tag, drawing, start, finish string
		var material ledger.Material
		if err := rows.Scan(&tag, &material, &drawing, &start, &finish); err != nil {
			return err
		}
		return e.out.Register(proof.Register{Register: "towers", Name: e.code + "/" + tag, Fields: entry{}.text("material", ledger.Materials.Name(material)).
			text("drawing", drawing).text("planned_start", start).text("planned_finish", finish)})
	}, "SELECT tag, material, drawing, planned_start, planned_finish FROM towers WHERE site_id = ? ORDER BY id", e.site)
}

func (e *exporter) cells(ctx context.Context) error {
	return e.query(ctx, func(rows *sql.Rows) error {
		var tower, tag, description string
		if err := rows.Scan(&tower, &tag, &description); err != nil {
			return err
		}
		return e.out.Register(proof.Register{Register: "cells", Name: strings.Join([]string{e.code, tower, tag}, "/"), Fields: entry{}.text("description", description)})
	}, "SELECT t.tag, c.tag, c.description FROM cells c JOIN towers t ON t.id = c.tower_id WHERE t.site_id = ? ORDER BY c.id", e.site)
}

func (e *exporter) joints(ctx context.Context) error {
	return e.query(ctx, func(rows *sql.Rows) error {
		var tower, cell, tag, a, b, specification string
		var kind ledger.JointKind
		var critical bool
		var fasteners int64
		if err := rows.Scan(&tower, &cell, &tag, &kind, &critical, &a, &b, &specification, &fasteners); err != nil {
			return err
		}
		return e.out.Register(proof.Register{Register: "joints", Name: strings.Join([]string{e.code, tower, cell, tag}, "/"), Fields: entry{}.
			text("kind", ledger.JointKinds.Name(kind)).flag("critical", critical).text("part_a", a).text("part_b", b).
			text("specification", specification).number("fasteners", float64(fasteners))})
	}, `SELECT t.tag, c.tag, j.tag, j.kind, j.critical, j.part_a, j.part_b, sp.code, j.fasteners FROM joints j
JOIN cells c ON c.id = j.cell_id JOIN towers t ON t.id = c.tower_id JOIN specifications sp ON sp.id = j.specification_id
WHERE t.site_id = ? ORDER BY j.id`, e.site)
}

// writeNamed writes the entries of one register that records name. A name that the
// register does not know, such as that of a batch nobody registered, stands in the
// record alone.
func writeNamed[T any](ctx context.Context, e *exporter, register string, names map[string]bool, load func(context.Context, *tx, string) (T, error), fields func(T) entry) error {
	for _, name := range slices.Sorted(maps.Keys(names)) {
		one, err := load(ctx, e.tx, name)
		if err != nil && ledger.AsError(err).Kind == ledger.KindNotFound {
			continue
		}
		if err == nil {
			err = e.out.Register(proof.Register{Register: register, Name: name, Fields: fields(one)})
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (e *exporter) people(ctx context.Context) error {
	return writeNamed(ctx, e, "people", e.named.people, people.load, func(v ledger.Person) entry {
		var roles, tasks []string
		for _, r := range v.Roles {
			roles = append(roles, ledger.Roles.Name(r))
		}
		for _, q := range v.Qualifications {
			task := q.Task
			if q.ExpireDate != "" {
				task += " until " + q.ExpireDate
			}
			tasks = append(tasks, task)
		}
		return entry{}.text("display_name", v.Name).text("employer", v.Employer).text("home_site", v.HomeSite).
			text("roles", strings.Join(roles, ", ")).text("qualifications", strings.Join(tasks, ", "))
	})
}

func (e *exporter) lots(ctx context.Context) error {
	return writeNamed(ctx, e, "lots", e.named.lots, lots.load, func(v lotRow) entry {
		return entry{}.text("supplier", v.Supplier).text("heat", v.Heat).text("description", v.Description).
			text("state", ledger.LotStates.Name(v.State)).fastener(v.Fastener)
	})
}

func (e *exporter) tools(ctx context.Context) error {
	return writeNamed(ctx, e, "tools", e.named.tools, tools.load, func(v ledger.Tool) entry {
		return entry{}.text("kind", ledger.ToolKinds.Name(v.Kind)).text("type_class", v.TypeClass).text("home_site", v.HomeSite).
			number("minimum_newton_metres", v.MinimumNewtonMetres).number("maximum_newton_metres", v.MaximumNewtonMetres).
			number("resolution_newton_metres", v.ResolutionNewtonMetres).number("interval_months", float64(v.IntervalMonths)).
			number("interval_cycles", float64(v.IntervalCycles)).flag("due_after_event", v.DueAfterEvent).number("rated_load_kilograms", v.RatedLoadKilograms)
	})
}

func (e *exporter) batches(ctx context.Context) error {
	return writeNamed(ctx, e, "batches", e.named.batches, batches.load, func(v ledger.Batch) entry {
		return entry{}.text("kind", ledger.ConsumableKinds.Name(v.Kind)).text("product", v.Product).text("expire_date", v.ExpireDate).
			given("minimum_celsius", v.MinimumCelsius).given("maximum_celsius", v.MaximumCelsius)
	})
}

func (e *exporter) alarmRules(ctx context.Context) error {
	return writeNamed(ctx, e, "alarm-rules", e.named.alarmRules, alarmRules.load, func(v ledger.AlarmRule) entry {
		var kinds []string
		for _, k := range v.Kinds {
			kinds = append(kinds, ledger.IncidentKinds.Name(k))
		}
		return entry{}.text("description", v.Description).text("grouping", ledger.AlarmGroupings.Name(v.Grouping)).text("test", ledger.AlarmTests.Name(v.Test)).
			text("incident_kinds", strings.Join(kinds, ", ")).number("in_control_rate", v.InControl).number("out_of_control_rate", v.OutOfControl).
			text("plan", v.Plan.Summary)
	})
}

// specifications writes the revisions that held when records were taken in.
func (e *exporter) specifications(ctx context.Context) error {
	revisions := slices.SortedFunc(maps.Keys(e.named.revisions), func(a, b ledger.SpecificationRef) int {
		if a.Code != b.Code {
			return strings.Compare(a.Code, b.Code)
		}
		return a.Revision - b.Revision
	})
	for _, ref := range revisions {
		v, err := e.specification(ctx, ref.Code, ref.Revision)
		if err != nil {
			return err
		}
		err = e.out.Register(proof.Register{Register: "specifications", Name: ref.Code + "@" + strconv.Itoa(ref.Revision), Fields: entry{}.
			text("treatment", ledger.Treatments.Name(v.Treatment)).text("locking", ledger.LockingMethods.Name(v.Locking)).
			number("torque_newton_metres", v.TorqueNewtonMetres).number("torque_tolerance_percent", v.TorqueTolerancePercent).
			text("torque_basis", ledger.TorqueBases.Name(v.TorqueBasis)).number("nut_factor", v.NutFactor).flag("torque_tool_required", v.TorqueToolRequired).
			text("sealant", v.Sealant).number("seal_width_millimetres", v.SealWidthMillimetres).given("minimum_surface_celsius", v.MinimumSurfaceCelsius).
			fastener(v.Fastener)})
		if err != nil {
			return err
		}
	}
	return nil
}
