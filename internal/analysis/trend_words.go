package analysis

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"jointledger/internal/stats"
)

// trendEnoughRows is how many rows make limits that can be relied on: 20 to 25
// subgroups are what textbooks ask for (D. C. Montgomery, Introduction to
// Statistical Quality Control).
const trendEnoughRows = 20

var trendMethods = map[ChartKind]string{
	ChartP:      "p chart",
	ChartNP:     "np chart",
	ChartC:      "c chart",
	ChartU:      "u chart",
	ChartLaneyP: "p′ chart (Laney 2002)",
	ChartLaneyU: "u′ chart (Laney 2002)",
	ChartG:      "g chart of the attempts between failures (Benneyan 2001)",
	ChartT:      "t chart of the exposure between events, raised to the power 0.2777 (Nelson 1994)",
	ChartEWMA:   "exponentially weighted moving average (Roberts 1959) with exact limits",
}

// describe adds headline, method, assumption and cautions.
func (h *trendHistory) describe(a *TrendAnswer) {
	a.Headline = h.headline(a)
	a.Method = trendMethods[a.Kind] + ", limits at three standard deviations for each row's own size; a point on a limit is not beyond it"
	switch a.Kind {
	case ChartG, ChartT:
		a.Method = trendMethods[a.Kind] + ", limits at three standard deviations; a point on a limit is not beyond it"
	case ChartEWMA:
	default:
		a.Method += "; runs after Nelson (1984), his tests 2 and 5"
	}
	if a.Change != nil {
		a.Method += "; the time of a change by the largest cumulative sum, its p-value after Kolmogorov (Pettitt 1980)"
	}
	a.Assumption = "While nothing changes, every attempt fails with the same probability, independently of the others, and every failure and every fastener that went well is on record."
	if h.options.PerExposure {
		a.Assumption = "While nothing changes, events come independently of each other at one rate per " + h.options.ExposureUnit + ", and every one is on record."
	}
	for _, c := range []string{
		h.leftOutCaution(),
		h.nothingCaution(),
		h.fewRowsCaution(a),
		h.dispersionCaution(a),
		h.skewCaution(a),
		h.gapsCaution(a),
		h.changeCaution(a),
		h.dependenceCaution(a),
	} {
		if c != "" {
			a.Cautions = append(a.Cautions, c)
		}
	}
}

// trendLeastRows is the number of rows below which nothing beyond chance does not mean
// that the rate is steady. Ours, no source.
const trendLeastRows = 4

func (h *trendHistory) headline(a *TrendAnswer) string {
	what, unit := "failure", trendCounted(a.Attempts, "attempt")
	if h.options.PerExposure {
		what, unit = "event", trendUnits(a.Exposure, h.options.ExposureUnit)
	}
	overall := fmt.Sprintf("%s in %s over %s", trendCounted(a.Failures, what), unit, trendCounted(int64(len(h.rows)), "row"))
	if h.failures == 0 {
		return "Nothing failed: " + overall + "."
	}
	rate := h.failures / h.size
	if !h.options.PerExposure {
		rate *= 1000
	}
	overall += ", " + h.options.rate(trendNumber(rate))
	if len(h.rows) == 1 {
		return "A single row shows no trend: " + overall + "."
	}
	beyond := h.beyond(a)
	changed := a.Change != nil && a.Change.BeyondChance
	switch {
	case beyond == "" && !changed && len(a.Runs) == 0 && len(h.rows) < trendLeastRows:
		return fmt.Sprintf("No change can be shown: %s; so few rows would hide all but the greatest.", overall)
	case beyond == "" && !changed && len(a.Runs) == 0:
		return "No change is shown: " + overall + "; no point lies beyond its limits, and no run or shift is more than chance."
	case beyond == "" && !changed:
		return "No point lies beyond its limits, but a run stands out: " + trendRunWords(a.Runs[0]) + ". " + trendCapital(overall) + "."
	}
	var parts []string
	if changed {
		parts = append(parts, a.Change.Sentence)
	}
	if beyond != "" {
		parts = append(parts, beyond)
	}
	return strings.Join(append(parts, trendCapital(overall)+"."), " ")
}

// beyond names the points beyond their limits and which side it is; a long gap is
// good news, a high rate is not.
func (h *trendHistory) beyond(a *TrendAnswer) string {
	var high, low []string
	for _, p := range a.Points {
		switch p.Beyond {
		case 1:
			high = append(high, p.Label)
		case -1:
			low = append(low, p.Label)
		}
	}
	above, below := "above the upper limit", "below the lower limit"
	if a.Kind == ChartG || a.Kind == ChartT {
		above, below = "after a longer gap without failure than the upper limit", "after a shorter gap without failure than the lower limit"
	}
	var parts []string
	if len(high) > 0 {
		parts = append(parts, above+": "+list(high))
	}
	if len(low) > 0 {
		parts = append(parts, below+": "+list(low))
	}
	if len(parts) == 0 {
		return ""
	}
	return trendCapital(strings.Join(parts, "; ")) + "."
}

func trendRunWords(r TrendRun) string {
	side := "high"
	if r.Side < 0 {
		side = "low"
	}
	return fmt.Sprintf("%s, on the %s side, complete at %s", r.Rule, side, r.Label)
}

func (h *trendHistory) leftOutCaution() string {
	if len(h.empty) == 0 {
		return ""
	}
	return fmt.Sprintf("No %s on record for %s: left out.", h.options.sizeName(), list(h.empty))
}

// nothingCaution says what no failure proves, and what nothing but failures may come
// from.
func (h *trendHistory) nothingCaution() string {
	if !h.options.PerExposure && h.failures == h.size {
		return "Nothing but failures is on record: if fasteners that went well were not recorded, the rates are too high."
	}
	if h.failures > 0 {
		return ""
	}
	if h.options.PerExposure {
		i, err := stats.PoissonRateBound(0, h.size, stats.Garwood, stats.UpperSide, 0.95)
		if err != nil {
			return ""
		}
		return fmt.Sprintf("No events are on record, so there is no spread to set limits by. The rate is below %s with confidence 0.95 (Garwood, one-sided).", h.options.rate(trendNumber(i.Upper)))
	}
	i, err := stats.ProportionBound(0, int64(h.size), stats.ClopperPearson, stats.UpperSide, 0.95)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("No failures are on record, so there is no spread to set limits by. The rate is below %s with confidence 0.95 (Clopper and Pearson, one-sided).", h.options.rate(trendNumber(1000*i.Upper)))
}

func (h *trendHistory) fewRowsCaution(a *TrendAnswer) string {
	points := len(a.Points)
	switch {
	case len(h.rows) == 1 && h.options.Centre == nil:
		return "One row is its own centre: there are no limits to judge it by."
	case points >= trendEnoughRows || h.options.Centre != nil:
		return ""
	}
	return fmt.Sprintf("The limits rest on %s; from fewer than %d they are provisional, and a change among them widens them and moves the centre.", trendCounted(int64(points), "point"), trendEnoughRows)
}

func (h *trendHistory) dispersionCaution(a *TrendAnswer) string {
	if (a.Kind == ChartLaneyP || a.Kind == ChartLaneyU) && a.Dispersion != nil && *a.Dispersion < 1 && h.failures > 0 {
		plain := "p"
		if a.Kind == ChartLaneyU {
			plain = "u"
		}
		return fmt.Sprintf("The rows vary only %s times as much as chance alone would have them (Laney's σz, below 1): these limits are narrower than those of chance and give false alarms. So even rows are mostly chance when they are few; where they are many, ask whether counts were evened out or mixed before they were written down. A %s chart keeps the limits of chance.", trendNumber(*a.Dispersion), plain)
	}
	if !h.overDispersed || a.Kind == ChartLaneyP || a.Kind == ChartLaneyU || a.Kind == ChartG || a.Kind == ChartT || a.Kind == ChartEWMA {
		return ""
	}
	return fmt.Sprintf("The rows vary %s times as much as chance alone would have them (Laney's σz): these limits are too narrow and give false alarms; a Laney chart allows for it.", trendNumber(h.sigmaZ))
}

// skewCaution warns where counts are so small that three standard deviations are
// not what they are for normal values.
func (h *trendHistory) skewCaution(a *TrendAnswer) string {
	switch a.Kind {
	case ChartG, ChartT, ChartEWMA:
		return ""
	default: // the others go on below
	}
	mean := h.failures / float64(len(h.rows))
	if mean >= leastExpected || h.failures == 0 {
		return ""
	}
	return fmt.Sprintf("A row has %s on average: with fewer than %d the counts are skewed, upper limits are passed by chance more often than the 1 to 2 times in a thousand they are meant for, and there is seldom a lower limit.", trendUnits(mean, "failure"), leastExpected)
}

func (h *trendHistory) gapsCaution(a *TrendAnswer) string {
	if a.Kind != ChartG && a.Kind != ChartT {
		return ""
	}
	text := "Where in its row a failure came is not known: failures are spread evenly over it, so gaps are good to about a row. A single gap is hardly ever too short to be chance, so look to the cumulative sum, not to these limits, for a rate that has risen."
	if a.Kind == ChartG {
		// P(X > μ + 3σ) of a geometric count is near e⁻⁴, since σ is near μ.
		text += fmt.Sprintf(" The limit of a g chart is one that about 1 gap in 55 passes by chance alone: of %s about %s.", trendCounted(int64(len(a.Points)), "gap"), trendNumber(float64(len(a.Points))*math.Exp(-4)))
	}
	if h.open > 0 {
		unit := "attempt"
		if a.Kind == ChartT {
			unit = h.options.ExposureUnit
		}
		text += fmt.Sprintf(" The gap since the last failure, %s so far, is still open and not charted.", trendUnits(h.open, unit))
	}
	return text
}

func (h *trendHistory) changeCaution(a *TrendAnswer) string {
	if a.Change == nil || !a.Change.BeyondChance {
		return ""
	}
	text := "The time of the change is an estimate: the rows beside it are nearly as likely, and a drift looks like a step."
	if h.failures < leastExpected {
		text += fmt.Sprintf(" With %s it is a rough one.", trendCounted(int64(h.failures), "failure"))
	}
	return text
}

func (h *trendHistory) dependenceCaution(a *TrendAnswer) string {
	if h.options.PerExposure || a.Kind == ChartLaneyP || h.failures == 0 {
		return ""
	}
	return "Fasteners of one joint are not independent of each other: they share lot, tool, hands and weather. Where failures come in clusters, limits are too narrow and p-values too small."
}

// trendNumber writes a figure for a sentence: three significant digits, whole
// numbers from 100 on with their thousands parted.
func trendNumber(x float64) string {
	if a := math.Abs(x); a >= 100 && a < 1e15 {
		return trendThousands(int64(math.Round(x)))
	}
	return strconv.FormatFloat(x, 'g', 3, 64)
}

func trendThousands(n int64) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// trendCounted puts a number before its noun.
func trendCounted(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return trendThousands(n) + " " + noun + "s"
}

// trendUnits puts a figure before its unit: "3.5 days", "1 unit of exposure".
func trendUnits(x float64, unit string) string {
	number := trendNumber(x)
	if number == "1" {
		return "1 " + unit
	}
	if head, tail, ok := strings.Cut(unit, " of "); ok {
		return number + " " + head + "s of " + tail
	}
	return number + " " + unit + "s"
}

func trendCapital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
