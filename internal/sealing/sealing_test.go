package sealing_test

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"jointledger/internal/metrology"
	"jointledger/internal/sealing"
)

func closeTo(t *testing.T, name string, got, want, absolute float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > absolute {
		t.Errorf("%s = %.6g, want %.6g within %g", name, got, want, absolute)
	}
}

func wantRangeError(t *testing.T, err error, field string) *metrology.RangeError {
	t.Helper()
	var rangeError *metrology.RangeError
	if !errors.As(err, &rangeError) {
		t.Fatalf("error %v is no *metrology.RangeError", err)
	}
	if rangeError.Field != field || rangeError.Allowed == "" {
		t.Errorf("field %q, allowed %q; want field %q", rangeError.Field, rangeError.Allowed, field)
	}
	return rangeError
}

func measured(c sealing.Celsius) *sealing.Celsius { return &c }

// Dew points of the three sets, worked by hand from the Magnus formula; 30 °C
// and 55 % is published as 20, 22 °C and 78 % as 17.98 (seen).
func TestDewPoint(t *testing.T) {
	tests := []struct {
		air               sealing.Celsius
		rh                sealing.Percent
		wmo, eskr, bolton float64
	}{
		{25, 60, 16.693, 16.698, 16.705},
		{20, 50, 9.255, 9.261, 9.270},
		{30, 55, 19.972, 19.977, 19.987},
		{22, 78, 17.985, 17.987, 17.991},
		{10, 90, 8.434, 8.435, 8.436},
		{5, 85, 2.686, 2.688, 2.689},
		{4.4, 80, 1.249, 1.251, 1.253},
	}
	for _, tt := range tests {
		for _, s := range []struct {
			set  sealing.Coefficients
			want float64
		}{{sealing.Sonntag1990(), tt.wmo}, {sealing.AlduchovEskridge1996(), tt.eskr}, {sealing.Bolton1980(), tt.bolton}} {
			got, err := s.set.DewPoint(tt.air, tt.rh)
			if err != nil {
				t.Fatal(err)
			}
			closeTo(t, s.set.Name, float64(got), s.want, 0.0006)
			back, err := s.set.Humidity(tt.air, got)
			if err != nil {
				t.Fatal(err)
			}
			closeTo(t, s.set.Name+" back", float64(back), float64(tt.rh), 1e-9)
		}
	}
}

func TestSaturatedAir(t *testing.T) {
	for _, set := range sealing.CoefficientSets() {
		for _, air := range []sealing.Celsius{-45, -10, 0, 4.4, 60} {
			got, err := set.DewPoint(air, 100)
			if err != nil {
				t.Fatal(err)
			}
			closeTo(t, set.Name, float64(got), float64(air), 1e-9)
		}
	}
}

// es(20 °C) = 23.326 hPa with the WMO set (worked by hand).
func TestVapourPressure(t *testing.T) {
	got, err := sealing.Sonntag1990().VapourPressure(20)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "es(20)", got, 23.326, 0.0006)
	_, err = sealing.Sonntag1990().VapourPressure(-243.12)
	wantRangeError(t, err, "temperature")
}

func TestRefusedInputsNameFieldAndRange(t *testing.T) {
	set := sealing.Sonntag1990()
	for _, rh := range []sealing.Percent{0, -1, 100.1, 1e9, sealing.Percent(math.NaN()), sealing.Percent(math.Inf(1))} {
		_, err := set.DewPoint(20, rh)
		e := wantRangeError(t, err, "relative humidity")
		if e.Allowed != "above 0 and up to 100 %" || !strings.Contains(err.Error(), "relative humidity") {
			t.Errorf("%v: %v", rh, err)
		}
	}
	for _, air := range []sealing.Celsius{-45.1, 60.1, -243.12, sealing.Celsius(math.NaN())} {
		_, err := set.DewPoint(air, 50)
		wantRangeError(t, err, "air temperature")
	}
	_, err := set.Humidity(20, 20.1)
	wantRangeError(t, err, "dew point")
	_, err = set.Humidity(20, -300)
	wantRangeError(t, err, "dew point")
	_, err = set.Assess(sealing.Conditions{Air: 20, Surface: measured(70), Humidity: 50}, sealing.DefaultLimits())
	wantRangeError(t, err, "surface temperature")
}

func TestSetsAreNamed(t *testing.T) {
	for _, set := range sealing.CoefficientSets() {
		got, err := sealing.SetNamed(set.Name)
		if err != nil || got != set || set.Source.Title == "" || set.Source.Mark == "" {
			t.Errorf("%s: %+v, %v", set.Name, got, err)
		}
	}
	_, err := sealing.SetNamed("tetens")
	var unknown *sealing.UnknownSetError
	if !errors.As(err, &unknown) || len(unknown.Known) != 3 {
		t.Errorf("tetens: %v", err)
	}
}

// Common practice, no source (4.4 °C, 40 °F); ISO 8502-4 guidance, from memory
// (3 °C).
func TestLimits(t *testing.T) {
	if sealing.MinimumTemperature != 4.4 || sealing.MinimumDewMargin != 3 || sealing.CleanToSeal != time.Hour {
		t.Error("the customary limits have changed")
	}
	closeTo(t, "40 °F", (40-32)/1.8, float64(sealing.MinimumTemperature), 0.05)
	keys := map[string]bool{}
	for _, l := range sealing.LimitTable() {
		if l.Key == "" || keys[l.Key] || l.Limit.Unit == "" || l.Limit.Source.Mark == "" {
			t.Errorf("limit %+v is incomplete", l)
		}
		keys[l.Key] = true
	}
}

func TestAssess(t *testing.T) {
	strict := sealing.Limits{MinimumTemperature: 4.4, MinimumDewMargin: 3, MaximumTemperature: 32, MaximumHumidity: 85}
	tests := []struct {
		name       string
		conditions sealing.Conditions
		limits     sealing.Limits
		want       []sealing.Obstacle
	}{
		{"good", sealing.Conditions{Air: 20, Surface: measured(20.4), Humidity: 60}, sealing.DefaultLimits(), nil},
		// Worked by hand: dew point 8.43, margin 2.57, although 10 °C is warm
		// enough.
		{"warm but near the dew point", sealing.Conditions{Air: 10, Surface: measured(11), Humidity: 90}, sealing.DefaultLimits(), []sealing.Obstacle{sealing.NearDewPoint}},
		{"on the temperature limit", sealing.Conditions{Air: 4.4, Surface: measured(4.4), Humidity: 60}, sealing.DefaultLimits(), nil},
		{"just under it", sealing.Conditions{Air: 4.5, Surface: measured(4.3), Humidity: 60}, sealing.DefaultLimits(), []sealing.Obstacle{sealing.SurfaceCold}},
		{"cold air, sunlit steel", sealing.Conditions{Air: 2, Surface: measured(12), Humidity: 60}, sealing.DefaultLimits(), []sealing.Obstacle{sealing.AirCold}},
		{"cold air, surface unknown", sealing.Conditions{Air: 2, Humidity: 60}, sealing.DefaultLimits(), []sealing.Obstacle{sealing.AirCold}},
		{"surface below dew point", sealing.Conditions{Air: 15, Surface: measured(4), Humidity: 90}, sealing.DefaultLimits(), []sealing.Obstacle{sealing.NearDewPoint, sealing.SurfaceCold}},
		{"hot and humid", sealing.Conditions{Air: 30, Surface: measured(40), Humidity: 90}, strict, []sealing.Obstacle{sealing.TooHot, sealing.HumidityHigh}},
		{"the same, by default limits", sealing.Conditions{Air: 30, Surface: measured(40), Humidity: 90}, sealing.DefaultLimits(), nil},
	}
	for _, tt := range tests {
		a, err := sealing.Sonntag1990().Assess(tt.conditions, tt.limits)
		if err != nil {
			t.Fatal(err)
		}
		var got []sealing.Obstacle
		for _, r := range a.Reasons {
			got = append(got, r.Obstacle)
			if r.Shortfall() <= 0 {
				t.Errorf("%s: %v misses nothing", tt.name, r)
			}
		}
		if !reflect.DeepEqual(got, tt.want) || a.Go() != (tt.want == nil) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
		if a.SurfaceAssumed != (tt.conditions.Surface == nil) {
			t.Errorf("%s: surface assumed %v", tt.name, a.SurfaceAssumed)
		}
	}
}

func TestSurfaceMargin(t *testing.T) {
	got, err := sealing.Sonntag1990().SurfaceMargin(sealing.Conditions{Air: 10, Surface: measured(11), Humidity: 90})
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "margin", float64(got), 2.57, 0.005)
	got, err = sealing.Sonntag1990().SurfaceMargin(sealing.Conditions{Air: 10, Humidity: 90})
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "margin from the air", float64(got), 1.57, 0.005)
}

func TestReasonString(t *testing.T) {
	for _, tt := range []struct {
		reason sealing.Reason
		want   string
	}{
		{sealing.Reason{Obstacle: sealing.NearDewPoint, Value: 2.566, Limit: 3}, "surface too near the dew point: 2.6 °C, at least 3.0 °C"},
		{sealing.Reason{Obstacle: sealing.HumidityHigh, Value: 90, Limit: 85}, "humidity too high: 90.0 %, at most 85.0 %"},
		{sealing.Reason{Obstacle: sealing.TooHot, Value: 40, Limit: 32}, "too hot: 40.0 °C, at most 32.0 °C"},
		{sealing.Reason{Obstacle: sealing.NoData}, "no data"},
	} {
		if got := tt.reason.String(); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

func TestCautions(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range sealing.Cautions() {
		if c.Topic == "" || c.Text == "" || c.DefersTo == "" || seen[c.Topic] {
			t.Errorf("caution %+v is incomplete or its topic is not unique", c)
		}
		seen[c.Topic] = true
	}
	// 1 L (790 g) of acetone, 58.08 g/mol: 13.60 mol, 24.45 L/mol at 25 °C.
	litres := 790 / 58.08 * 24.45
	closeTo(t, "cubic metres to 2 500 ppm", litres/1000/2500e-6, 133, 0.5)
	if !seen["solvent-vapour"] || !seen["isolate-before-entry"] {
		t.Errorf("cautions %v", seen)
	}
}
