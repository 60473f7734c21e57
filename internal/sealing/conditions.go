package sealing

import (
	"fmt"
	"sort"
)

// Conditions at a place: what was measured or is forecast.
type Conditions struct {
	Air      Celsius
	Surface  *Celsius // nil when not measured; the air temperature stands in
	Humidity Percent
}

// Obstacle names why sealing must wait.
type Obstacle string

// The obstacles.
const (
	SurfaceCold  Obstacle = "surface too cold"
	AirCold      Obstacle = "air too cold"
	NearDewPoint Obstacle = "surface too near the dew point"
	TooHot       Obstacle = "too hot"
	HumidityHigh Obstacle = "humidity too high"
	NoData       Obstacle = "no data"
)

// Reason is an obstacle with its figure against the limit, in °C (in percent
// for humidity; both 0 without data).
type Reason struct {
	Obstacle Obstacle
	Value    float64
	Limit    float64
}

// Shortfall is how far the value misses its limit, 0 or above.
func (r Reason) Shortfall() float64 {
	switch r.Obstacle {
	case TooHot, HumidityHigh:
		return r.Value - r.Limit
	default:
		return r.Limit - r.Value
	}
}

// String gives the reason as a clause of a sentence.
func (r Reason) String() string {
	unit, bound := "°C", "at least"
	switch r.Obstacle {
	case NoData:
		return string(r.Obstacle)
	case HumidityHigh:
		unit, bound = "%", "at most"
	case TooHot:
		bound = "at most"
	default: // the others go on below
	}
	return fmt.Sprintf("%s: %.1f %s, %s %.1f %s", r.Obstacle, r.Value, unit, bound, r.Limit, unit)
}

// Assessment is the verdict on conditions.
type Assessment struct {
	DewPoint       Celsius
	Surface        Celsius // measured, or the air temperature
	SurfaceAssumed bool    // the air temperature stood in for the surface
	Margin         Celsius // surface over dew point
	Reasons        []Reason
}

// Go tells whether nothing stands against sealing.
func (a Assessment) Go() bool { return len(a.Reasons) == 0 }

// SurfaceMargin is the margin of the surface over the dew point of the air. At
// night sheet steel is colder than the air, so a margin from the air
// temperature alone is too good. It fails with a *metrology.RangeError as
// DewPoint does.
func (c Coefficients) SurfaceMargin(conditions Conditions) (Celsius, error) {
	a, err := c.Assess(conditions, Limits{MinimumTemperature: lowestTemperature})
	return a.Margin, err
}

// Assess judges conditions by limits. The reasons are ordered by how far their
// value misses the limit, temperatures before humidity. It fails with a
// *metrology.RangeError for a humidity of 0 or less or above 100 %, or a
// temperature outside −45 to 60 °C.
func (c Coefficients) Assess(conditions Conditions, limits Limits) (Assessment, error) {
	dew, err := c.DewPoint(conditions.Air, conditions.Humidity)
	if err != nil {
		return Assessment{}, err
	}
	a := Assessment{DewPoint: dew, Surface: conditions.Air, SurfaceAssumed: conditions.Surface == nil}
	if conditions.Surface != nil {
		a.Surface = *conditions.Surface
		if err := checkTemperature("surface temperature", a.Surface); err != nil {
			return Assessment{}, err
		}
	}
	a.Margin = a.Surface - dew

	below := func(obstacle Obstacle, value, limit Celsius) {
		if value < limit-slack {
			a.Reasons = append(a.Reasons, Reason{Obstacle: obstacle, Value: float64(value), Limit: float64(limit)})
		}
	}
	if !a.SurfaceAssumed {
		below(SurfaceCold, a.Surface, limits.MinimumTemperature)
	}
	below(AirCold, conditions.Air, limits.MinimumTemperature)
	below(NearDewPoint, a.Margin, limits.MinimumDewMargin)
	if hottest := max(a.Surface, conditions.Air); limits.MaximumTemperature != 0 && hottest > limits.MaximumTemperature+slack {
		a.Reasons = append(a.Reasons, Reason{Obstacle: TooHot, Value: float64(hottest), Limit: float64(limits.MaximumTemperature)})
	}
	if limits.MaximumHumidity != 0 && conditions.Humidity > limits.MaximumHumidity {
		a.Reasons = append(a.Reasons, Reason{Obstacle: HumidityHigh, Value: float64(conditions.Humidity), Limit: float64(limits.MaximumHumidity)})
	}
	sortReasons(a.Reasons)
	return a, nil
}

// slack keeps a temperature on the limit, converted from °F or computed, from
// failing by a rounding error.
const slack Celsius = 1e-9

// sortReasons puts the largest miss first. Misses in °C compare with each other
// but not with one in percent, which goes last.
func sortReasons(reasons []Reason) {
	sort.SliceStable(reasons, func(i, j int) bool {
		if hi, hj := reasons[i].Obstacle == HumidityHigh, reasons[j].Obstacle == HumidityHigh; hi != hj {
			return hj
		}
		return reasons[i].Shortfall() > reasons[j].Shortfall()
	})
}
