package quantity

import (
	"errors"
	"testing"
)

var scales = []*scale{torques(), lengths(), temperatures(), forces(), masses()}

// A spelling that belonged to two units of a quantity would be read as whichever
// came first.
func TestSpellingsAreUnique(t *testing.T) {
	for _, s := range scales {
		seen := make(map[string]string)
		for _, u := range s.units {
			for _, spelling := range u.spellings {
				if other, taken := seen[spelling]; taken {
					t.Errorf("%q is both %s and %s", spelling, other, u.name)
				}
				seen[spelling] = u.name
				if plain(spelling) != spelling {
					t.Errorf("%q of %s is never looked up: it is brought to %q", spelling, u.name, plain(spelling))
				}
			}
		}
	}
}

// Every unit can be typed by its name and by its printed symbol.
func TestNamesAndSymbolsAreSpellings(t *testing.T) {
	for _, s := range scales {
		for i, u := range s.units {
			for _, text := range []string{u.name, u.symbol} {
				if got, err := s.parseUnit(text); err != nil || got != i+1 {
					t.Errorf("%s %q is unit %d, %v, want %d", s.kind, text, got, err, i+1)
				}
			}
		}
	}
}

func TestUnitNames(t *testing.T) {
	for name, want := range map[string]TorqueUnit{"N.m": NewtonMetre, "lbf.ft": PoundForceFoot, "lbf.in": PoundForceInch, "kgf.m": KilogramForceMetre} {
		if got, err := ParseTorqueUnit(name); err != nil || got != want || got.String() != name {
			t.Errorf("ParseTorqueUnit(%q) = %v, %v", name, got, err)
		}
	}
	for name, want := range map[string]LengthUnit{"mm": Millimetre, "cm": Centimetre, "m": Metre, "in": Inch, "ft": Foot} {
		if got, err := ParseLengthUnit(name); err != nil || got != want || got.String() != name {
			t.Errorf("ParseLengthUnit(%q) = %v, %v", name, got, err)
		}
	}
	for name, want := range map[string]TemperatureUnit{"C": DegreeCelsius, "F": DegreeFahrenheit, "K": Kelvin} {
		if got, err := ParseTemperatureUnit(name); err != nil || got != want || got.String() != name {
			t.Errorf("ParseTemperatureUnit(%q) = %v, %v", name, got, err)
		}
	}
	for name, want := range map[string]ForceUnit{"N": Newton, "kN": Kilonewton, "lbf": PoundForce, "kgf": KilogramForce} {
		if got, err := ParseForceUnit(name); err != nil || got != want || got.String() != name {
			t.Errorf("ParseForceUnit(%q) = %v, %v", name, got, err)
		}
	}
	if got := TorqueUnit(0).String(); got != "no unit of torque (0)" {
		t.Errorf("the zero unit is %q", got)
	}
	for kind, name := range map[Kind]string{KindTorque: "torque", KindLength: "length", KindTemperature: "temperature", KindForce: "force", 9: "Kind(9)"} {
		if kind.String() != name {
			t.Errorf("Kind %d is %q, want %q", kind, kind, name)
		}
	}
}

func TestParseUnitRefuses(t *testing.T) {
	for _, c := range []struct{ text, part, problem string }{
		{"", "", "there is no unit"},
		{" ", "", "there is no unit"},
		{"mm", "mm", "mm is a length"},
		{"furlong", "furlong", "furlong is not a known unit"},
		{"150 N.m", "150 N.m", "150 N.m is not a known unit"},
	} {
		got, err := ParseTorqueUnit(c.text)
		checkRefusal(t, err, ParseError{KindTorque, c.text, c.part, c.problem, "torque is given in N.m, lbf.ft, lbf.in or kgf.m"})
		if got != 0 {
			t.Errorf("%q gave unit %v beside the error", c.text, got)
		}
	}
	var parseError *ParseError
	if _, err := ParseLengthUnit("N"); !errors.As(err, &parseError) || parseError.Kind != KindLength {
		t.Errorf("N as a unit of length: %v", err)
	}
	if _, err := ParseTemperatureUnit("N"); !errors.As(err, &parseError) || parseError.Kind != KindTemperature {
		t.Errorf("N as a unit of temperature: %v", err)
	}
	if _, err := ParseForceUnit("mm"); !errors.As(err, &parseError) || parseError.Kind != KindForce {
		t.Errorf("mm as a unit of force: %v", err)
	}
}
