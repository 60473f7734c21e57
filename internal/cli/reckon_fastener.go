package cli

import (
	"fmt"
	"strings"

	"jointledger/internal/bolting"
	"jointledger/internal/quantity"
)

// fastenerOptions are the flags that say which fastener is meant.
type fastenerOptions struct {
	f      *fields
	thread bolting.Thread
	class  string
}

func (o *fastenerOptions) flags(f *fields) {
	o.f = f
	f.bind("thread", "", "THREAD", "thread, such as M12, M12x1.25 or \"1/2-13\"", func(text string) error {
		t, err := bolting.ParseThread(text)
		if err == nil {
			o.thread = t
		}
		return err
	})
	f.text(&o.class, "class", "", "property class or grade, such as 8.8, A2-70, \"Grade 5\" or F593C")
	mustComplete(f.cmd, "class", bolting.Classes())
}

// strength looks up the class for the thread.
func (o *fastenerOptions) strength() (bolting.Strength, error) {
	s, err := bolting.StrengthFor(o.class, o.thread)
	if err != nil {
		return s, blame("class", err)
	}
	return s, nil
}

// tell adds what is known of the fastener.
func (o *fastenerOptions) tell(r *reckoning) {
	t := o.thread
	r.add("thread", "thread", t.Designation, "")
	r.add("stress_area_square_millimetres", "stress area", float64(t.NominalStressArea()), fmt.Sprintf("%s mm²", rounded(float64(t.NominalStressArea()), 2)))
	r.sources = append(r.sources, sourced(t.AreaSource)...)
}

// tellStrength adds what the class bears.
func (o *fastenerOptions) tellStrength(r *reckoning, s bolting.Strength) {
	r.add("class", "class", s.Class, "")
	loads := []struct {
		name, label string
		stress      bolting.Megapascals
	}{{"proof_load_newtons", "proof load", s.Proof}, {"yield_load_newtons", "yield load", s.Yield}, {"tensile_load_newtons", "least tensile load", s.Tensile}}
	for _, l := range loads {
		if l.stress == 0 {
			r.keep(l.name, nil)
			continue
		}
		load := l.stress.Over(o.thread.NominalStressArea())
		r.add(l.name, l.label, float64(load), fmt.Sprintf("%s (%s MPa)", forceText(load), rounded(float64(l.stress), 1)))
	}
	r.sources = append(r.sources, sourced(s.Source)...)
	if s.Note != "" {
		r.remarks = append(r.remarks, s.Class+": "+s.Note)
	}
	if p, err := bolting.MinimumPretension(o.class, o.thread); err == nil {
		r.add("minimum_pretension_newtons", "minimum pretension", float64(p.Minimum), forceText(p.Minimum))
		r.sources = append(r.sources, sourced(p.Source)...)
	}
}

// tellShares adds which share of its strength a preload uses.
func tellShares(r *reckoning, prefix, label string, u bolting.Utilisation) {
	for _, s := range []struct {
		name, of string
		share    float64
	}{{"of_proof", "proof load", u.OfProof}, {"of_yield", "yield load", u.OfYield}, {"of_tensile", "least tensile load", u.OfTensile}} {
		if s.share == 0 {
			r.keep(prefix+s.name, nil)
			continue
		}
		r.add(prefix+s.name, label+" of "+s.of, s.share, rounded(100*s.share, 1)+" %")
	}
}

// targetOptions are the flags of a target preload.
type targetOptions struct {
	fraction float64
	of       bolting.Basis
}

var basisWords = map[string]bolting.Basis{"proof": bolting.OfProof, "yield": bolting.OfYield}

func (o *targetOptions) flags(f *fields) {
	o.of = bolting.OfProof
	f.number(&o.fraction, "fraction", "", "target preload as a fraction, such as 0.75, of what --of says")
	f.bind("of", "", "WORD", "of what: proof (the proof load, when not given) or yield", func(text string) error {
		b, known := basisWords[strings.ToLower(text)]
		if !known {
			return fmt.Errorf("expected proof or yield, got %q", text)
		}
		o.of = b
		return nil
	})
	mustComplete(f.cmd, "of", []string{"proof", "yield"})
}

// practices name the customary targets, for help.
func practices() string {
	var parts []string
	for _, p := range bolting.TargetPractices() {
		parts = append(parts, fmt.Sprintf("%s %s of %s", p.Use, rounded(p.Fraction, 2), p.Basis))
	}
	return "Customary targets (common practice, no source): " + strings.Join(parts, ",\n") + "."
}

// scatterOptions are the flags of how far a preload may be off.
type scatterOptions struct {
	f      *fields
	method string
	gamma  float64
}

func methodKeys() []string {
	var keys []string
	for _, m := range bolting.TighteningMethods() {
		keys = append(keys, m.Key)
	}
	return keys
}

func (o *scatterOptions) flags(f *fields) {
	o.f = f
	f.words("method", "", "way of tightening, for the scatter of the preload", methodKeys(), func(word string) error {
		m, err := bolting.MethodByKey(strings.ToLower(word))
		if err == nil {
			o.method = m.Key
		}
		return err
	})
	f.number(&o.gamma, "scatter", "", "scatter as a fraction, such as 0.25 for ±25 %, instead of --method")
}

// tell adds the interval in which the preload may come out; nothing when no
// scatter was asked for.
func (o *scatterOptions) tell(r *reckoning, nominal bolting.Newtons) (high bolting.Newtons, err error) {
	gamma := o.gamma
	switch {
	case o.method != "" && o.f.isGiven("scatter"):
		return 0, usage("expected --method or --scatter, got both")
	case o.method != "":
		m, err := bolting.MethodByKey(o.method)
		if err != nil {
			return 0, blame("method", err)
		}
		gamma = m.High
		r.add("tightening_method", "method", m.Key, m.Name)
		r.sources = append(r.sources, sourced(m.Source)...)
	case !o.f.isGiven("scatter"):
		return 0, nil
	}
	i, err := bolting.Scatter(nominal, gamma)
	if err != nil {
		return 0, blameRange(err, "scatter", map[string]string{"preload": "preload"})
	}
	r.add("scatter", "scatter", gamma, "±"+rounded(100*gamma, 1)+" %")
	r.add("preload_low_newtons", "least preload", float64(i.Low), forceText(i.Low))
	r.add("preload_high_newtons", "greatest preload", float64(i.High), forceText(i.High))
	r.add("tightening_factor", "tightening factor", i.Factor(), rounded(i.Factor(), 3))
	r.formula = append(r.formula, "preload·(1 ± scatter); tightening factor = (1 + scatter)/(1 − scatter)")
	return i.High, nil
}

// forceText and torqueText write a figure in both systems.
func forceText(f bolting.Newtons) string {
	q := quantity.Force(f)
	return q.Format(quantity.Kilonewton) + " = " + q.Format(quantity.PoundForce)
}

func torqueText(t bolting.NewtonMetres) string {
	q := quantity.Torque(t)
	return q.Format(quantity.NewtonMetre) + " = " + q.Format(quantity.PoundForceFoot)
}
