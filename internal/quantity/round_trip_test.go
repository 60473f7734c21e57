package quantity

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// typed draws a number as a person might type it: up to nine digits, up to
// four of them decimals.
func typed(t *rapid.T, negative bool) string {
	text := strconv.Itoa(rapid.IntRange(0, 99999).Draw(t, "whole"))
	if places := rapid.IntRange(0, 4).Draw(t, "places"); places > 0 {
		text += "." + rapid.StringMatching(`[0-9]{`+strconv.Itoa(places)+`}`).Draw(t, "decimals")
	}
	if negative && rapid.Bool().Draw(t, "negative") {
		text = "-" + text
	}
	return text
}

// What is typed in any unit and any spelling comes back as the same number in
// that unit: to the last place but one for a multiple of the SI unit, to the
// rounding of the origin for a temperature.
func TestRoundTripTyped(t *testing.T) {
	for _, s := range scales {
		for i, u := range s.units {
			t.Run(s.kind.String()+" "+u.name, func(t *testing.T) {
				rapid.Check(t, func(t *rapid.T) {
					text := typed(t, s.kind == KindTemperature) + rapid.SampledFrom([]string{"", " "}).Draw(t, "gap") +
						rapid.SampledFrom(u.spellings).Draw(t, "spelling")
					r, err := s.read(text, 0)
					if s.kind == KindTemperature && err != nil {
						return // below absolute zero; FuzzParseTemperature holds that
					}
					if err != nil || r.unit != i+1 {
						t.Fatalf("%q: %+v, %v", text, r, err)
					}
					back := u.fromSI(r.si)
					if math.Abs(back-r.number) > 5e-16*math.Max(math.Abs(r.number), originSize(u)) {
						t.Fatalf("%q came back as %.17g", text, back)
					}
				})
			})
		}
	}
}

func originSize(u unit) float64 {
	origin, _ := u.origin.Float64()
	return 2 * origin
}

// What is printed can be typed, in whatever unit, and is then the same to the
// digits printed.
func TestRoundTripPrinted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		torque := Torque(rapid.Float64Range(0, 1e9).Draw(t, "torque"))
		torqueUnit := TorqueUnit(rapid.IntRange(1, len(torques().units)).Draw(t, "torque unit"))
		again, err := ParseTorque(torque.Format(torqueUnit))
		same(t, torque.Format(torqueUnit), err, float64(again), float64(torque), 5.01e-4*float64(torque))

		length := Length(rapid.Float64Range(0, 1e9).Draw(t, "length"))
		lengthUnit := LengthUnit(rapid.IntRange(1, len(lengths().units)).Draw(t, "length unit"))
		againLength, err := ParseLength(length.Format(lengthUnit))
		same(t, length.Format(lengthUnit), err, float64(againLength), float64(length), 5.01e-4*float64(length))

		force := Force(rapid.Float64Range(0, 1e9).Draw(t, "force"))
		forceUnit := ForceUnit(rapid.IntRange(1, len(forces().units)).Draw(t, "force unit"))
		againForce, err := ParseForce(force.Format(forceUnit))
		same(t, force.Format(forceUnit), err, float64(againForce), float64(force), 5.01e-4*float64(force))

		temperature := Temperature(rapid.Float64Range(-273, 3000).Draw(t, "temperature"))
		temperatureUnit := TemperatureUnit(rapid.IntRange(1, len(temperatures().units)).Draw(t, "temperature unit"))
		againTemperature, err := ParseTemperature(temperature.Format(temperatureUnit))
		same(t, temperature.Format(temperatureUnit), err, float64(againTemperature), float64(temperature), 0.0500001)
	})
}

func same(t *rapid.T, printed string, err error, got, want, tolerance float64) {
	if err != nil || math.Abs(got-want) > tolerance {
		t.Fatalf("%.17g printed as %q was read as %.17g, %v", want, printed, got, err)
	}
}
