package sealing

import (
	"fmt"
	"math"
	"strings"

	"jointledger/internal/metrology"
)

// Celsius is a temperature or a difference of temperatures in °C.
type Celsius float64

// Percent is a relative humidity over water, in percent.
type Percent float64

// Coefficients is a published set for the Magnus formula
// es = C·exp(A·T/(B+T)), the saturation vapour pressure over water.
type Coefficients struct {
	Name   string
	A      float64
	B      float64 // °C
	C      float64 // hPa
	Source metrology.Source
	Note   string
}

// Sonntag1990 is the set of the WMO's guide to instruments, No. 8.
func Sonntag1990() Coefficients {
	return Coefficients{
		Name: "sonntag-1990", A: 17.62, B: 243.12, C: 6.112,
		Source: metrology.Source{Title: "WMO-No. 8 after Sonntag 1990", Place: "as cited in code", Mark: metrology.Seen},
	}
}

// AlduchovEskridge1996 is the set of Alduchov and Eskridge.
func AlduchovEskridge1996() Coefficients {
	return Coefficients{
		Name: "alduchov-eskridge-1996", A: 17.625, B: 243.04, C: 6.1094,
		Source: metrology.Source{Title: "Alduchov & Eskridge", Edition: "1996", Mark: metrology.Seen},
		Note:   "C is from memory",
	}
}

// Bolton1980 is the set of Bolton.
func Bolton1980() Coefficients {
	return Coefficients{
		Name: "bolton-1980", A: 17.67, B: 243.5, C: 6.112,
		Source: metrology.Source{Title: "Bolton", Edition: "1980", Mark: metrology.Seen},
	}
}

// CoefficientSets returns the named sets, the default one first.
func CoefficientSets() []Coefficients {
	return []Coefficients{Sonntag1990(), AlduchovEskridge1996(), Bolton1980()}
}

// UnknownSetError reports a coefficient set that is not known by name.
type UnknownSetError struct {
	Name  string
	Known []string
}

// Error lists the sets there are.
func (e *UnknownSetError) Error() string {
	return fmt.Sprintf("no Magnus coefficient set %q; there are %s", e.Name, strings.Join(e.Known, ", "))
}

// SetNamed looks up a coefficient set. It fails with an *UnknownSetError.
func SetNamed(name string) (Coefficients, error) {
	var known []string
	for _, c := range CoefficientSets() {
		if c.Name == name {
			return c, nil
		}
		known = append(known, c.Name)
	}
	return Coefficients{}, &UnknownSetError{Name: name, Known: known}
}

// Temperatures for which the sets are meant: over water, WMO-No. 8 (from
// memory). Outside them, and long before the formula's pole at −B, a value is
// refused.
const (
	lowestTemperature  Celsius = -45
	highestTemperature Celsius = 60
)

func checkTemperature(field string, t Celsius) error {
	if t >= lowestTemperature && t <= highestTemperature {
		return nil
	}
	return &metrology.RangeError{
		Field: field, Value: float64(t),
		Allowed: fmt.Sprintf("%g to %g °C", float64(lowestTemperature), float64(highestTemperature)),
	}
}

// checkHumidity comes before every logarithm.
func checkHumidity(rh Percent) error {
	if rh > 0 && rh <= 100 {
		return nil
	}
	return &metrology.RangeError{Field: "relative humidity", Value: float64(rh), Allowed: "above 0 and up to 100 %"}
}

// exponent is A·T/(B+T).
func (c Coefficients) exponent(t Celsius) float64 { return c.A * float64(t) / (c.B + float64(t)) }

// VapourPressure is the saturation vapour pressure over water in hPa. It fails
// with a *metrology.RangeError for a temperature outside −45 to 60 °C.
func (c Coefficients) VapourPressure(t Celsius) (float64, error) {
	if err := checkTemperature("temperature", t); err != nil {
		return 0, err
	}
	return c.C * math.Exp(c.exponent(t)), nil
}

// DewPoint is the temperature at which air of the given temperature and
// relative humidity is saturated: with γ = ln(RH/100) + A·T/(B+T), it is
// B·γ/(A − γ). It fails with a *metrology.RangeError for a humidity of 0 or
// less or above 100 %, or a temperature outside −45 to 60 °C.
func (c Coefficients) DewPoint(air Celsius, rh Percent) (Celsius, error) {
	if err := checkTemperature("air temperature", air); err != nil {
		return 0, err
	}
	if err := checkHumidity(rh); err != nil {
		return 0, err
	}
	gamma := math.Log(float64(rh)/100) + c.exponent(air)
	return Celsius(c.B * gamma / (c.A - gamma)), nil
}

// Humidity is the relative humidity of air with the given temperature and dew
// point, the inverse of DewPoint. It fails with a *metrology.RangeError for a
// temperature outside −45 to 60 °C or a dew point above it.
func (c Coefficients) Humidity(air, dewPoint Celsius) (Percent, error) {
	if err := checkTemperature("air temperature", air); err != nil {
		return 0, err
	}
	if !(float64(dewPoint) > -c.B && dewPoint <= air) {
		return 0, &metrology.RangeError{
			Field: "dew point", Value: float64(dewPoint),
			Allowed: fmt.Sprintf("above %g and up to the air temperature (°C)", -c.B),
		}
	}
	return Percent(100 * math.Exp(c.exponent(dewPoint)-c.exponent(air))), nil
}
