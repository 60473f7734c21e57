package quantity

import (
	"math"
	"testing"
)

// Expected by the factors of NIST SP 811 (2008) Appendix B.8 and B.9, rounded
// by hand to four digits or one decimal. 70.50 N·m for 52 lbf·ft and 64.91
// lbf·ft for 88.01 N·m are worked examples of the trade (no source).
func TestFormat(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Torque(203).Format(NewtonMetre), "203 N·m"},
		{Torque(203.37269224971006).Format(NewtonMetre), "203.4 N·m"},
		{Torque(203.37269224971006).Format(PoundForceFoot), "150 lbf·ft"},
		{Torque(203.37269224971006).Format(PoundForceInch), "1800 lbf·in"},
		{Torque(202.997655).Format(KilogramForceMetre), "20.7 kgf·m"},
		{Torque(52 * 1.3558179483314004).Format(NewtonMetre), "70.5 N·m"},
		{Torque(88.01).Format(PoundForceFoot), "64.91 lbf·ft"},
		{Torque(0).Format(PoundForceFoot), "0 lbf·ft"},
		{Torque(0.05).Format(NewtonMetre), "0.05 N·m"},
		{Torque(0.0123456).Format(NewtonMetre), "0.01235 N·m"},
		{Torque(9.9996).Format(NewtonMetre), "10 N·m"},
		{Torque(12345.6).Format(NewtonMetre), "12346 N·m"},
		{Torque(99999.7).Format(NewtonMetre), "100000 N·m"},
		{Torque(1.23456e-7).Format(NewtonMetre), "1.235e-07 N·m"},
		{Torque(2.5e20).Format(NewtonMetre), "2.5e+20 N·m"},
		{Torque(math.NaN()).Format(NewtonMetre), "NaN N·m"},
		{Torque(math.Inf(1)).Format(PoundForceFoot), "+Inf lbf·ft"},
		{Length(38.1).Format(Millimetre), "38.1 mm"},
		{Length(38.1).Format(Inch), "1.5 in"},
		{Length(914.4).Format(Foot), "3 ft"},
		{Length(914.4).Format(Centimetre), "91.44 cm"},
		{Length(25.4).Format(Metre), "0.0254 m"},
		{Temperature(10.0 / 3).Format(DegreeCelsius), "3.3 °C"},
		{Temperature(10.0 / 3).Format(DegreeFahrenheit), "38 °F"},
		{Temperature(40.0 / 9).Format(DegreeCelsius), "4.4 °C"},
		{Temperature(2.85).Format(Kelvin), "276 K"},
		{Temperature(-40).Format(DegreeFahrenheit), "-40 °F"},
		{Temperature(-0.04).Format(DegreeCelsius), "0 °C"},
		{Temperature(-273.15).Format(DegreeFahrenheit), "-459.7 °F"},
		{Force(9786.0875535731).Format(Kilonewton), "9.786 kN"},
		{Force(9786.0875535731).Format(PoundForce), "2200 lbf"},
		{Force(36670.5).Format(Kilonewton), "36.67 kN"},
		{Force(48894).Format(Newton), "48894 N"},
		{Force(49.03325).Format(KilogramForce), "5 kgf"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// The conversions of TestParseTemperature, the other way and unrounded.
func TestTemperatureIn(t *testing.T) {
	for _, c := range []struct {
		temperature Temperature
		unit        TemperatureUnit
		want        float64
	}{
		{0, DegreeFahrenheit, 32},
		{100, DegreeFahrenheit, 212},
		{-40, DegreeFahrenheit, -40},
		{2.85, Kelvin, 276},
		{-273.15, Kelvin, 0},
		{3.3, DegreeCelsius, 3.3},
	} {
		// A float64 near −273.15 is 3e-14 off.
		if got := c.temperature.In(c.unit); math.Abs(got-c.want) > 6e-14 {
			t.Errorf("%g °C is %.17g %s, want %g", float64(c.temperature), got, c.unit, c.want)
		}
	}
}

// On either side of the half that is rounded away.
func TestFormatRounding(t *testing.T) {
	if got := fourDigits(1.00049999); got != "1" {
		t.Errorf("1.00049999 is %q", got)
	}
	if got := fourDigits(1.00051); got != "1.001" {
		t.Errorf("1.00051 is %q", got)
	}
	if got := oneDecimal(3.349999); got != "3.3" {
		t.Errorf("3.349999 is %q", got)
	}
}
