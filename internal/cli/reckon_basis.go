package cli

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/bolting"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/metrology"
	"jointledger/internal/quantity"
)

// wrongBasisOptions are the flags of `reckon wrong-basis`.
type wrongBasisOptions struct {
	f *fields
	fastenerOptions
	targetOptions
	assumed, actual factorArg
}

// factorArg is a nut factor, typed as a number or as a condition.
type factorArg struct {
	factor    float64
	condition string
}

func (v *factorArg) flag(f *fields, name, help string) {
	f.bind(name, "", "K", help+": a nut factor or a condition of the threads: "+strings.Join(conditions(), ", "), func(text string) error {
		k, problem := csvfile.ParseNumber(text)
		if problem == "" {
			*v = factorArg{factor: k}
			return nil
		}
		i, err := chosen("nut factor or condition", conditions(), text)
		if err == nil {
			*v = factorArg{condition: conditions()[i-1]}
		}
		return err
	})
	mustComplete(f.cmd, name, conditions())
}

func (a *app) reckonWrongBasis() *cobra.Command {
	o := &wrongBasisOptions{}
	cmd := a.command("wrong-basis", "What a torque does on threads that it was not meant for",
		"A torque worked out for one nut factor makes another preload on threads that have\nanother: F2/F1 = K1/K2. With --thread, --class and --fraction it is set against what\nthe fastener bears.\n\n"+caution)
	cmd.Example = "  trackctl reckon wrong-basis --assumed 0.20 --actual 0.13 --thread \"1/2-13\" --class \"Grade 5\" --fraction 0.75\n" +
		"  trackctl reckon wrong-basis --assumed plain-steel-dry --actual anti-seize-on-steel"
	o.f = newFields(cmd)
	o.assumed.flag(o.f, "assumed", "what the torque was worked out for")
	o.actual.flag(o.f, "actual", "what the threads are")
	o.fastenerOptions.flags(o.f)
	o.targetOptions.flags(o.f)
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon() })
}

func (o *wrongBasisOptions) reckon() (*reckoning, error) {
	if err := o.f.require("assumed", "actual"); err != nil {
		return nil, err
	}
	r := &reckoning{formula: []string{"F2/F1 = K1/K2"}}
	r.warn(bolting.Cautions())
	assumed, err := nutFactorOf(o.assumed.factor, o.assumed.condition, r)
	if err != nil {
		return nil, renamed(err, "assumed")
	}
	actual, err := nutFactorOf(o.actual.factor, o.actual.condition, r)
	if err != nil {
		return nil, renamed(err, "actual")
	}
	shift, err := bolting.WrongBasis{Assumed: assumed, Actual: actual}.PreloadShift()
	if err != nil {
		return nil, blameRange(err, "assumed", map[string]string{"nut factor of the threads": "actual"})
	}
	r.add("assumed_nut_factor", "nut factor assumed", float64(assumed), "")
	r.add("actual_nut_factor", "nut factor of the threads", float64(actual), "")
	r.add("preload_ratio", "preload, of the intended", shift.Ratio, rounded(100*shift.Ratio, 1)+" %")
	r.add("preload_error_percent", "error of the preload", shift.Percent, fmt.Sprintf("%+.1f %%", shift.Percent))
	if !o.f.isGiven("thread") && o.class == "" && !o.f.isGiven("fraction") {
		return r, nil
	}
	if err := o.f.require("thread", "class", "fraction"); err != nil {
		return nil, err
	}
	return r, o.onFastener(r, assumed, actual)
}

// renamed gives the refusal of a condition the name of the flag that it came with.
func renamed(err error, flag string) error {
	var f *failure
	if errors.As(err, &f) {
		f.message = strings.Replace(f.message, "--condition:", "--"+flag+":", 1)
	}
	return err
}

// onFastener adds what the torque does to one fastener.
func (o *wrongBasisOptions) onFastener(r *reckoning, assumed, actual bolting.NutFactor) error {
	strength, err := o.strength()
	if err != nil {
		return err
	}
	intended, err := targetPreload(o.thread, strength, o.targetOptions)
	if err != nil {
		return err
	}
	set, err := assumed.Torque(intended, o.thread.Nominal)
	if err != nil {
		return blame("assumed", err)
	}
	right, err := actual.Torque(intended, o.thread.Nominal)
	if err != nil {
		return blame("actual", err)
	}
	got, err := actual.Preload(set, o.thread.Nominal)
	if err != nil {
		return blame("actual", err)
	}
	o.fastenerOptions.tell(r)
	o.tellStrength(r, strength)
	r.add("fraction", "fraction", o.fraction, "")
	r.add("fraction_of", "of the", string(o.of), "")
	r.add("intended_preload_newtons", "preload intended", float64(intended), forceText(intended))
	r.add("torque_newton_metres", "torque for the assumed factor", float64(set), torqueText(set))
	r.add("preload_newtons", "preload that it makes", float64(got), forceText(got))
	tellShares(r, "preload_", "that preload", strength.Utilisation(o.thread, got))
	r.add("right_torque_newton_metres", "right torque for the threads", float64(right), torqueText(right))
	r.formula = append(r.formula, "T = K·F·d, short form")
	return nil
}

// adapterOptions are the flags of `reckon adapter`.
type adapterOptions struct {
	f                       *fields
	torque, setting         quantity.Entry[quantity.Torque, quantity.TorqueUnit]
	wrenchLength, extension quantity.Entry[quantity.Length, quantity.LengthUnit]
	angle                   float64
}

func (a *app) reckonAdapter() *cobra.Command {
	o := &adapterOptions{}
	cmd := a.command("adapter", "What to set on a wrench with a crowfoot or extension",
		"--torque asks what to set for a torque at the fastener, --setting what a setting\ngives there. --wrench-length is from the drive to the middle of the grip.\n\n"+caution)
	cmd.Example = "  trackctl reckon adapter --torque \"100 lbf.in\" --wrench-length \"12 in\" --extension \"6 in\"\n" +
		"  trackctl reckon adapter --setting \"100 N.m\" --wrench-length \"500 mm\" --extension \"150 mm\" --angle 45"
	o.f = newFields(cmd)
	torqueFlag(o.f, &o.torque, "torque", "torque wanted at the fastener")
	torqueFlag(o.f, &o.setting, "setting", "torque set on the wrench")
	lengthFlag(o.f, &o.wrenchLength, "wrench-length", "drive to the middle of the grip")
	lengthFlag(o.f, &o.extension, "extension", "drive to the middle of the fastener")
	o.f.number(&o.angle, "angle", "", "degrees between adapter and wrench: 0 in line (when not given), 90 square to it")
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon() })
}

func (o *adapterOptions) reckon() (*reckoning, error) {
	if err := o.f.exactlyOne("torque", "setting"); err != nil {
		return nil, err
	}
	if err := o.f.require("wrench-length", "extension"); err != nil {
		return nil, err
	}
	r := &reckoning{}
	r.warn(bolting.Cautions())
	adapter := bolting.Adapter{WrenchLength: bolting.Millimetres(o.wrenchLength.Quantity), Extension: bolting.Millimetres(o.extension.Quantity), AngleDegrees: o.angle}
	var wanted, setting bolting.NewtonMetres
	var err error
	if o.torque.Text != "" {
		wanted = bolting.NewtonMetres(o.torque.Quantity)
		setting, err = adapter.Setting(wanted)
	} else {
		setting = bolting.NewtonMetres(o.setting.Quantity)
		wanted, err = adapter.Applied(setting)
	}
	if err != nil {
		return nil, blameRange(err, "torque", map[string]string{"torque set": "setting", "length of the wrench": "wrench-length",
			"extension of the adapter": "extension", "angle of the adapter": "angle"})
	}
	r.add("wrench_length_millimetres", "length of the wrench", float64(adapter.WrenchLength), rounded(float64(adapter.WrenchLength), 1)+" mm, typed as "+o.wrenchLength.Text)
	r.add("extension_millimetres", "extension", float64(adapter.Extension), rounded(float64(adapter.Extension), 1)+" mm, typed as "+o.extension.Text)
	r.add("angle_degrees", "angle", o.angle, rounded(o.angle, 1)+"°")
	r.add("torque_newton_metres", "torque at the fastener", float64(wanted), torqueText(wanted))
	r.add("setting_newton_metres", "setting of the wrench", float64(setting), torqueText(setting))
	r.formula = []string{"setting = torque·L/(L + E·cos angle)"}
	r.sources = sourced(metrology.Source{Title: "NAVEDTRA 14315", Place: "torque wrench extensions, in line", Mark: metrology.Seen},
		metrology.Source{Title: "geometry of the lever, at an angle", Mark: metrology.Derived})
	return r, nil
}
