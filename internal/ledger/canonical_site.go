package ledger

import "github.com/google/uuid"

// given adds a figure that may be absent.
func (c *canonical) given(k string, v *float64) {
	if v != nil {
		c.figure(k, *v)
	}
}

func (c *canonical) uuid(k string, id uuid.UUID) {
	if id != uuid.Nil {
		c.word(k, id.String())
	}
}

func (r *Sealing) assigned(c *canonical) { c.specification(r.Specification) }

func (r *Sealing) content(c *canonical) {
	c.text("joint", r.Joint.String())
	c.text("sealant", r.Sealant)
	c.text("batch", r.Batch)
	c.number("width", r.WidthMillimetres)
	c.text("solvent", r.Solvent)
	c.time("cleaned", r.CleanTime)
	c.given("air", r.AirCelsius)
	c.given("surface", r.SurfaceCelsius)
	c.given("humidity", r.HumidityPercent)
	named(c, "splice", Splices, r.Splice)
	if r.FlangeStraight != nil {
		c.word("straight", map[bool]string{true: "yes", false: "no"}[*r.FlangeStraight])
	}
}

func (r *Inspection) assigned(*canonical) {}

func (r *Inspection) content(c *canonical) {
	c.text("joint", r.Joint.String())
	named(c, "inspection", InspectionKinds, r.Kind)
	c.int("sample", int64(r.Sample))
	c.text("plan", r.Plan)
	for _, v := range r.ReadingsNewtonMetres {
		c.figure("reading", v)
	}
	named(c, "result", InspectionResults, r.Result)
	c.text("tool", r.Tool)
}

func (r *Custody) assigned(*canonical) {}

func (r *Custody) content(c *canonical) {
	c.text("tool", r.Tool)
	named(c, "custody", CustodyKinds, r.Kind)
	c.text("site", r.Site)
	c.text("holder", r.Holder)
	c.text("override", r.OverrideBy)
	c.text("because", r.OverrideReason)
}

func (r *Hold) assigned(*canonical) {}

func (r *Hold) content(c *canonical) {
	named(c, "hold", HoldActions, r.Action)
	c.text("place", r.Place.String())
	c.text("lot", r.Lot)
	c.text("tool", r.Tool)
	c.text("site", r.SiteCode())
	c.text("reason", r.Reason)
	c.text("rule", r.Rule)
	c.uuid("cause", r.Cause)
	c.uuid("releases", r.Releases)
	named(c, "decision", Decisions, r.Decision)
}

func (r *Disposition) assigned(c *canonical) { c.text("site", r.Site) }

func (r *Disposition) content(c *canonical) {
	c.uuid("incident", r.Incident)
	named(c, "decision", Decisions, r.Decision)
	c.text("reason", r.Reason)
}

func (r *SignOff) assigned(*canonical) {}

func (r *SignOff) content(c *canonical) {
	c.text("place", r.Place.String())
	named(c, "point", SignOffPoints, r.Point)
	c.text("title", r.Title)
}

func (r *Correction) assigned(c *canonical) { c.text("site", r.Site) }

func (r *Correction) content(c *canonical) {
	c.uuid("corrects", r.Corrects)
	c.uuid("replacement", r.Replacement)
	c.text("reason", r.Reason)
}
