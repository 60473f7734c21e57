package metrology

import "math"

// CustomaryTUR is the test uncertainty ratio that is asked for where the
// probability of false acceptance cannot be worked out.
var CustomaryTUR = Limit{Value: 4, Unit: "ratio", Source: Source{
	Title: "ANSI/NCSL Z540.3", Edition: "2006", Place: "5.3b, fallback", Mark: Memory,
}}

// FalseAcceptanceCeiling is the largest probability of false acceptance over
// the population of tools.
var FalseAcceptanceCeiling = Limit{Value: 0.02, Unit: "probability", Source: Source{
	Title: "ANSI/NCSL Z540.3", Edition: "2006", Place: "5.3b", Mark: Seen,
}}

// TestUncertaintyRatio is the span of the tolerance over the span of the 95 %
// expanded uncertainty, (TU − TL)/(2·U), for a two-sided tolerance. It fails
// with a *RangeError for an empty or one-sided tolerance or an uncertainty not
// above zero.
func (t Tolerance) TestUncertaintyRatio(expandedUncertainty float64) (float64, error) {
	if err := CheckPositive("expanded uncertainty", expandedUncertainty, ""); err != nil {
		return 0, err
	}
	return t.overSpan(2 * expandedUncertainty)
}

// CapabilityIndex is the measurement capability index Cm = (TU − TL)/(4·u) of
// JCGM 106:2012, 7.6.3, u the standard uncertainty. It is the test uncertainty
// ratio when U = 2u. Errors as in TestUncertaintyRatio.
func (t Tolerance) CapabilityIndex(standardUncertainty float64) (float64, error) {
	if err := CheckPositive("standard uncertainty", standardUncertainty, ""); err != nil {
		return 0, err
	}
	return t.overSpan(4 * standardUncertainty)
}

func (t Tolerance) overSpan(span float64) (float64, error) {
	if err := t.check("tolerance"); err != nil {
		return 0, err
	}
	width := t.Upper - t.Lower
	if math.IsInf(width, 0) {
		return 0, &RangeError{Field: "tolerance", Value: width, Allowed: "limits on both sides"}
	}
	return width / span, nil
}
