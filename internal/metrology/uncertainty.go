package metrology

import "math"

// UncertaintyBudget holds the components of the uncertainty of a torque tool at
// one target torque after ISO 6789-2:2017 (the names of the components were
// seen in its contents, the formulas are from memory). Spans are widths between
// extremes, taken as rectangular.
type UncertaintyBudget struct {
	TargetNewtonMetres    float64
	Resolution            float64 // N·m: the step of the scale or display
	Reproducibility       float64 // N·m: span between mounting and remounting
	OutputDrive           float64 // N·m: span over positions of the output drive
	DriveInterface        float64 // N·m: span over positions of the interface
	LoadingPoint          float64 // N·m: span over points of the hand force
	RepeatabilityPercent  float64 // %: standard deviation of the deviations
	DeviceExpandedPercent float64 // %: expanded uncertainty of the measuring device, k = 2
}

// CombinedUncertainty is the outcome of a budget, in percent of the target.
type CombinedUncertainty struct {
	StandardPercent float64 // w
	ExpandedPercent float64 // W = 2·w
}

// coverage is the coverage factor k of the expanded uncertainties.
const coverage = 2.0

// Combine takes the root of the sum of squares of the relative standard
// uncertainties. It fails with a *RangeError for a target not above zero or a
// negative component.
func (b UncertaintyBudget) Combine() (CombinedUncertainty, error) {
	if err := CheckPositive("target torque", b.TargetNewtonMetres, "N·m"); err != nil {
		return CombinedUncertainty{}, err
	}
	components := []struct {
		field string
		value float64
		unit  string
		scale float64 // from the component to a relative standard uncertainty, %
	}{
		{"resolution", b.Resolution, "N·m", rectangularScale(b.TargetNewtonMetres)},
		{"reproducibility", b.Reproducibility, "N·m", rectangularScale(b.TargetNewtonMetres)},
		{"output drive", b.OutputDrive, "N·m", rectangularScale(b.TargetNewtonMetres)},
		{"drive interface", b.DriveInterface, "N·m", rectangularScale(b.TargetNewtonMetres)},
		{"loading point", b.LoadingPoint, "N·m", rectangularScale(b.TargetNewtonMetres)},
		{"repeatability", b.RepeatabilityPercent, "%", 1},
		{"measuring device", b.DeviceExpandedPercent, "%", 1 / coverage},
	}
	sum := 0.0
	for _, c := range components {
		if err := CheckNotNegative(c.field, c.value, c.unit); err != nil {
			return CombinedUncertainty{}, err
		}
		w := c.value * c.scale
		sum += w * w
	}
	w := math.Sqrt(sum)
	return CombinedUncertainty{StandardPercent: w, ExpandedPercent: coverage * w}, nil
}

// rectangularScale turns the span of a rectangular distribution in N·m into a
// standard uncertainty in percent of the target.
func rectangularScale(target float64) float64 { return 100 / (2 * math.Sqrt(3) * target) }

// IntervalForUsePercent is W′ = |mean deviation| + |bias of the device| + W, in
// percent: how far off a torque may be when the tool is used without correcting
// for its mean deviation (ISO 6789-2:2017, from memory).
func (u CombinedUncertainty) IntervalForUsePercent(meanDeviationPercent, deviceBiasPercent float64) float64 {
	return math.Abs(meanDeviationPercent) + math.Abs(deviceBiasPercent) + u.ExpandedPercent
}
