package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"jointledger/internal/bolting"
	"jointledger/internal/quantity"
)

// torqueOptions are the flags of `reckon torque`.
type torqueOptions struct {
	f *fields
	fastenerOptions
	targetOptions
	slideOptions
	scatterOptions
	running quantity.Entry[quantity.Torque, quantity.TorqueUnit]
}

func (a *app) reckonTorque() *cobra.Command {
	o := &torqueOptions{}
	cmd := a.command("torque", "Torque for a target preload",
		"The preload is a fraction of the proof load, or of the yield load with --of yield,\nfor classes whose standard gives no proof load.\n\n"+
			slideHelp+"\n"+practices()+"\n\n"+caution)
	cmd.Example = "  trackctl reckon torque --thread M12 --class 8.8 --nut-factor 0.20 --fraction 0.75\n" +
		"  trackctl reckon torque --thread M10 --class A2-70 --condition anti-seize-on-stainless --fraction 0.65 --of yield\n" +
		"  trackctl reckon torque --thread \"1/2-13\" --class \"Grade 5\" --nut-factor 0.13 --fraction 0.75 --running \"24 lbf.in\""
	o.f = newFields(cmd)
	o.fastenerOptions.flags(o.f)
	o.targetOptions.flags(o.f)
	o.slideOptions.flags(o.f)
	o.scatterOptions.flags(o.f)
	torqueFlag(o.f, &o.running, "running", "running torque of a self-locking nut, which is added")
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon() })
}

func (o *torqueOptions) reckon() (*reckoning, error) {
	if err := o.f.require("thread", "class", "fraction"); err != nil {
		return nil, err
	}
	strength, err := o.strength()
	if err != nil {
		return nil, err
	}
	r := &reckoning{}
	r.warn(bolting.Cautions())
	o.fastenerOptions.tell(r)
	o.tellStrength(r, strength)
	r.add("fraction", "fraction", o.fraction, "")
	r.add("fraction_of", "of the", string(o.of), "")
	preload, err := targetPreload(o.thread, strength, o.targetOptions)
	if err != nil {
		return nil, err
	}
	s, err := o.slide(o.thread, r)
	if err != nil {
		return nil, err
	}
	torque, err := s.torque(preload, r)
	if err != nil {
		return nil, err
	}
	r.add("preload_newtons", "preload", float64(preload), forceText(preload))
	tellShares(r, "preload_", "preload", strength.Utilisation(o.thread, preload))
	r.add("torque_newton_metres", "torque", float64(torque), torqueText(torque))
	if err := o.tellRunning(r, torque); err != nil {
		return nil, err
	}
	return r, o.tellScatter(r, strength, preload)
}

// targetPreload is the preload that was asked for.
func targetPreload(t bolting.Thread, s bolting.Strength, o targetOptions) (bolting.Newtons, error) {
	if !(o.fraction > 0 && o.fraction <= 1) {
		return 0, usage("--fraction: expected a fraction above 0 and up to 1 of the %s, got %s", o.of, rounded(o.fraction, 6))
	}
	if o.of == bolting.OfYield {
		load, err := s.YieldLoad(t)
		if err != nil {
			return 0, blame("of", err)
		}
		return bolting.Newtons(o.fraction) * load, nil
	}
	load, err := s.ProofLoad(t)
	if err != nil {
		return 0, usage("--of: %v, with --of yield", err)
	}
	return bolting.Newtons(o.fraction) * load, nil
}

// tellRunning adds the torque to set for a self-locking nut.
func (o *torqueOptions) tellRunning(r *reckoning, seating bolting.NewtonMetres) error {
	if o.running.Text == "" {
		return nil
	}
	running := bolting.NewtonMetres(o.running.Quantity)
	final, err := bolting.Prevailing{Seating: seating, Running: running}.Final()
	if err != nil {
		return blame("running", err)
	}
	r.add("running_torque_newton_metres", "running torque", float64(running), fmt.Sprintf("%s, typed as %s", torqueText(running), o.running.Text))
	r.add("final_torque_newton_metres", "torque to set", float64(final), torqueText(final))
	r.formula = append(r.formula, "torque to set = torque + running torque, measured with the part turning before it makes contact")
	r.sources = append(r.sources, sourced(bolting.PrevailingAddSource)...)
	return nil
}

func (o *torqueOptions) tellScatter(r *reckoning, s bolting.Strength, preload bolting.Newtons) error {
	high, err := o.scatterOptions.tell(r, preload)
	if err != nil || high == 0 {
		return err
	}
	tellShares(r, "preload_high_", "greatest preload", s.Utilisation(o.thread, high))
	return nil
}
