// Package column holds the shapes of the columns that are kept as JSON.
package column

// Qualification is one qualification of a person.
type Qualification struct {
	Task       string `json:"task"`
	ExpireDate string `json:"expire_date,omitempty"`
}

// Point is the readings at one test point of a calibration, newton metres.
type Point struct {
	Phase               uint8     `json:"phase"`
	Target              float64   `json:"target"`
	Readings            []float64 `json:"readings"`
	ExpandedUncertainty float64   `json:"expanded_uncertainty,omitempty"`
	CoverageFactor      float64   `json:"coverage_factor,omitempty"`
}

// Policy is a due policy of a tool for another action than a calibration.
type Policy struct {
	Action     uint8 `json:"action"`
	Months     int   `json:"months,omitempty"`
	Days       int   `json:"days,omitempty"`
	Cycles     int   `json:"cycles,omitempty"`
	AfterEvent bool  `json:"after_event,omitempty"`
	EachShift  bool  `json:"each_shift,omitempty"`
}

// Verdict is what was computed from a calibration's readings. Deviations are
// percent of the reference.
type Verdict struct {
	Rule                  uint8    `json:"rule"`
	Edition               string   `json:"edition"`
	LimitPercent          float64  `json:"limit_percent"`
	AsFound               uint8    `json:"as_found,omitempty"`
	AsLeft                uint8    `json:"as_left,omitempty"`
	WorstAsFoundPercent   *float64 `json:"worst_as_found_percent,omitempty"`
	WorstAsLeftPercent    *float64 `json:"worst_as_left_percent,omitempty"`
	ConformityProbability *float64 `json:"conformity_probability,omitempty"`
	TestUncertaintyRatio  *float64 `json:"test_uncertainty_ratio,omitempty"`
	Deficiencies          []string `json:"deficiencies,omitempty"`
}

// AlarmPlan is what an alarm rule's test goes by, and what it buys: whole points
// of a CUSUM, or the lines of a sequential probability ratio test.
type AlarmPlan struct {
	Gain               int64   `json:"gain,omitempty"`
	Drift              int64   `json:"drift,omitempty"`
	Threshold          int64   `json:"threshold,omitempty"`
	Start              int64   `json:"start,omitempty"`
	AcceptIntercept    float64 `json:"accept_intercept,omitempty"`
	RejectIntercept    float64 `json:"reject_intercept,omitempty"`
	Slope              float64 `json:"slope,omitempty"`
	FalseAlarmAttempts float64 `json:"false_alarm_attempts"`
	FoundAttempts      float64 `json:"found_attempts"`
	Summary            string  `json:"summary"`
}
