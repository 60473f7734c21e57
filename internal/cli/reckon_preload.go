package cli

import (
	"slices"

	"github.com/spf13/cobra"

	"jointledger/internal/bolting"
	"jointledger/internal/quantity"
)

// preloadOptions are the flags of `reckon preload`.
type preloadOptions struct {
	f *fields
	fastenerOptions
	slideOptions
	scatterOptions
	torque, running quantity.Entry[quantity.Torque, quantity.TorqueUnit]
}

func (a *app) reckonPreload() *cobra.Command {
	o := &preloadOptions{}
	cmd := a.command("preload", "Preload that a torque makes",
		slideHelp+"\nWith --class it is set against what the fastener bears. --running is taken off the\ntorque before.\n\n"+caution)
	cmd.Example = "  trackctl reckon preload --thread M12 --torque \"88 N.m\" --nut-factor 0.20 --class 8.8 --method torque-dry\n" +
		"  trackctl reckon preload --thread M12 --torque \"93 N.m\" --friction 0.14"
	o.f = newFields(cmd)
	o.fastenerOptions.flags(o.f)
	torqueFlag(o.f, &o.torque, "torque", "torque that is applied")
	torqueFlag(o.f, &o.running, "running", "running torque of a self-locking nut within it")
	o.slideOptions.flags(o.f)
	o.scatterOptions.flags(o.f)
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon() })
}

func (o *preloadOptions) reckon() (*reckoning, error) {
	if err := o.f.require("thread", "torque"); err != nil {
		return nil, err
	}
	r := &reckoning{}
	r.warn(bolting.Cautions())
	o.fastenerOptions.tell(r)
	var strength bolting.Strength
	if o.class != "" {
		s, err := o.strength()
		if err != nil {
			return nil, err
		}
		strength = s
		o.tellStrength(r, s)
	}
	torque := bolting.NewtonMetres(o.torque.Quantity)
	r.add("torque_newton_metres", "torque", float64(torque), torqueText(torque)+", typed as "+o.torque.Text)
	seating, err := o.seating(r, torque)
	if err != nil {
		return nil, err
	}
	s, err := o.slide(o.thread, r)
	if err != nil {
		return nil, err
	}
	preload, err := s.preload(seating, r)
	if err != nil {
		return nil, err
	}
	r.add("preload_newtons", "preload", float64(preload), forceText(preload))
	if o.class != "" {
		tellShares(r, "preload_", "preload", strength.Utilisation(o.thread, preload))
	}
	high, err := o.scatterOptions.tell(r, preload)
	if err == nil && high != 0 && o.class != "" {
		tellShares(r, "preload_high_", "greatest preload", strength.Utilisation(o.thread, high))
	}
	return r, err
}

// seating is what is left of the torque for the joint.
func (o *preloadOptions) seating(r *reckoning, torque bolting.NewtonMetres) (bolting.NewtonMetres, error) {
	if o.running.Text == "" {
		return torque, nil
	}
	running := bolting.NewtonMetres(o.running.Quantity)
	if running >= torque {
		return 0, usage("--running: expected less than the torque of %s, got %s", torqueText(torque), torqueText(running))
	}
	r.add("running_torque_newton_metres", "running torque", float64(running), torqueText(running)+", typed as "+o.running.Text)
	r.add("seating_torque_newton_metres", "torque for the joint", float64(torque-running), torqueText(torque-running))
	r.formula = append(r.formula, "torque for the joint = torque − running torque")
	r.sources = append(r.sources, sourced(bolting.PrevailingAddSource)...)
	return torque - running, nil
}

// scatterCommand are the flags of `reckon scatter`.
type scatterCommand struct {
	f *fields
	fastenerOptions
	scatterOptions
	preload quantity.Entry[quantity.Force, quantity.ForceUnit]
}

func (a *app) reckonScatter() *cobra.Command {
	o := &scatterCommand{}
	cmd := a.command("scatter", "Interval of a preload under a way of tightening",
		"Without --method or --scatter, all the ways with published scatter are listed.\n\n"+caution)
	cmd.Example = "  trackctl reckon scatter --preload \"36.67 kN\" --method torque-dry --thread M12 --class 8.8\n" +
		"  trackctl reckon scatter --preload \"9046 lbf\""
	o.f = newFields(cmd)
	forceFlag(o.f, &o.preload, "preload", "nominal preload")
	o.scatterOptions.flags(o.f)
	o.fastenerOptions.flags(o.f)
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon() })
}

func (o *scatterCommand) reckon() (*reckoning, error) {
	if err := o.f.require("preload"); err != nil {
		return nil, err
	}
	r := &reckoning{}
	r.warn(bolting.Cautions())
	nominal := bolting.Newtons(o.preload.Quantity)
	r.add("preload_newtons", "preload", float64(nominal), forceText(nominal)+", typed as "+o.preload.Text)
	high, err := o.scatterOptions.tell(r, nominal)
	if err != nil {
		return nil, err
	}
	if o.f.isGiven("thread") || o.class != "" {
		if err := o.f.require("thread", "class"); err != nil {
			return nil, err
		}
		s, err := o.strength()
		if err != nil {
			return nil, err
		}
		o.fastenerOptions.tell(r)
		o.tellStrength(r, s)
		tellShares(r, "preload_", "preload", s.Utilisation(o.thread, nominal))
		if high != 0 {
			tellShares(r, "preload_high_", "greatest preload", s.Utilisation(o.thread, high))
		}
	}
	if high == 0 && !o.f.isGiven("scatter") {
		return r, o.all(r, nominal)
	}
	return r, nil
}

// all lists the interval under each way of tightening.
func (o *scatterCommand) all(r *reckoning, nominal bolting.Newtons) error {
	force := func(v any) string { return forceText(bolting.Newtons(v.(float64))) }
	list := reckonedList{name: "methods", columns: []listColumn{
		{name: "method", heading: "METHOD"},
		{name: "scatter", heading: "SCATTER", text: func(v any) string { return "±" + rounded(100*v.(float64), 1) + " %" }},
		{name: "preload_low_newtons", heading: "LEAST", text: force},
		{name: "preload_high_newtons", heading: "GREATEST", text: force},
		{name: "tightening_factor"}, {name: "description"}, {name: "source"},
	}}
	for _, m := range bolting.TighteningMethods() {
		i, err := m.Interval(nominal)
		if err != nil {
			return blame("preload", err)
		}
		list.rows = append(list.rows, []any{m.Key, m.High, float64(i.Low), float64(i.High), i.Factor(), m.Name, m.Source.String()})
		for _, s := range sourced(m.Source) {
			if !slices.Contains(r.sources, s) {
				r.sources = append(r.sources, s)
			}
		}
	}
	r.lists = append(r.lists, list)
	r.formula = append(r.formula, "preload·(1 ± scatter), at the worst published scatter of each way")
	return nil
}
