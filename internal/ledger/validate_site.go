package ledger

import (
	"fmt"

	"github.com/google/uuid"
)

// Validate gives every field that is wrong.
func (r *Sealing) Validate() []FieldError {
	var c checks
	c.place("joint", r.Joint, 4)
	c.text("sealant", r.Sealant, 64, true)
	if r.Batch != "" {
		c.id("batch", r.Batch, checkCode(r.Batch))
	}
	c.number("width_millimetres", r.WidthMillimetres, 0, 1000, " mm")
	c.text("solvent", r.Solvent, 64, false)
	c.optional("air_celsius", r.AirCelsius, -60, 80, " °C")
	c.optional("surface_celsius", r.SurfaceCelsius, -60, 120, " °C")
	if h := r.HumidityPercent; h != nil {
		c.above("humidity_percent", *h, 0, 100, " %")
	}
	word(&c, "splice", Splices, r.Splice, false)
	if !r.CleanTime.IsZero() && r.CleanTime.After(r.OccurTime) {
		c.add("clean_time", "lies after the sealing")
	}
	c.entry(&r.Entry, true)
	return c.fields
}

func (c *checks) optional(field string, v *float64, low, high float64, unit string) {
	if v != nil {
		c.number(field, *v, low, high, unit)
	}
}

// Validate gives every field that is wrong.
func (r *Inspection) Validate() []FieldError {
	var c checks
	c.place("joint", r.Joint, 4)
	word(&c, "kind", InspectionKinds, r.Kind, true)
	c.count("sample", int64(r.Sample), 0, MaxFasteners)
	c.text("plan", r.Plan, 100, false)
	c.count("readings_newton_metres", int64(len(r.ReadingsNewtonMetres)), 0, 1000)
	for i, v := range r.ReadingsNewtonMetres {
		c.number(fmt.Sprintf("readings_newton_metres[%d]", i), v, 0, maxTorque, " N.m")
	}
	if n := len(r.ReadingsNewtonMetres); r.Kind == TorqueAudit && n > 0 && r.Sample > 0 && n != r.Sample {
		c.add("readings_newton_metres", "%d readings for a sample of %d; expected one each", n, r.Sample)
	}
	word(&c, "result", InspectionResults, r.Result, true)
	if r.Tool != "" {
		c.id("tool", r.Tool, checkCode(r.Tool))
	}
	c.entry(&r.Entry, true)
	return c.fields
}

// Validate gives every field that is wrong.
func (r *Custody) Validate() []FieldError {
	var c checks
	c.id("tool", r.Tool, checkCode(r.Tool))
	word(&c, "kind", CustodyKinds, r.Kind, true)
	c.place("site", Place{Site: r.Site}, 1)
	if r.Holder != "" || r.Kind == CustodyIssued {
		c.id("holder", r.Holder, checkPersonID(r.Holder))
	}
	if r.OverrideBy != "" || r.OverrideReason != "" {
		c.id("override_by", r.OverrideBy, checkPersonID(r.OverrideBy))
		c.text("override_reason", r.OverrideReason, 500, true)
		if r.Kind != CustodyIssued {
			c.add("override_by", "only the issue of a tool can be let pass; expected nothing for %s", CustodyKinds.Name(r.Kind))
		}
	}
	c.entry(&r.Entry, false)
	return c.fields
}

// Validate gives every field that is wrong.
func (r *Hold) Validate() []FieldError {
	var c checks
	word(&c, "action", HoldActions, r.Action, true)
	targets := 0
	if r.Place != (Place{}) {
		targets++
		if d := r.Place.Depth(); d != 3 && d != 4 {
			c.add("place", "expected a joint or a cell")
		} else {
			c.place("place", r.Place, d)
		}
	}
	if r.Lot != "" {
		targets++
		c.id("lot", r.Lot, checkCode(r.Lot))
	}
	if r.Tool != "" {
		targets++
		c.id("tool", r.Tool, checkCode(r.Tool))
	}
	if targets != 1 {
		c.add("place", "expected exactly one of a place, a lot or a tool; got %d", targets)
	}
	switch {
	case r.Place == (Place{}):
		c.place("site", Place{Site: r.Site}, 1)
	case r.Site != "" && r.Place.Site != "" && r.Site != r.Place.Site:
		c.add("site", "%s is not the place's site %s", r.Site, r.Place.Site)
	}
	c.text("reason", r.Reason, 500, true)
	c.text("rule", r.Rule, 64, false)
	switch {
	case r.Action == HoldReleased && r.Releases == uuid.Nil:
		c.add("releases", "is required: the hold that is released")
	case r.Action == HoldPlaced && r.Releases != uuid.Nil:
		c.add("releases", "must be left out when a hold is placed")
	}
	word(&c, "decision", Decisions, r.Decision, r.Action == HoldReleased)
	c.entry(&r.Entry, r.Rule == "")
	return c.fields
}

// Validate gives every field that is wrong.
func (r *Disposition) Validate() []FieldError {
	var c checks
	if r.Incident == uuid.Nil {
		c.add("incident", "is required")
	}
	word(&c, "decision", Decisions, r.Decision, true)
	c.text("reason", r.Reason, 500, true)
	c.entry(&r.Entry, true)
	return c.fields
}

// Validate gives every field that is wrong.
func (r *SignOff) Validate() []FieldError {
	var c checks
	if d := r.Place.Depth(); d < 2 {
		c.add("place", "expected a tower, cell or joint")
	} else {
		c.place("place", r.Place, d)
	}
	word(&c, "point", SignOffPoints, r.Point, true)
	c.text("title", r.Title, 200, false)
	c.entry(&r.Entry, true)
	return c.fields
}

// Validate gives every field that is wrong.
func (r *Correction) Validate() []FieldError {
	var c checks
	if r.Corrects == uuid.Nil {
		c.add("corrects", "is required")
	}
	if r.Replacement != uuid.Nil && r.Replacement == r.Corrects {
		c.add("replacement", "a record can't replace itself")
	}
	if r.With != nil {
		if r.With.Head().ID != r.Replacement {
			c.add("replacement", "is not the id of the record that comes with the correction")
		}
		for _, f := range r.With.Validate() {
			c.add("replacement."+f.Field, "%s", f.Description)
		}
	}
	c.text("reason", r.Reason, 500, true)
	c.entry(&r.Entry, true)
	return c.fields
}
