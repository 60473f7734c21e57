package analysis

import (
	"fmt"
	"slices"
	"strings"

	"jointledger/internal/metrology"
)

// impactSentence is the finding on one joint in words.
func impactSentence(j JointImpact, in ImpactInput, goodKnown bool) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Set to %.4g N·m", j.SetNewtonMetres)
	switch {
	case j.NoTorqueFound:
		b.WriteString("; the tool was found to give no torque at all beside that setting, so what the joint got cannot be estimated.")
	case j.LinearDrift != nil:
		fmt.Fprintf(&b, ", it got about %s if the tool was off all of the time, %s if it went off with use.", delivered(j.UnknownDrift), delivered(j.LinearDrift))
	case goodKnown:
		fmt.Fprintf(&b, ", it got about %s if the tool was off all of the time.", delivered(j.UnknownDrift))
	default:
		fmt.Fprintf(&b, ", it got about %s, for as long as the tool was off.", delivered(j.UnknownDrift))
	}
	switch w := j.Window; {
	case w == nil:
		b.WriteString(" No specification says what its torque may be, so there is no probability of its being wrong.")
	case j.OutsideProbability != nil:
		under := ""
		if j.LinearDrift != nil {
			under = ", under the worse of the two"
		}
		fmt.Fprintf(&b, " The probability that a fastener lies outside %.4g to %.4g N·m%s is %s%s.",
			w.LowerNewtonMetres, w.UpperNewtonMetres, basisOf(*w), chance(*j.OutsideProbability), under)
	case !j.NoTorqueFound:
		fmt.Fprintf(&b, " Its window is %.4g to %.4g N·m%s; no uncertainty is known, so there is no probability.", w.LowerNewtonMetres, w.UpperNewtonMetres, basisOf(*w))
	}
	if slices.ContainsFunc(j.Records, func(r ImpactRecord) bool { return r.Counts && r.TorqueNewtonMetres == nil }) {
		b.WriteString(" Another tightening that counts has no torque on record.")
	}
	if g := j.GoneOver; g != nil {
		fmt.Fprintf(&b, " Gone over again since with %s on %s (%s).", g.Tool, day(g.At, in.Location), quantity(int64(g.Fasteners), "fastener"))
	}
	if j.LockingCured {
		b.WriteString(" Thread-locking compound has cured on it: it cannot be audited by turning, which breaks the bond and reads false.")
	}
	return b.String()
}

func delivered(e *DriftEstimate) string {
	if u := e.StandardUncertaintyNewtonMetres; u != nil {
		return fmt.Sprintf("%.2f N·m (%+.1f %%, standard uncertainty %.2g N·m)", e.DeliveredNewtonMetres, e.DeviationPercent, *u)
	}
	return fmt.Sprintf("%.2f N·m (%+.1f %%)", e.DeliveredNewtonMetres, e.DeviationPercent)
}

func basisOf(w TorqueWindow) string {
	if w.Basis == "" {
		return ""
	}
	return " (" + w.Basis + ")"
}

// chance is a probability in words that claim neither certainty.
func chance(p float64) string {
	switch {
	case p < 0.001:
		return "less than 0.1 %"
	case p > 0.999:
		return "more than 99.9 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}

func apartSentence(a JointApart, bands []ImpactBand) string {
	if a.Reason == ApartNoTorque {
		return "No torque is on record for it, so whether it lies in a band is not known; look for the setting on paper, or audit it."
	}
	var torques []string
	for _, r := range a.Records {
		if r.Counts && r.TorqueNewtonMetres != nil {
			if t := fmt.Sprintf("%.4g N·m", *r.TorqueNewtonMetres); !slices.Contains(torques, t) {
				torques = append(torques, t)
			}
		}
	}
	switch {
	case len(bands) == 0:
		return "No test point failed, so no torque is in question."
	case len(torques) == 0:
		return "No torque is in question for it."
	}
	return fmt.Sprintf("Set to %s, outside the torques in question (%s).", strings.Join(torques, ", "), bandWords(bands))
}

func bandWords(bands []ImpactBand) string {
	parts := make([]string, len(bands))
	for i, b := range bands {
		switch l, u := b.LowerNewtonMetres, b.UpperNewtonMetres; {
		case l == nil && u == nil:
			parts[i] = "every torque"
		case l == nil:
			parts[i] = fmt.Sprintf("below %g N·m", *u)
		case u == nil:
			parts[i] = fmt.Sprintf("above %g N·m", *l)
		default:
			parts[i] = fmt.Sprintf("between %g and %g N·m", *l, *u)
		}
	}
	return strings.Join(parts, "; ")
}

// describeImpact adds headline, method, assumption and cautions.
func describeImpact(a *ImpactAnswer, in ImpactInput, d toolDrift) {
	a.Headline = impactHeadline(a, in)
	a.Method = fmt.Sprintf("Test points held against ±%g %% (ISO 6789-1:2017) under %s, by the worst reading. Torques in question reach from a failed point to the nearest good ones beside it. "+
		"Delivered torque = set/(1 + deviation/100), the deviation linear in torque between test points and flat outside them. Two models: as found all of the time; or linear in cycles (fasteners tightened with the tool, any pass) from as left to as found. "+
		"Standard uncertainty: the spread of single readings, that of their mean, and the certificate's U/k, root sum of squares; where U holds the spread already, it counts twice and the figure errs on the wide side. "+
		"Probability outside the window: normal (JCGM 106:2012, 7.3-7.4), the larger of the two models'. Of several tightenings of a joint the last first or final pass counts, and earlier ones for fasteners that it did not reach.",
		a.LimitPercent, a.Rule)
	a.Assumption = "The tool gave at work what it gave in the laboratory, every use of it is on record with the torque set, and it was off, at worst, by what was found."
	for _, c := range []string{
		"The responsible engineer decides joint by joint; the equipment maker's manual and drawings come before every figure here. Inside its tolerance a joint may be used as it is if the engineer says so; else recheck or tighten again, or take new hardware.",
		"A torque is not proof of clamp load: friction decides, and an audit reads what has relaxed since.",
		noGoodCaution(a),
		uncertaintyCaution(d, a),
		curedCaution(a),
		overTorqueCaution(a),
		unknownsCaution(a),
		toolUnproven(),
	} {
		if c != "" {
			a.Cautions = append(a.Cautions, c)
		}
	}
}

func impactHeadline(a *ImpactAnswer, in ImpactInput) string {
	end := day(a.End, in.Location)
	if len(a.Bands) == 0 {
		return fmt.Sprintf("No test point of tool %s failed as found on %s: no joint is in question.", in.Tool.Serial, end)
	}
	all := int64(len(a.Joints) + len(a.GoneOver) + len(a.Apart))
	if all == 0 {
		return fmt.Sprintf("Tool %s failed as found on %s; no joint is on record as tightened with it in the time in question.", in.Tool.Serial, end)
	}
	since := "its first use on " + day(a.Start, in.Location) + " (no good calibration is on record)"
	if a.StartKnown {
		since = "its last good calibration on " + day(a.Start, in.Location)
	}
	s := fmt.Sprintf("Tool %s failed as found on %s. Of %s tightened with it since %s, %d lie in the torques in question (%s)",
		in.Tool.Serial, end, quantity(all, "joint"), since, len(a.Joints)+len(a.GoneOver), bandWords(a.Bands))
	if n := len(a.GoneOver); n > 0 {
		s += fmt.Sprintf(", %d of them gone over again since with a good tool", n)
	}
	s += "."
	if len(a.Joints) > 0 {
		switch w := a.Joints[0]; {
		case w.NoTorqueFound:
			s += fmt.Sprintf(" What %s got cannot be estimated: the tool gave no torque at all.", w.Joint)
		case w.OutsideProbability != nil:
			s += fmt.Sprintf(" The worst is %s: %s probability of a torque outside its window.", w.Joint, chance(*w.OutsideProbability))
		}
	}
	return s
}

func noGoodCaution(a *ImpactAnswer) string {
	if a.StartKnown {
		return ""
	}
	return "No calibration is on record that left the tool good: the time in question starts at its first use on record, and drift with use cannot be estimated."
}

func uncertaintyCaution(d toolDrift, a *ImpactAnswer) string {
	points := append(append(driftCurve(nil), d.found...), d.good...)
	single := slices.ContainsFunc(points, func(p driftPoint) bool { return p.readings == 1 && !p.noTorque })
	unstated := slices.ContainsFunc(points, func(p driftPoint) bool { return !p.stated && !p.noTorque })
	var parts []string
	if unstated {
		parts = append(parts, "Uncertainty is not stated at every test point: there the probabilities rest on the readings alone and are too near 0 or 1, and where nothing is known of the spread either there is none.")
		if a.Rule != metrology.SimpleAcceptance {
			parts = append(parts, fmt.Sprintf("A point without a stated uncertainty is judged by simple acceptance, not under %s.", a.Rule))
		}
	}
	if single {
		parts = append(parts, "A test point has a single reading: its spread is taken from the other points, or as nothing when none has more.")
	}
	return strings.Join(parts, " ")
}

func curedCaution(a *ImpactAnswer) string {
	n := int64(0)
	for _, j := range append(append([]JointImpact(nil), a.Joints...), a.GoneOver...) {
		if j.LockingCured {
			n++
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("Thread-locking compound has cured on %s in question: do not audit by turning. To tighten again means to break the bond, clean, and use new compound and hardware as its maker says.", quantity(n, "joint"))
}

// overTorqueCaution speaks where the tool gave more than it showed.
func overTorqueCaution(a *ImpactAnswer) string {
	if !slices.ContainsFunc(a.Points, func(p ImpactPoint) bool { return p.Failed && p.MeanPercent != nil && *p.MeanPercent < 0 }) {
		return ""
	}
	return "The tool gave more than it showed: a fastener that was overtightened is not put right by going over it again with a good tool, and may have yielded; replace it as the engineer says."
}

func unknownsCaution(a *ImpactAnswer) string {
	var parts []string
	n := 0
	for _, x := range a.Apart {
		if x.Reason == ApartNoTorque {
			n++
		}
	}
	if n > 0 {
		parts = append(parts, fmt.Sprintf("No torque is on record for %s tightened with the tool: such joints may lie in the torques in question.", quantity(int64(n), "joint")))
	}
	n = 0
	for _, j := range append(append([]JointImpact(nil), a.Joints...), a.GoneOver...) {
		if j.Window == nil {
			n++
		}
	}
	if n > 0 {
		parts = append(parts, fmt.Sprintf("No torque window is on record for %s in question: such joints come last in the list for that, not for being safe.", quantity(int64(n), "joint")))
	}
	return strings.Join(parts, " ")
}

func toolUnproven() string {
	for _, c := range metrology.Cautions() {
		if c.Topic == "tool-unproven" {
			return c.Text
		}
	}
	return ""
}
