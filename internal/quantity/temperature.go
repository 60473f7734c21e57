package quantity

import (
	"math/big"
	"sync"
)

// Temperature is a Celsius temperature in degrees Celsius (°C).
type Temperature float64

// TemperatureUnit is a unit that temperatures are typed and shown in. Its zero
// value is no unit.
type TemperatureUnit uint8

// The units of temperature.
const (
	DegreeCelsius    TemperatureUnit = iota + 1 // °C
	DegreeFahrenheit                            // °F
	Kelvin                                      // K
)

// Exact by definition (NIST SP 811 (2008) Appendix B.9 and section 4.2.1.1):
// t/°C = (t/°F − 32)/1.8 and t/°C = T/K − 273.15. Absolute zero, 0 K, is
// therefore −273.15 °C and −459.67 °F.
const (
	kelvinsPerKelvin = "1"
	celsiusOrigin    = "0"
	fahrenheitOrigin = "32"
	kelvinOrigin     = "273.15"
)

func kelvinsPerDegreeFahrenheit() *big.Rat { return big.NewRat(5, 9) }

var temperatures = sync.OnceValue(func() *scale {
	return &scale{
		kind: KindTemperature,
		units: []unit{
			DegreeCelsius - 1: {
				name: "C", symbol: "°C", origin: exact(celsiusOrigin), factor: exact(kelvinsPerKelvin), lowest: exact("-273.15"),
				spellings: []string{"c", "°c", "°.c", "degc", "deg.c", "celsius"},
			},
			DegreeFahrenheit - 1: {
				name: "F", symbol: "°F", origin: exact(fahrenheitOrigin), factor: kelvinsPerDegreeFahrenheit(), lowest: exact("-459.67"),
				spellings: []string{"f", "°f", "°.f", "degf", "deg.f", "fahrenheit"},
			},
			Kelvin - 1: {
				name: "K", symbol: "K", origin: exact(kelvinOrigin), factor: exact(kelvinsPerKelvin), lowest: exact("0"),
				spellings: []string{"k", "kelvin"},
			},
		},
		below: "below absolute zero",
		floor: "temperature is at least -273.15 C, -459.67 F or 0 K",
	}
})

// ParseTemperature reads a temperature with its unit, such as "38 F", "3.3 °C"
// or "276 K". A number without a unit, a temperature below absolute zero and
// anything else are refused with a [*ParseError].
func ParseTemperature(text string) (Temperature, error) { return ParseTemperatureIn(text, 0) }

// ParseTemperatureIn reads a temperature as [ParseTemperature] does, and takes
// a number without a unit to be in the fallback unit; zero stands for none. It
// panics if the fallback is neither zero nor one of the units.
func ParseTemperatureIn(text string, fallback TemperatureUnit) (Temperature, error) {
	entry, err := ReadTemperature(text, fallback)
	return entry.Quantity, err
}

// ReadTemperature reads a temperature as [ParseTemperatureIn] does, and keeps
// what was typed.
func ReadTemperature(text string, fallback TemperatureUnit) (Entry[Temperature, TemperatureUnit], error) {
	return read[Temperature](temperatures(), text, fallback)
}

// ParseTemperatureUnit reads a unit of temperature alone, in any spelling that
// [ParseTemperature] takes. Anything else is refused with a [*ParseError].
func ParseTemperatureUnit(text string) (TemperatureUnit, error) {
	ordinal, err := temperatures().parseUnit(text)
	return TemperatureUnit(ordinal), err
}

// String gives the unit as it is typed, such as "F".
func (u TemperatureUnit) String() string { return temperatures().name(int(u)) }

// In gives the temperature as a number of the unit. It panics if there is no
// such unit.
func (t Temperature) In(u TemperatureUnit) float64 {
	return temperatures().unit(int(u)).fromSI(float64(t))
}

// Format gives the temperature in the unit to one decimal, such as "3.3 °C". It
// panics if there is no such unit.
func (t Temperature) Format(u TemperatureUnit) string {
	return temperatures().format(float64(t), int(u), oneDecimal)
}
