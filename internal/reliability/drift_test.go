package reliability

import (
	"errors"
	"testing"

	"jointledger/internal/stats"
)

// norris is the data set Norris of the NIST Statistical Reference Datasets
// (deviation, time): certified simple linear regression.
var norris = [][2]float64{
	{0.1, 0.2},
	{338.8, 337.4},
	{118.1, 118.2},
	{888.0, 884.6},
	{9.2, 10.1},
	{228.1, 226.5},
	{668.5, 666.3},
	{998.5, 996.3},
	{449.1, 448.6},
	{778.9, 777.0},
	{559.2, 558.2},
	{0.3, 0.4},
	{0.1, 0.6},
	{778.1, 775.5},
	{668.8, 666.9},
	{339.3, 338.0},
	{448.9, 447.5},
	{10.8, 11.6},
	{557.7, 556.0},
	{228.3, 228.1},
	{998.0, 995.8},
	{888.8, 887.6},
	{119.6, 120.2},
	{0.3, 0.3},
	{0.6, 0.3},
	{557.6, 556.8},
	{339.3, 339.1},
	{888.0, 887.2},
	{998.5, 999.0},
	{778.9, 779.0},
	{10.2, 11.1},
	{117.6, 118.3},
	{228.9, 229.2},
	{668.4, 669.1},
	{449.2, 448.9},
	{0.2, 0.5},
}

func TestDriftOnCertifiedData(t *testing.T) {
	var points []DriftPoint
	for _, p := range norris {
		points = append(points, DriftPoint{Time: p[1], Deviation: p[0]})
	}
	d, err := FitDrift(points, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", d.Intercept, -0.262323073774, 1e-9)
	near(t, "slope", d.Slope, 1.00211681802, 1e-11)
	near(t, "SE of intercept", *d.InterceptSE, 0.232818234301, 1e-9)
	near(t, "SE of slope", *d.SlopeSE, 0.000429796848200, 1e-9)
	near(t, "residual SD", *d.ResidualSD, 0.884796396144, 1e-9)
	// Student's t with 34 degrees of freedom at 0.975 is 2.0322 (printed tables).
	near(t, "half width", d.SlopeInterval.Upper-d.Slope, 2.0322*0.000429796848200, 1e-4)
	near(t, "other half", d.Slope-d.SlopeInterval.Lower, 2.0322*0.000429796848200, 1e-4)
	if len(d.Points) != len(norris) {
		t.Errorf("%d points for the figure", len(d.Points))
	}
}

func TestDriftOfFewCalibrations(t *testing.T) {
	d, err := FitDrift([]DriftPoint{{0, 1}, {12, 4}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", d.Slope, 0.25, 1e-12)
	if d.SlopeSE != nil || d.SlopeInterval != nil || d.ResidualSD != nil {
		t.Error("two points gave an interval")
	}
	var bad *stats.ArgumentError
	for name, points := range map[string][]DriftPoint{
		"none": nil, "one": {{1, 1}}, "one time": {{1, 1}, {1, 2}},
	} {
		if _, err := FitDrift(points, 0.95); !errors.As(err, &bad) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}
