package ledger

// maxRatedLoad is the most that a rated load may be, kg; beyond it, a slip.
const maxRatedLoad = 1e6

// capacity checks that what bears a load has no scale of torque, and that nothing else
// has a rated load: the one typed as the other would be compared with loads that it has
// nothing to do with.
func (c *checks) capacity(t Tool) {
	if !ToolKinds.Known(t.Kind) { // which is told of the kind
		return
	}
	kind := withArticle(ToolKinds.Name(t.Kind))
	if !t.Kind.BearsLoad() {
		if t.RatedLoadKilograms > 0 && t.RatedLoadKilograms <= maxRatedLoad {
			c.add("rated_load_kilograms", "%s bears no load; expected nothing, and the capacity of a torque tool as the highest torque of its scale", kind)
		}
		return
	}
	for _, scale := range []struct {
		field string
		value float64
	}{
		{"minimum_newton_metres", t.MinimumNewtonMetres}, {"maximum_newton_metres", t.MaximumNewtonMetres}, {"resolution_newton_metres", t.ResolutionNewtonMetres},
	} {
		if scale.value > 0 && scale.value <= maxTorque {
			c.add(scale.field, "%s has no scale of torque; expected nothing, and its capacity as its rated load, a mass such as 1.5 t", kind)
		}
	}
}
