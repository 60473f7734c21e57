package ledger

import (
	"fmt"
	"time"
)

// Validate gives every field that is wrong.
func (s Site) Validate() []FieldError {
	var c checks
	c.place("name", Place{Site: s.Code}, 1)
	c.text("display_name", s.Name, 200, true)
	c.text("region", s.Region, 64, false)
	// "Local" and "" would load too, and mean whatever the server's machine says.
	if _, err := time.LoadLocation(s.TimeZone); err != nil || s.TimeZone == "" || s.TimeZone == "Local" {
		c.add("time_zone", "%q is not an IANA time zone; expected one such as Europe/Dublin or America/Chicago", s.TimeZone)
	}
	word(&c, "status", SiteStatuses, s.Status, true)
	word(&c, "unit_preference", UnitPreferences, s.Units, true)
	return c.fields
}

// Validate gives every field that is wrong.
func (t Tower) Validate() []FieldError {
	var c checks
	c.place("name", t.Place, 2)
	word(&c, "material", Materials, t.Material, true)
	c.text("drawing", t.Drawing, 100, false)
	start, okStart := c.date("planned_start", t.PlannedStart)
	finish, okFinish := c.date("planned_finish", t.PlannedFinish)
	if okStart && okFinish && finish.Before(start) {
		c.add("planned_finish", "%s is before planned_start %s", t.PlannedFinish, t.PlannedStart)
	}
	return c.fields
}

// Validate gives every field that is wrong.
func (t Cell) Validate() []FieldError {
	var c checks
	c.place("name", t.Place, 3)
	c.text("description", t.Description, 200, false)
	return c.fields
}

// Validate gives every field that is wrong.
func (j Joint) Validate() []FieldError {
	var c checks
	c.place("name", j.Place, 4)
	word(&c, "kind", JointKinds, j.Kind, true)
	c.text("part_a", j.PartA, 100, false)
	c.text("part_b", j.PartB, 100, false)
	c.id("specification", j.Specification, checkCode(j.Specification))
	c.count("fasteners", int64(j.Fasteners), 1, MaxFasteners)
	return c.fields
}

// Validate gives every field that is wrong.
func (s Specification) Validate() []FieldError {
	var c checks
	c.id("name", s.Code, checkCode(s.Code))
	c.fastener("fastener.", s.Fastener)
	word(&c, "treatment", Treatments, s.Treatment, true)
	word(&c, "locking_method", LockingMethods, s.Locking, true)
	c.above("torque_newton_metres", s.TorqueNewtonMetres, 0, maxTorque, " N.m")
	c.above("torque_tolerance_percent", s.TorqueTolerancePercent, 0, 100, " %")
	word(&c, "torque_basis", TorqueBases, s.TorqueBasis, true)
	if s.NutFactor != 0 {
		c.above("nut_factor", s.NutFactor, 0, 1, "")
	}
	c.text("sealant", s.Sealant, 64, false)
	c.number("seal_width_millimetres", s.SealWidthMillimetres, 0, 1000, " mm")
	if s.MinimumSurfaceCelsius != nil {
		c.number("minimum_surface_celsius", *s.MinimumSurfaceCelsius, -60, 100, " °C")
	}
	return c.fields
}

// Validate gives every field that is wrong.
func (l Lot) Validate() []FieldError {
	var c checks
	c.id("name", l.Number, checkCode(l.Number))
	c.text("supplier", l.Supplier, 100, true)
	c.text("heat", l.Heat, 64, false)
	c.fastener("fastener.", l.Fastener)
	c.text("description", l.Description, 200, false)
	word(&c, "state", LotStates, l.State, true)
	return c.fields
}

// Validate gives every field that is wrong.
func (t Tool) Validate() []FieldError {
	var c checks
	c.id("name", t.Serial, checkCode(t.Serial))
	word(&c, "kind", ToolKinds, t.Kind, true)
	c.typeClass(t)
	c.number("minimum_newton_metres", t.MinimumNewtonMetres, 0, maxTorque, " N.m")
	c.number("maximum_newton_metres", t.MaximumNewtonMetres, 0, maxTorque, " N.m")
	if t.MaximumNewtonMetres < t.MinimumNewtonMetres {
		c.add("maximum_newton_metres", "%v N.m is below the minimum %v N.m", t.MaximumNewtonMetres, t.MinimumNewtonMetres)
	}
	c.number("resolution_newton_metres", t.ResolutionNewtonMetres, 0, maxTorque, " N.m")
	c.place("home_site", Place{Site: t.HomeSite}, 1)
	c.count("interval_months", int64(t.IntervalMonths), 0, 240)
	c.count("interval_cycles", int64(t.IntervalCycles), 0, 10_000_000)
	c.number("rated_load_kilograms", t.RatedLoadKilograms, 0, maxRatedLoad, " kg")
	c.capacity(t)
	for i, p := range t.Policies {
		if p.Action == ActionCalibration {
			c.add(fmt.Sprintf("policies[%d].action", i), "the policy for calibration is given by interval_months, interval_cycles and due_after_event")
		}
	}
	c.fields = append(c.fields, CheckPolicies(t.Policies)...)
	return c.fields
}

// Validate gives every field that is wrong.
func (p Person) Validate() []FieldError {
	var c checks
	c.id("name", p.ID, checkPersonID(p.ID))
	c.text("display_name", p.Name, 100, false)
	c.text("employer", p.Employer, 100, false)
	if p.HomeSite != "" {
		c.place("home_site", Place{Site: p.HomeSite}, 1)
	}
	for i, r := range p.Roles {
		word(&c, fmt.Sprintf("roles[%d]", i), Roles, r, true)
	}
	for i, q := range p.Qualifications {
		c.text(fmt.Sprintf("qualifications[%d].task", i), q.Task, 64, true)
		c.date(fmt.Sprintf("qualifications[%d].expire_date", i), q.ExpireDate)
	}
	return c.fields
}

// Validate gives every field that is wrong.
func (r *Tightening) Validate() []FieldError {
	var c checks
	c.place("joint", r.Joint, 4)
	c.id("lot", r.Lot, checkCode(r.Lot))
	word(&c, "treatment", Treatments, r.Treatment, true)
	c.text("compound_batch", r.CompoundBatch, 64, false)
	if r.Tool != "" {
		c.id("tool", r.Tool, checkCode(r.Tool))
	}
	if r.TorqueNewtonMetres != nil {
		c.number("torque_newton_metres", *r.TorqueNewtonMetres, 0, maxTorque, " N.m")
	}
	c.text("torque_as_typed", r.TorqueAsTyped, 32, false)
	c.count("fasteners", int64(r.Fasteners), 1, MaxFasteners)
	word(&c, "pass", Passes, r.Pass, true)
	word(&c, "driving_method", DrivingMethods, r.Method, true)
	c.entry(&r.Entry, true)
	return c.fields
}

// Validate gives every field that is wrong.
func (r *Incident) Validate() []FieldError {
	var c checks
	word(&c, "kind", IncidentKinds, r.Kind, true)
	failure := r.Kind.ThreadFailure()
	switch {
	case r.Joint != (Place{}) || failure:
		c.place("joint", r.Joint, 4)
		if r.Site != "" && r.Joint.Site != "" && r.Site != r.Joint.Site {
			c.add("site", "%s is not the joint's site %s", r.Site, r.Joint.Site)
		}
	default:
		c.place("site", Place{Site: r.Site}, 1)
	}
	least := int64(0)
	if failure {
		least = 1
	}
	c.count("fasteners", int64(r.Fasteners), least, MaxFasteners)
	if r.Lot != "" || failure {
		c.id("lot", r.Lot, checkCode(r.Lot))
	}
	word(&c, "treatment", Treatments, r.Treatment, failure)
	if r.Tool != "" || r.Kind == DroppedTool {
		c.id("tool", r.Tool, checkCode(r.Tool))
	}
	word(&c, "driving_method", DrivingMethods, r.Method, failure)
	c.text("noticed", r.Noticed, 100, false)
	c.text("action", r.Action, 200, false)
	c.entry(&r.Entry, true)
	return c.fields
}

// Validate gives every field that is wrong.
func (r *Calibration) Validate() []FieldError {
	var c checks
	c.id("tool", r.Tool, checkCode(r.Tool))
	c.text("laboratory", r.Laboratory, 100, false)
	c.text("certificate", r.Certificate, 100, false)
	word(&c, "document", CalibrationDocuments, r.Document, false)
	word(&c, "decision_rule", DecisionRules, r.Rule, false)
	word(&c, "stated_verdict", Verdicts, r.StatedVerdict, false)
	c.optional("air_celsius", r.AirCelsius, -40, 60, " °C")
	c.optional("humidity_percent", r.HumidityPercent, 0, 100, " %")
	c.number("device_uncertainty_percent", r.DeviceUncertaintyPercent, 0, 100, " %")
	c.count("points", int64(len(r.Points)), 1, 100)
	type key struct {
		phase  CalibrationPhase
		target float64
	}
	seen := map[key]bool{}
	for i, p := range r.Points {
		at := fmt.Sprintf("points[%d].", i)
		word(&c, at+"phase", CalibrationPhases, p.Phase, true)
		c.above(at+"target_newton_metres", p.TargetNewtonMetres, 0, maxTorque, " N.m")
		c.count(at+"readings_newton_metres", int64(len(p.ReadingsNewtonMetres)), 1, 100)
		for k, v := range p.ReadingsNewtonMetres {
			c.number(fmt.Sprintf("%sreadings_newton_metres[%d]", at, k), v, 0, maxTorque, " N.m")
		}
		c.number(at+"expanded_uncertainty_newton_metres", p.ExpandedUncertaintyNewtonMetres, 0, maxTorque, " N.m")
		c.number(at+"coverage_factor", p.CoverageFactor, 0, 10, "")
		k := key{p.Phase, p.TargetNewtonMetres}
		if seen[k] {
			c.add(at+"target_newton_metres", "%v N.m %s is given twice; expected each test point of a phase once", p.TargetNewtonMetres, CalibrationPhases.Name(p.Phase))
		}
		seen[k] = true
	}
	c.entry(&r.Entry, false)
	return c.fields
}

// Validate gives every field that is wrong.
func (r *LotMovement) Validate() []FieldError {
	var c checks
	c.id("lot", r.Lot, checkCode(r.Lot))
	c.place("site", Place{Site: r.Site}, 1)
	word(&c, "kind", MovementKinds, r.Kind, true)
	least := int64(1)
	if r.Kind == MovementCounted {
		least = 0
	}
	c.count("quantity", r.Quantity, least, MaxQuantity)
	c.text("reference", r.Reference, 100, false)
	c.text("handled_by", r.HandledBy, 100, false)
	c.entry(&r.Entry, false)
	return c.fields
}
