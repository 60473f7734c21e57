package main

import (
	"fmt"
	"math"
	"time"
)

// climate describes the months April to August at a site: mean temperature,
// half the daily swing, and how far the dew point lies under the daily mean,
// all in degrees Celsius.
type climate struct {
	mean, swing, dewDepression [5]float64
}

// The northern sites lie under a high-latitude spring and summer, the southern
// ones under a mild autumn and winter with damp mornings. The figures are of the
// size found in such places, not those of any station.
var (
	northern = climate{
		mean:          [5]float64{4.5, 9.5, 13.5, 15.5, 14.0},
		swing:         [5]float64{4.5, 5.0, 5.0, 4.5, 4.0},
		dewDepression: [5]float64{5.5, 6.5, 6.0, 5.0, 4.5},
	}
	southern = climate{
		mean:          [5]float64{18.0, 15.0, 12.5, 11.5, 12.5},
		swing:         [5]float64{5.5, 4.5, 4.0, 4.0, 4.5},
		dewDepression: [5]float64{8.0, 6.5, 5.5, 5.0, 6.0},
	}
)

// reading is what the thermometer and hygrometer on the deck show.
type reading struct{ air, surface, humidity float64 } // °C, °C, % RH

// weather returns the conditions at a site at an instant. A day has one
// deviation from its month, one dew point and one degree of cloud; the air
// follows the hour, and sheet metal runs behind the air in the morning and
// ahead of it in the sun.
func (w *world) weather(s *site, at time.Time) reading {
	day := newStream(w.seed, fmt.Sprintf("weather/%s/%s", s.code, at.Format(time.DateOnly)))
	m := min(max(int(at.Month())-int(time.April), 0), 4)
	mean := s.climate.mean[m] + s.altitude + float64(2*day.normal())
	dew := mean - math.Max(1.5, s.climate.dewDepression[m]+float64(1.5*day.normal()))
	cloud := day.float()
	hour := float64(at.Hour()) + float64(at.Minute())/60
	// Warmest at 15 h, coldest at 3 h.
	air := mean + float64(s.climate.swing[m]*math.Cos((hour-15)*math.Pi/12))
	// The sun is on the metal from about 8 h to 18 h; before that it is still
	// giving heat to the sky.
	sun := math.Sin((hour - 8) * math.Pi / 10)
	lead := float64(4*(1-cloud)*math.Max(0, sun)) - float64(1.2*(1-cloud)*math.Max(0, -sun))
	rh := 100 * vapourPressure(math.Min(dew, air-0.3)) / vapourPressure(air)
	return reading{air: air, surface: air + lead, humidity: rh}
}

// vapourPressure is the saturation vapour pressure over water in hPa at a
// temperature in °C: Magnus form with the coefficients of WMO-No. 8.
func vapourPressure(c float64) float64 { return 6.112 * math.Exp(17.62*c/(243.12+c)) }

// dewPoint inverts vapourPressure: °C for an air temperature and a relative
// humidity in percent.
func dewPoint(air, humidity float64) float64 {
	g := math.Log(humidity/100) + 17.62*air/(243.12+air)
	return 243.12 * g / (17.62 - g)
}

// sealable reports whether a careful crew would seal: air and surface at or
// above the specification's minimum, the surface at least 3 °C over the dew
// point, with half a degree in hand for the time it takes.
func (r reading) sealable(minimum float64) bool {
	return math.Min(r.air, r.surface) >= minimum+0.5 && r.surface-dewPoint(r.air, r.humidity) >= 3.5
}
