package metrology

import (
	"fmt"
	"math"
)

// Edition is an edition of ISO 6789. The editions differ in the lowest test
// point and in what they ask of the measuring device.
type Edition string

// The editions whose rules are known here.
const (
	Edition2003 Edition = "2003"
	Edition2017 Edition = "2017"
)

// Shares of the maximum torque at which a tool is tested.
const (
	lowestShare = 0.20
	middleShare = 0.60
)

// UnknownEditionError reports an edition of ISO 6789 with no rules here.
type UnknownEditionError struct{ Edition Edition }

// Error names the editions that are known.
func (e *UnknownEditionError) Error() string {
	return fmt.Sprintf("no edition %q of ISO 6789; there are %s and %s", string(e.Edition), Edition2003, Edition2017)
}

// TestPoints are the torques (N·m, rising) at which a tool must be tested:
//
//   - 2003: 20, 60 and 100 % of the maximum, or the nearest mark below 20 %
//     when 20 % is not marked (seen);
//   - 2017: the lowest marked value of the range, 60 and 100 % (that a 10-100
//     tool once tested at 20 is now tested at 10 was seen). A tool without a
//     scale is tested from the lowest torque its maker declares (seen);
//   - a tool fixed at one torque only there, whichever the edition (from
//     memory).
//
// It fails with a *RangeError for an impossible range or, in 2017, when the
// lowest value of the range is unknown; and with an *UnknownEditionError.
func (c ToolClass) TestPoints(edition Edition, r TorqueRange) ([]float64, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	if edition != Edition2003 && edition != Edition2017 {
		return nil, &UnknownEditionError{Edition: edition}
	}
	if c.Adjustment == Fixed {
		return []float64{r.Maximum}, nil
	}
	lowest := r.Lowest
	if edition == Edition2003 {
		lowest = r.markAtOrBelow(lowestShare * r.Maximum)
	} else if lowest == 0 {
		return nil, &RangeError{Field: "lowest torque of the tool", Value: 0, Allowed: "the lowest marked or declared value, above 0 (N·m)"}
	}
	points := []float64{lowest}
	for _, p := range []float64{middleShare * r.Maximum, r.Maximum} {
		if p > points[len(points)-1]+r.slack() {
			points = append(points, p)
		}
	}
	return points, nil
}

// markAtOrBelow gives the mark at the torque or the nearest below it; the
// lowest mark when the torque lies under the scale; the torque itself when the
// graduation is unknown.
func (r TorqueRange) markAtOrBelow(newtonMetres float64) float64 {
	if newtonMetres < r.Lowest {
		return r.Lowest
	}
	if r.Graduation == 0 {
		return newtonMetres
	}
	// The small addend keeps a mark that floating point puts a hair too high.
	steps := math.Floor((newtonMetres-r.Lowest)/r.Graduation + 1e-9)
	return r.Lowest + steps*r.Graduation
}

// slack is how far a tested torque may lie from the test point it stands for:
// one graduation, or 1 % of the maximum when the graduation is unknown.
func (r TorqueRange) slack() float64 {
	if r.Graduation > 0 {
		return r.Graduation * (1 + 1e-9)
	}
	return 0.01 * r.Maximum * (1 + 1e-9)
}

// MissingTestPoints are the required torques with no tested torque within one
// graduation of them (1 % of the maximum when the graduation is unknown).
func (r TorqueRange) MissingTestPoints(required, tested []float64) []float64 {
	var missing []float64
	for _, want := range required {
		found := false
		for _, have := range tested {
			if math.Abs(have-want) <= r.slack() {
				found = true
				break
			}
		}
		if !found {
			missing = append(missing, want)
		}
	}
	return missing
}

// DeviceLimitPercent is the largest expanded uncertainty, in percent, that the
// measuring device may have for a tool with the given limit: 1 % in 2003
// (seen), a quarter of the tool's limit in 2017 (from memory). It fails with a
// *RangeError or an *UnknownEditionError.
func DeviceLimitPercent(edition Edition, toolLimitPercent float64) (float64, error) {
	if err := CheckPositive("permissible deviation", toolLimitPercent, "%"); err != nil {
		return 0, err
	}
	switch edition {
	case Edition2003:
		return 1, nil
	case Edition2017:
		return toolLimitPercent / 4, nil
	default:
		return 0, &UnknownEditionError{Edition: edition}
	}
}
