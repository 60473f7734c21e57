package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/sampling"
)

// sampleOptions are the flags of `reckon sample`.
type sampleOptions struct {
	f             *fields
	lot           int64
	level         sampling.Level
	aql           sampling.AQL
	quality       []float64 // percent nonconforming, or nonconformities per 100 units
	nonconforming []int
}

const sampleHelp = `With --aql, the single sampling plan for normal inspection of MIL-STD-105E: where the
table has an arrow, the plan that it leads to is used with its own sample size. The
operating characteristic gives how likely lots of a quality are accepted: binomial,
and Poisson for AQLs above 10, which count nonconformities per 100 units.

Always, the customary sample of a bolted joint, 10 % and at least 2, with how likely it
finds one of the nonconforming items (hypergeometric).`

func (a *app) reckonSample() *cobra.Command {
	o := &sampleOptions{level: sampling.LevelII}
	cmd := a.command("sample", "Sample to inspect, and what it proves", sampleHelp)
	cmd.Example = "  trackctl reckon sample --lot-size 1000 --level II --aql 1.0\n  trackctl reckon sample --lot-size 24 --nonconforming 2"
	o.f = newFields(cmd)
	countFlag(o.f, &o.lot, "lot-size", 1, "how many items the lot, or fasteners the joint, has")
	o.f.bind("level", "", "LEVEL", "inspection level: S-1 to S-4, I, II (when not given) or III", func(text string) error {
		l, err := sampling.ParseLevel(text)
		if err == nil {
			o.level = l
		}
		return err
	})
	o.f.bind("aql", "", "AQL", "acceptable quality level, a preferred value such as 0.65, 1.0 or 2.5", func(text string) error {
		v, err := sampling.ParseAQL(text)
		if err == nil {
			o.aql = v
		}
		return err
	})
	o.f.bind("quality", "", "PERCENT", "qualities of the operating characteristic, parted by commas", o.addQualities)
	o.f.bind("nonconforming", "", "N", "numbers of nonconforming items in the lot, for the power of the 10 % sample, parted by commas", o.addNonconforming)
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon() })
}

func (o *sampleOptions) addQualities(text string) error {
	for _, part := range strings.Split(text, ",") {
		v, problem := csvfile.ParseNumber(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(part), "%")))
		if problem == "" && v < 0 {
			problem = fmt.Sprintf("expected a quality of at least 0, got %s", part)
		}
		if problem != "" {
			return fmt.Errorf("%s", problem)
		}
		o.quality = append(o.quality, v)
	}
	return nil
}

func (o *sampleOptions) addNonconforming(text string) error {
	for _, part := range strings.Split(text, ",") {
		v, err := parseWhole(strings.TrimSpace(part))
		if err == nil && v < 1 {
			err = fmt.Errorf("expected a whole number of at least 1, got %d", v)
		}
		if err != nil {
			return err
		}
		o.nonconforming = append(o.nonconforming, int(v))
	}
	return nil
}

func (o *sampleOptions) reckon() (*reckoning, error) {
	if err := o.f.require("lot-size"); err != nil {
		return nil, err
	}
	r := &reckoning{}
	r.warn(sampling.Cautions())
	r.add("lot_size", "lot", o.lot, "")
	if o.f.isGiven("aql") {
		if err := o.plan(r); err != nil {
			return nil, err
		}
	} else if o.f.isGiven("level") || len(o.quality) > 0 {
		return nil, usage("--level and --quality belong to a plan: expected --aql with them")
	}
	return r, o.shareRule(r)
}

// plan adds the plan of the standard and its operating characteristic.
func (o *sampleOptions) plan(r *reckoning) error {
	p, err := sampling.NormalPlan(int(o.lot), o.level, o.aql)
	if err != nil {
		return blameRange(err, "lot-size", nil)
	}
	r.add("level", "level", string(o.level), "")
	r.add("aql", "AQL", float64(o.aql), o.aql.String())
	r.add("code_letter", "code letter", p.CodeLetter, "")
	used := p.UsedLetter
	if used != p.CodeLetter {
		used += ", where the arrows lead"
	}
	r.add("plan_letter", "plan", p.UsedLetter, used)
	r.add("sample_size", "sample", p.SampleSize, "")
	r.add("accept", "accept with at most", p.Accept, "")
	r.add("reject", "do not accept with", p.Reject(), "")
	r.add("full_inspection", "every item is inspected", p.FullInspection, "")
	r.sources = append(r.sources, sourced(sampling.Standard)...)
	if p.FullInspection {
		r.remarks = append(r.remarks, "the sample would be the lot or more: inspect every item")
		return nil
	}
	return o.characteristic(r, p)
}

// defaultQualities are percents that show the shape of most curves.
var defaultQualities = []float64{0.1, 0.25, 0.4, 0.65, 1, 1.5, 2.5, 4, 5, 6.5, 10, 15, 25}

func (o *sampleOptions) characteristic(r *reckoning, p sampling.Plan) error {
	qualities := o.quality
	if len(qualities) == 0 {
		qualities = defaultQualities
	}
	perUnits := p.AQL.PerHundredUnits()
	name, heading, model := "nonconforming_percent", "NONCONFORMING", "binomial"
	accept, inverse := p.AcceptBinomial, p.FractionAccepted
	if perUnits {
		name, heading, model = "nonconformities_per_100", "PER 100 UNITS", "Poisson"
		accept, inverse = p.AcceptPoisson, p.PerUnitAccepted
	}
	percent := func(v any) string {
		text := rounded(v.(float64), 3)
		if !perUnits {
			text += " %"
		}
		return text
	}
	list := reckonedList{name: "operating_characteristic", columns: []listColumn{
		{name: name, heading: heading, text: percent},
		{name: "acceptance_probability", heading: "ACCEPTED", text: func(v any) string { return rounded(100*v.(float64), 2) + " %" }},
	}}
	for _, q := range qualities {
		pa, err := accept(q / 100)
		if err != nil {
			return blame("quality", err)
		}
		list.rows = append(list.rows, []any{q, pa})
	}
	r.lists = append(r.lists, list)
	r.keep("operating_characteristic_model", model)
	r.formula = append(r.formula, "acceptance probability = P(at most "+fmt.Sprint(p.Accept)+" in "+fmt.Sprint(p.SampleSize)+"), "+model)
	if p.Accept >= p.SampleSize && !perUnits {
		return nil
	}
	for _, point := range []struct {
		key, label  string
		probability float64
	}{{"accepted_95", "accepted 95 times in 100", 0.95}, {"accepted_50", "accepted every second time", 0.50}, {"accepted_10", "accepted 10 times in 100 (limiting quality)", 0.10}} {
		v, err := inverse(point.probability)
		if err != nil {
			return blame("quality", err)
		}
		r.add(point.key+"_"+name, point.label, 100*v, percent(100*v))
	}
	return nil
}

// shareRule adds the customary sample of a joint and its power.
func (o *sampleOptions) shareRule(r *reckoning) error {
	rule := sampling.JointAuditRule()
	n, err := rule.SampleSize(int(o.lot))
	if err != nil {
		return blame("lot-size", err)
	}
	r.add("share_rule", "customary sample", rule.Name, "")
	r.add("share_rule_sample_size", "customary sample size", n, "")
	r.sources = append(r.sources, sourced(rule.Source)...)
	r.remarks = append(r.remarks, rule.Name+": "+rule.Note)
	counts := o.nonconforming
	if len(counts) == 0 {
		for _, d := range []int{1, 2, 3, 5, 10} {
			if int64(d) <= o.lot {
				counts = append(counts, d)
			}
		}
	}
	list := reckonedList{name: "share_rule_detection", columns: []listColumn{
		{name: "nonconforming", heading: "NONCONFORMING IN THE LOT"},
		{name: "detection_probability", heading: "FOUND BY THE CUSTOMARY SAMPLE", text: func(v any) string { return rounded(100*v.(float64), 2) + " %" }},
	}}
	for _, d := range counts {
		power, err := rule.DetectionPower(sampling.Lot{Size: int(o.lot), Nonconforming: d})
		if err != nil {
			return blame("nonconforming", err)
		}
		list.rows = append(list.rows, []any{d, power})
	}
	r.lists = append(r.lists, list)
	r.formula = append(r.formula, "detection probability = 1 − P(none of the nonconforming items in the sample), hypergeometric")
	return nil
}
