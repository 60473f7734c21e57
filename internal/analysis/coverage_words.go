package analysis

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"jointledger/internal/metrology"
)

// String gives the band as it is said, "25 to 40 N.m".
func (b TorqueBand) String() string {
	if b.UpperNewtonMetres == 0 {
		return fmt.Sprintf("%g N.m and above", b.LowerNewtonMetres)
	}
	return fmt.Sprintf("%g to %g N.m", b.LowerNewtonMetres, b.UpperNewtonMetres)
}

// sentence says in plain words where and when tools are missing, why, and what
// closes it.
func (g *openGap) sentence() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s: no usable tool from %s through %s for %s", g.Site, g.Band, g.From, g.Through, workWords(g.Joints, g.Fasteners))
	fmt.Fprintf(&b, " at %s", torqueWords(g.OpenNewtonMetres))
	b.WriteString(".")
	var why []string
	for _, r := range g.Out {
		why = append(why, r.Serial+", "+r.Detail)
	}
	if len(why) > 0 {
		fmt.Fprintf(&b, " Out: %s.", joinMost(why))
	}
	b.WriteString(g.closing())
	return b.String()
}

// closing says what to do: a way that closes the gap alone is one of several, and
// ways that close parts of it go together.
func (g *openGap) closing() string {
	var full, part []string
	for _, way := range []struct {
		remedies []GapRemedy
		closes   bool
	}{{g.Transfers, g.sentClose}, {g.Calibrations, g.provedClose}} {
		var phrases []string
		for _, r := range way.remedies {
			phrases = append(phrases, r.phrase(g.OpenNewtonMetres))
		}
		switch {
		case len(phrases) == 0:
		case way.closes:
			full = append(full, strings.Join(phrases, " and "))
		default:
			part = append(part, strings.Join(phrases, " and "))
		}
	}
	switch {
	case len(full) > 0:
		return " To close it, " + strings.Join(full, ", or ") + "."
	case len(part) == 0:
		return " Nothing on record closes it: hire or buy a tool, or move the work."
	case len(g.Unclosed) > 0:
		return fmt.Sprintf(" To close part of it, %s; nothing on record closes %s.", strings.Join(part, ", and "), torqueWords(g.Unclosed))
	}
	return " To close it, " + strings.Join(part, ", and ") + "."
}

// workWords counts joints, or the fasteners of joints that are finished later.
func workWords(joints, fasteners int64) string {
	if joints == 0 {
		return quantity(fasteners, "fastener") + " of joints finished later"
	}
	return fmt.Sprintf("%s (%s)", quantity(joints, "joint"), quantity(fasteners, "fastener"))
}

func torqueWords(newtonMetres []float64) string {
	parts := make([]string, len(newtonMetres))
	for i, t := range newtonMetres {
		parts[i] = strconv.FormatFloat(t, 'g', -1, 64)
	}
	return list(parts) + " N.m"
}

// phrase says what to do; which torques, only when it is not all that are open.
func (r GapRemedy) phrase(open []float64) string {
	text := fmt.Sprintf("calibrate %s by %s", r.Serial, r.By)
	if r.FromSite != "" {
		text = fmt.Sprintf("send %s from %s by %s (%s stays there)", r.Serial, r.FromSite, r.By, r.Reserve[0])
	}
	if len(r.NewtonMetres) < len(open) {
		text += " for " + torqueWords(r.NewtonMetres)
	}
	return text
}

func (a *CoverageAnswer) describe(o CoverageOptions) {
	a.Method = fmt.Sprintf("Work left is spread evenly over the working days (%s) from the later of now and the planned start through the planned finish; "+
		"where that has passed or is missing, over the first %s. A day's fasteners are shared evenly among the tools that can serve them, and count as cycles. "+
		"A tool serves a day when its due date by months, cycles (recent use going on, or the plan's, whichever is earlier) and events is not before the end of it, it is at the site, has no hold, "+
		"has the torque within 20 to 100 %% of its maximum and not below its lowest mark (%s), and its class allows no more than %g of the joint's tolerance.",
		dayNames(o.WorkingDays), quantity(int64(o.OverdueWeeks), "week"), metrology.UsableRangeSource, o.LimitShare)
	a.Assumption = "The plan's dates hold, joints are finished evenly, one fastener is one cycle, no tool is calibrated, sent or taken out of use before then, and custody, holds and calibrations are all on record."
	a.Cautions = []string{
		"A covered week says that there is at least one tool for every planned torque, not that there are enough of them for the crew.",
		"A joint that is gone over again, a second pass and an audit use cycles that the plan does not count.",
	}
	if len(a.Gaps) > 0 {
		a.Cautions = append(a.Cautions, "The time at the laboratory and on the way is not counted: act that much earlier than the day given.")
	}
	if slices.ContainsFunc(a.Gaps, func(g CoverageGap) bool { return len(g.Transfers) > 0 }) {
		a.Cautions = append(a.Cautions, "A tool that is sent is promised to one site only, and its own site keeps one that suits; the cycles that the ones kept take over are not reckoned anew.")
	}
	if len(a.Notes) > 0 {
		a.Cautions = append(a.Cautions, "Some towers have no dates that place their work; it is put into the first weeks, as the notes say.")
	}
	for _, c := range metrology.Cautions() {
		if c.Topic == "tool-status" {
			a.Cautions = append(a.Cautions, c.Text)
		}
	}
}

func dayNames(days []time.Weekday) string {
	names := make([]string, len(days))
	for i, d := range days {
		names[i] = d.String()
	}
	return strings.Join(names, ", ")
}
