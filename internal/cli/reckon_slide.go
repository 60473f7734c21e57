package cli

import (
	"fmt"
	"strings"

	"jointledger/internal/bolting"
	"jointledger/internal/quantity"
)

// slideOptions are the flags of how torque becomes preload: a nut factor, or
// friction.
type slideOptions struct {
	f                   *fields
	factor              float64
	condition           string
	friction            float64
	threadMu, bearingMu float64
	outer, hole         quantity.Entry[quantity.Length, quantity.LengthUnit]
}

const slideHelp = `Short form: T = K·F·d, with --nut-factor K or the default factor of a --condition.
Long form: --friction, or --thread-friction and --bearing-friction, over the bearing
ring of a plain hexagon (metric) or --bearing-outer and --hole.
`

func conditions() []string {
	var words []string
	for _, d := range bolting.NutFactorDefaults() {
		words = append(words, string(d.Condition))
	}
	return words
}

func (o *slideOptions) flags(f *fields) {
	o.f = f
	f.number(&o.factor, "nut-factor", "", "nut factor K, such as 0.20")
	f.words("condition", "", "condition of the threads, for its default nut factor", conditions(), func(word string) error {
		_, err := chosen("condition", conditions(), word)
		o.condition = strings.ToLower(word)
		return err
	})
	f.number(&o.friction, "friction", "", "friction coefficient of thread and bearing face")
	f.number(&o.threadMu, "thread-friction", "", "friction coefficient of the thread")
	f.number(&o.bearingMu, "bearing-friction", "", "friction coefficient under the part that is turned")
	lengthFlag(f, &o.outer, "bearing-outer", "outer diameter of the bearing face")
	lengthFlag(f, &o.hole, "hole", "clearance hole")
}

// slide turns preload into torque and back for one thread.
type slide struct {
	thread bolting.Thread
	factor bolting.NutFactor
	long   *bolting.LongForm
}

func (o *slideOptions) slide(t bolting.Thread, r *reckoning) (slide, error) {
	long := o.f.isGiven("friction") || o.f.isGiven("thread-friction") || o.f.isGiven("bearing-friction")
	if long {
		if o.factor != 0 || o.condition != "" {
			return slide{}, usage("expected a nut factor (--nut-factor or --condition) or friction, got both")
		}
		return o.longForm(t, r)
	}
	if o.outer.Text != "" || o.hole.Text != "" {
		return slide{}, usage("--bearing-outer and --hole need --friction or --thread-friction and --bearing-friction")
	}
	if err := o.f.exactlyOne("nut-factor", "condition"); err != nil {
		return slide{}, err
	}
	k, err := nutFactorOf(o.factor, o.condition, r)
	if err != nil {
		return slide{}, err
	}
	r.add("nut_factor", "nut factor K", float64(k), "")
	return slide{thread: t, factor: k}, nil
}

// nutFactorOf is the factor that was given, or the default of a condition, which
// it labels as one.
func nutFactorOf(factor float64, condition string, r *reckoning) (bolting.NutFactor, error) {
	if condition == "" {
		return bolting.NutFactor(factor), nil
	}
	d, err := bolting.DefaultNutFactor(bolting.Condition(condition))
	if err != nil {
		return 0, blame("condition", err)
	}
	if d.Unknown {
		return 0, usage("--condition: sources contradict each other on %s; expected a nut factor: the maker's figure or that of a joint test", condition)
	}
	span := ""
	if d.Low != 0 {
		span = fmt.Sprintf(", published %s to %s", rounded(float64(d.Low), 3), rounded(float64(d.High), 3))
	}
	r.remarks = append(r.remarks, fmt.Sprintf("nut factor %s is a default for %s%s; a factor from a joint test or the record goes before it",
		rounded(float64(d.Typical), 3), condition, span))
	if d.Note != "" {
		r.remarks = append(r.remarks, condition+": "+d.Note)
	}
	r.sources = append(r.sources, sourced(d.Source)...)
	return d.Typical, nil
}

func (o *slideOptions) longForm(t bolting.Thread, r *reckoning) (slide, error) {
	friction := bolting.Friction{Thread: o.threadMu, Bearing: o.bearingMu}
	if o.f.isGiven("friction") {
		if o.f.isGiven("thread-friction") || o.f.isGiven("bearing-friction") {
			return slide{}, usage("expected --friction, or --thread-friction and --bearing-friction, got both")
		}
		friction = bolting.UniformFriction(o.friction)
	} else if err := o.f.require("thread-friction", "bearing-friction"); err != nil {
		return slide{}, err
	}
	ring, err := o.ring(t, r)
	if err != nil {
		return slide{}, err
	}
	r.add("thread_friction", "thread friction", friction.Thread, "")
	r.add("bearing_friction", "bearing friction", friction.Bearing, "")
	r.add("bearing_mean_diameter_millimetres", "bearing mean diameter", float64(ring.MeanDiameter()), rounded(float64(ring.MeanDiameter()), 2)+" mm")
	return slide{thread: t, long: &bolting.LongForm{Thread: t, Friction: friction, Ring: ring}}, nil
}

func (o *slideOptions) ring(t bolting.Thread, r *reckoning) (bolting.BearingRing, error) {
	if o.outer.Text != "" || o.hole.Text != "" {
		if err := o.f.require("bearing-outer", "hole"); err != nil {
			return bolting.BearingRing{}, err
		}
		return bolting.BearingRing{Outer: bolting.Millimetres(o.outer.Quantity), Hole: bolting.Millimetres(o.hole.Quantity)}, nil
	}
	d, err := bolting.RingFor(t)
	if err != nil {
		return bolting.BearingRing{}, usage("--bearing-outer: %v; give --bearing-outer and --hole", err)
	}
	r.sources = append(r.sources, sourced(d.Source)...)
	r.remarks = append(r.remarks, "the bearing ring is that of a plain hexagon over a medium hole")
	return d.Ring, nil
}

// torque is the torque that makes a preload.
func (s slide) torque(preload bolting.Newtons, r *reckoning) (bolting.NewtonMetres, error) {
	if s.long == nil {
		r.formula = append(r.formula, "T = K·F·d, short form")
		t, err := s.factor.Torque(preload, s.thread.Nominal)
		return t, s.blame(err)
	}
	parts, err := s.long.Torque(preload)
	if err != nil {
		return 0, s.blame(err)
	}
	return parts.Total(), s.tellParts(parts, r)
}

// preload is the preload that a torque makes.
func (s slide) preload(torque bolting.NewtonMetres, r *reckoning) (bolting.Newtons, error) {
	if s.long == nil {
		r.formula = append(r.formula, "F = T/(K·d), short form")
		f, err := s.factor.Preload(torque, s.thread.Nominal)
		return f, s.blame(err)
	}
	f, err := s.long.Preload(torque)
	if err != nil {
		return 0, s.blame(err)
	}
	parts, err := s.long.Torque(f)
	if err != nil {
		return 0, s.blame(err)
	}
	return f, s.tellParts(parts, r)
}

// tellParts adds where a torque goes in the long form.
func (s slide) tellParts(p bolting.TorqueParts, r *reckoning) error {
	k, err := s.long.NutFactor()
	if err != nil {
		return s.blame(err)
	}
	r.formula = append(r.formula, "T = F·[P/(2π) + d2·μG/(2·cos 30°) + Db/2·μK], long form (VDI 2230, ISO 16047; from memory)")
	r.add("nut_factor", "nut factor it amounts to", float64(k), rounded(float64(k), 4))
	for _, part := range []struct {
		name, label string
		torque      bolting.NewtonMetres
	}{{"pitch", "pitch, which makes the preload", p.Pitch}, {"thread", "friction in the thread", p.Thread}, {"bearing", "friction under the turned part", p.Bearing}} {
		r.add(part.name+"_torque_newton_metres", part.label, float64(part.torque),
			fmt.Sprintf("%s (%s %%)", torqueText(part.torque), rounded(100*float64(part.torque/p.Total()), 1)))
	}
	return nil
}

// blame finds the flag of a value out of range.
func (s slide) blame(err error) error {
	if err == nil {
		return nil
	}
	return blameRange(err, "nut-factor", map[string]string{"preload": "fraction", "torque": "torque", "thread friction": "thread-friction",
		"bearing friction": "bearing-friction", "clearance hole": "hole", "outer diameter of the bearing face": "bearing-outer"})
}
