package analysis

import (
	"fmt"
	"math"

	"jointledger/internal/controlchart"
	"jointledger/internal/stats"
)

// trendRare is the mean number of failures in a row below which a chart of rates
// says little and the gaps between failures say more; common practice, no source.
const trendRare = 1

// trendLeastGaps is how many gaps a chart of gaps wants; common practice, no source.
const trendLeastGaps = 5

// trendMostGaps keeps a chart of gaps to what can be drawn.
const trendMostGaps = 100000

// measureDispersion sets Laney's σz and whether it is above 1 beyond chance. The
// mean moving range of k normal values estimates their standard deviation with
// relative variance 0.826/(k − 1) (J. D. Cryer, T. P. Ryan, "The estimation of sigma
// for an X chart: MR/d2 or S/c4?", J. Qual. Technol. 22 (1990) 187-192, from memory),
// and 1.645 standard deviations are passed by chance once in twenty times.
func (h *trendHistory) measureDispersion() error {
	h.sigmaZ = 1
	k := float64(len(h.rows))
	if k < 3 {
		return nil
	}
	draw := controlchart.LaneyP
	if h.options.PerExposure {
		draw = controlchart.LaneyU
	}
	c, err := draw(h.samples, controlchart.Options{})
	if err != nil {
		return err
	}
	h.sigmaZ = c.Dispersion
	h.overDispersed = h.sigmaZ > 1+1.645*math.Sqrt(0.826/(k-1))
	return nil
}

// pick chooses the chart.
func (h *trendHistory) pick() (ChartKind, string) {
	plain, laney, gaps := ChartP, ChartLaneyP, ChartG
	if h.options.PerExposure {
		plain, laney, gaps = ChartU, ChartLaneyU, ChartT
	}
	mean := h.failures / float64(len(h.rows))
	switch {
	case h.failures == 0:
		return plain, "Nothing failed, so there is nothing else to chart."
	case len(h.rows) == 1:
		return plain, "There is one row only."
	case h.options.Centre != nil && mean < trendRare:
		return plain, "A standard rate was given, which the charts of gaps do not take."
	case mean < trendRare && h.failures >= trendLeastGaps:
		return gaps, fmt.Sprintf("Failures are rare, %s in a row on average: the gaps between them say more than their rate in each row.", trendNumber(mean))
	case mean < trendRare:
		return plain, fmt.Sprintf("Failures are rare, but %s are too few to chart the gaps between them.", trendCounted(int64(h.failures), "failure"))
	case h.overDispersed:
		return laney, fmt.Sprintf("The rows vary %s times as much as chance alone would have them (Laney's σz), so the limits are widened.", trendNumber(h.sigmaZ))
	}
	return plain, "The rows have failures enough for their rates to be charted, and vary no more than chance would have them."
}

// chart draws the chart into the answer.
func (h *trendHistory) chart(a *TrendAnswer) error {
	if err := h.suits(a.Kind); err != nil {
		return err
	}
	if a.Kind == ChartG || a.Kind == ChartT {
		return h.chartGaps(a)
	}
	o := controlchart.Options{Centre: h.options.Centre}
	scale := 1000.0
	a.Unit = "failures per 1,000 attempts"
	if h.options.PerExposure {
		scale, a.Unit = 1, "events per "+h.options.ExposureUnit
	}
	var c controlchart.Chart
	var err error
	switch a.Kind {
	case ChartP:
		c, err = controlchart.P(h.samples, o)
	case ChartU:
		c, err = controlchart.U(h.samples, o)
	case ChartLaneyP:
		c, err = controlchart.LaneyP(h.samples, o)
	case ChartLaneyU:
		c, err = controlchart.LaneyU(h.samples, o)
	case ChartNP:
		scale, a.Unit = 1, "failures in a row of the history"
		c, err = controlchart.NP(h.samples, o)
	case ChartC:
		scale, a.Unit = 1, "events in a row of the history"
		if o.Centre != nil {
			inRow := *o.Centre * h.samples[0].Size
			o.Centre = &inRow
		}
		c, err = controlchart.C(h.samples, o)
	case ChartEWMA:
		c, err = h.ewma()
	default: // the others go on below
	}
	if err != nil {
		return err
	}
	a.Centre = scale * c.Centre
	if a.Kind == ChartLaneyP || a.Kind == ChartLaneyU {
		a.Dispersion = &c.Dispersion
	}
	h.place(a, c, scale)
	return nil
}

// place copies points and runs. A single row is its own centre and proves nothing.
func (h *trendHistory) place(a *TrendAnswer, c controlchart.Chart, scale float64) {
	for i, p := range c.Points {
		t := TrendPoint{Label: h.rows[i].Label, Value: scale * p.Value}
		if len(c.Points) > 1 || h.options.Centre != nil {
			t.Lower, t.Upper, t.Beyond = trendScaled(p.Lower, scale), trendScaled(p.Upper, scale), p.Beyond
		}
		a.Points = append(a.Points, t)
	}
	if a.Kind == ChartEWMA {
		return
	}
	for _, s := range c.RunSignals() {
		if s.Rule != controlchart.BeyondLimit {
			a.Runs = append(a.Runs, TrendRun{Rule: s.Rule.String(), Label: h.rows[s.Point].Label, Side: s.Side})
		}
	}
}

func trendScaled(limit *float64, scale float64) *float64 {
	if limit == nil {
		return nil
	}
	x := scale * *limit
	return &x
}

// suits refuses a chart that the rows are not made for.
func (h *trendHistory) suits(k ChartKind) error {
	refuse := func(requirement string) error {
		return &stats.ArgumentError{Argument: "chart", Value: ChartKinds.Name(k), Requirement: requirement}
	}
	switch k {
	case ChartP, ChartNP, ChartLaneyP, ChartG:
		if h.options.PerExposure {
			return refuse("must be c, u, laney-u, t or ewma where events are counted per exposure")
		}
	case ChartC, ChartU, ChartLaneyU, ChartT:
		if !h.options.PerExposure {
			return refuse("must be p, np, laney-p, g or ewma where failures are counted among attempts")
		}
	case ChartEWMA:
	default:
		return &stats.ArgumentError{Argument: "chart", Value: fmt.Sprint(uint8(k)), Requirement: "must be one of the known kinds"}
	}
	if k == ChartC {
		for _, s := range h.samples {
			if s.Size != h.samples[0].Size {
				return refuse("must be u where exposures differ")
			}
		}
	}
	if k != ChartG && k != ChartT {
		return nil
	}
	switch {
	case h.options.Centre != nil:
		return refuse("must not be g or t where a standard rate is given")
	case h.failures < 2:
		return refuse(fmt.Sprintf("must not be g or t with %s: two are the least that have a gap", trendCounted(int64(h.failures), "failure")))
	case h.failures > trendMostGaps:
		return refuse(fmt.Sprintf("must not be g or t with more than %d failures", trendMostGaps))
	}
	return nil
}

// ewma smooths the rates; each row's standard deviation follows from its size.
func (h *trendHistory) ewma() (controlchart.Chart, error) {
	centre, most := h.failures/h.size, 1.0
	if h.options.Centre != nil {
		centre = *h.options.Centre
	}
	variance := centre * (1 - centre)
	if h.options.PerExposure {
		variance, most = centre, math.Inf(1)
	}
	if !(centre >= 0 && centre <= most) || math.IsInf(centre, 1) {
		return controlchart.Chart{}, &stats.ArgumentError{Argument: "centre", Value: fmt.Sprint(centre), Requirement: "must be a finite number within the range of what is charted"}
	}
	spread := 1.0
	if h.overDispersed {
		spread = h.sigmaZ
	}
	var values, deviations []float64
	for _, s := range h.samples {
		values = append(values, float64(s.Count)/s.Size)
		deviations = append(deviations, spread*math.Sqrt(variance/s.Size))
	}
	return controlchart.EWMA(values, deviations, controlchart.EWMAOptions{Target: centre, Weight: h.options.Weight, Most: most})
}

// chartGaps charts what lies between the failures. Where in its row a failure came
// is not known: they are spread evenly over it. The gap before the first one counts,
// since chance has no memory; the one after the last is still open.
func (h *trendHistory) chartGaps(a *TrendAnswer) error {
	var labels []string
	var times []float64
	var counts []int64
	passed, last := 0.0, 0.0
	for _, r := range h.rows {
		size := h.options.size(r)
		for j := range r.Failures {
			at := passed + size*(float64(j)+0.5)/float64(r.Failures)
			if a.Kind == ChartG {
				at = passed + math.Ceil(at-passed)
				counts = append(counts, max(0, int64(at-last)-1))
			}
			times = append(times, at-last)
			labels = append(labels, r.Label)
			last = at
		}
		passed += size
	}
	h.open = passed - last
	var c controlchart.Chart
	var err error
	if a.Kind == ChartG {
		a.Unit = "attempts between two failures"
		c, err = controlchart.G(counts, controlchart.Options{})
	} else {
		a.Unit = trendUnits(2, h.options.ExposureUnit)[len("2 "):] + " between two events"
		c, _, err = controlchart.T(times, controlchart.Options{})
	}
	if err != nil {
		return err
	}
	a.Centre = c.Centre
	for i, p := range c.Points {
		a.Points = append(a.Points, TrendPoint{Label: labels[i], Value: p.Value, Lower: p.Lower, Upper: p.Upper, Beyond: p.Beyond})
	}
	return nil
}
