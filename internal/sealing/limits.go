package sealing

import (
	"time"

	"jointledger/internal/metrology"
)

// Limits of sealing by custom of the trade. The sealant maker's data sheet and
// the specification of the joint override each of them.
const (
	// MinimumTemperature is the lowest temperature of air and surface, 40 °F
	// (common practice, no source).
	MinimumTemperature Celsius = 4.4
	// MinimumDewMargin is how far the surface must be above the dew point (ISO
	// 8502-4 guidance and common specifications, from memory).
	MinimumDewMargin Celsius = 3
	// CustomaryMaximumHumidity is a humidity above which some specifications
	// forbid sealing (common practice, no source); not applied by default.
	CustomaryMaximumHumidity Percent = 85
	// CleanToSeal is how long after cleaning a dusty or wet place may be sealed;
	// after it, wipe again, and never later than the same day (common practice,
	// no source).
	CleanToSeal = time.Hour
	// TapeOverlapMillimetres is the least overlap of sealant tape at a splice
	// (common practice, no source).
	TapeOverlapMillimetres = 25
)

// NamedLimit is one of the limits above with its source, for findings and
// tables that show where a limit comes from.
type NamedLimit struct {
	Key   string
	Limit metrology.Limit
}

// LimitTable returns the limits with their sources.
func LimitTable() []NamedLimit {
	practice := metrology.Source{Mark: metrology.Practice}
	return []NamedLimit{
		{"minimum-temperature", metrology.Limit{Value: float64(MinimumTemperature), Unit: "°C", Source: practice}},
		{"minimum-dew-margin", metrology.Limit{Value: float64(MinimumDewMargin), Unit: "°C", Source: metrology.Source{Title: "ISO 8502-4", Place: "guidance", Mark: metrology.Memory}}},
		{"maximum-humidity", metrology.Limit{Value: float64(CustomaryMaximumHumidity), Unit: "%", Source: practice}},
		{"clean-to-seal", metrology.Limit{Value: CleanToSeal.Hours(), Unit: "h", Source: practice}},
		{"tape-overlap", metrology.Limit{Value: TapeOverlapMillimetres, Unit: "mm", Source: practice}},
	}
}

// Limits is what the conditions of a sealing are judged by.
type Limits struct {
	MinimumTemperature Celsius // of air and surface
	MinimumDewMargin   Celsius // surface over dew point
	MaximumTemperature Celsius // of air and surface; 0: not judged
	MaximumHumidity    Percent // 0: not judged
}

// DefaultLimits are the minimum temperature and the margin over the dew point;
// nothing else is judged.
func DefaultLimits() Limits {
	return Limits{MinimumTemperature: MinimumTemperature, MinimumDewMargin: MinimumDewMargin}
}
