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
