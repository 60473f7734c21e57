package metrology

import (
	"fmt"
	"math"
)

// TestPoint holds the readings taken at one target torque of a calibration, all
// in N·m.
type TestPoint struct {
	Target              float64   // Xa: set on, or indicated by, the tool
	References          []float64 // Xr: what the measuring device showed, in order
	ExpandedUncertainty float64   // U of the result at this point; 0 when not stated
	CoverageFactor      float64   // k of U; 0 is taken as 2
}

// Calibration is what a certificate says about one tool. As-found readings are
// those before, as-left those after any adjustment: the first judge the work
// done with the tool, the second release it.
type Calibration struct {
	Class                    ToolClass
	Range                    TorqueRange
	Edition                  Edition
	Rule                     DecisionRule
	DeviceUncertaintyPercent float64 // expanded, of the measuring device; 0 when not stated
	AsFound, AsLeft          []TestPoint
}

// Assessment is the verdict on a calibration, computed from its readings.
type Assessment struct {
	LimitPercent    float64 // maximum permissible relative deviation of this tool
	Rule            DecisionRule
	AsFound, AsLeft PhaseAssessment
	Device          DeviceAssessment
}

// PhaseAssessment is the verdict on the as-found or the as-left readings.
type PhaseAssessment struct {
	Taken             bool
	Outcome           Outcome // of the worst reading; Fail when none was taken
	Points            []PointAssessment
	MissingTestPoints []float64 // N·m: required by the edition, not tested
}

// Conforms tells whether every reading at every required test point passed
// outright and nothing the standard asks for is missing.
func (p PhaseAssessment) Conforms() bool {
	if !p.Taken || p.Outcome != Pass || len(p.MissingTestPoints) > 0 {
		return false
	}
	for _, point := range p.Points {
		if point.MissingReadings > 0 {
			return false
		}
	}
	return true
}

// Deficiencies lists, in plain words, what keeps a phase from conforming.
func (p PhaseAssessment) Deficiencies() []string {
	if !p.Taken {
		return []string{"no readings"}
	}
	var list []string
	for _, point := range p.Points {
		if point.Outcome != Pass {
			list = append(list, fmt.Sprintf("%s at %g N·m: worst deviation %+.2f %%", point.Outcome, point.Target, point.WorstPercent))
		}
		if point.MissingReadings > 0 {
			list = append(list, fmt.Sprintf("%d of %d readings missing at %g N·m", point.MissingReadings, point.MissingReadings+len(point.DeviationsPercent), point.Target))
		}
	}
	for _, m := range p.MissingTestPoints {
		list = append(list, fmt.Sprintf("no test point at %g N·m", m))
	}
	return list
}

// PointAssessment is the verdict on one test point. Deviations are percent of
// the reference; the mean deviation is the mean of the readings' deviations,
// which differs a little from the deviation of the mean reading.
type PointAssessment struct {
	Target                   float64 // N·m
	DeviationsPercent        []float64
	MeanPercent              float64
	StandardDeviationPercent float64 // of the deviations; 0 for a single reading
	WorstPercent             float64 // the deviation farthest from zero, with its sign
	UncertaintyPercent       float64 // expanded, k = 2; 0 when not stated
	MissingReadings          int     // short of the number the standard asks for
	Outcome                  Outcome // of the worst reading
}

// DeviceAssessment compares the measuring device with what the edition allows.
type DeviceAssessment struct {
	Stated             bool
	UncertaintyPercent float64
	AllowedPercent     float64
	Adequate           bool // false when not stated
}

// Assess judges each phase by its worst reading: every reading at every test
// point must pass, not their mean. It fails with a *RangeError for an impossible
// range or reading, or for a stated-uncertainty rule without an uncertainty;
// with an *UnknownEditionError; or with an *UnknownDecisionRuleError.
func (c Calibration) Assess() (Assessment, error) {
	limit, err := c.Class.LimitPercent(c.Range.Maximum)
	if err != nil {
		return Assessment{}, err
	}
	required, err := c.Class.TestPoints(c.Edition, c.Range)
	if err != nil {
		return Assessment{}, err
	}
	a := Assessment{LimitPercent: limit, Rule: c.Rule}
	if a.AsFound, err = c.assessPhase(c.AsFound, limit, required); err != nil {
		return Assessment{}, fmt.Errorf("as found: %w", err)
	}
	if a.AsLeft, err = c.assessPhase(c.AsLeft, limit, required); err != nil {
		return Assessment{}, fmt.Errorf("as left: %w", err)
	}
	a.Device, err = c.assessDevice(limit)
	return a, err
}

func (c Calibration) assessDevice(limit float64) (DeviceAssessment, error) {
	allowed, err := DeviceLimitPercent(c.Edition, limit)
	if err != nil {
		return DeviceAssessment{}, err
	}
	if err := CheckNotNegative("expanded uncertainty of the measuring device", c.DeviceUncertaintyPercent, "%"); err != nil {
		return DeviceAssessment{}, err
	}
	stated := c.DeviceUncertaintyPercent > 0
	return DeviceAssessment{
		Stated:             stated,
		UncertaintyPercent: c.DeviceUncertaintyPercent,
		AllowedPercent:     allowed,
		Adequate:           stated && c.DeviceUncertaintyPercent <= allowed*(1+1e-9),
	}, nil
}

func (c Calibration) assessPhase(points []TestPoint, limit float64, required []float64) (PhaseAssessment, error) {
	phase := PhaseAssessment{Outcome: Fail}
	if len(points) == 0 {
		return phase, nil
	}
	phase.Taken, phase.Outcome = true, Pass
	var tested []float64
	for _, p := range points {
		verdict, err := c.assessPoint(p, limit)
		if err != nil {
			return PhaseAssessment{}, err
		}
		phase.Points = append(phase.Points, verdict)
		phase.Outcome = max(phase.Outcome, verdict.Outcome)
		tested = append(tested, p.Target)
	}
	phase.MissingTestPoints = c.Range.MissingTestPoints(required, tested)
	return phase, nil
}

func (c Calibration) assessPoint(p TestPoint, limit float64) (PointAssessment, error) {
	if len(p.References) == 0 {
		return PointAssessment{}, &RangeError{Field: "number of readings", Value: 0, Allowed: "at least 1 at each test point"}
	}
	point := PointAssessment{Target: p.Target, MissingReadings: max(0, c.Class.Readings-len(p.References))}
	for _, reference := range p.References {
		a, err := Reading{Target: p.Target, Reference: reference}.DeviationPercent()
		if err != nil {
			return PointAssessment{}, err
		}
		point.DeviationsPercent = append(point.DeviationsPercent, a)
		if math.Abs(a) > math.Abs(point.WorstPercent) {
			point.WorstPercent = a
		}
	}
	point.MeanPercent, point.StandardDeviationPercent = meanAndDeviation(point.DeviationsPercent)

	var err error
	if point.UncertaintyPercent, err = p.uncertaintyPercent(); err != nil {
		return PointAssessment{}, err
	}
	result := Result{Deviation: point.WorstPercent, Limit: limit, ExpandedUncertainty: point.UncertaintyPercent}
	point.Outcome, err = result.Decide(c.Rule)
	return point, err
}

// uncertaintyPercent scales the stated uncertainty to k = 2 and to percent of
// the mean reference, the denominator of the deviation itself.
func (p TestPoint) uncertaintyPercent() (float64, error) {
	if err := CheckNotNegative("expanded uncertainty", p.ExpandedUncertainty, "N·m"); err != nil {
		return 0, err
	}
	if err := CheckNotNegative("coverage factor", p.CoverageFactor, ""); err != nil {
		return 0, err
	}
	k := p.CoverageFactor
	if k == 0 {
		k = coverage
	}
	mean, _ := meanAndDeviation(p.References)
	return p.ExpandedUncertainty * coverage / k / mean * 100, nil
}

// meanAndDeviation gives the mean and the sample standard deviation (n − 1; 0
// for a single value) of a non-empty list.
func meanAndDeviation(values []float64) (mean, deviation float64) {
	n := float64(len(values))
	for _, v := range values {
		mean += v / n
	}
	if len(values) < 2 {
		return mean, 0
	}
	sum := 0.0
	for _, v := range values {
		sum += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sum / (n - 1))
}
