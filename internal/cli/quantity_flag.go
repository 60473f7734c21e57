package cli

import "jointledger/internal/quantity"

// The flags of quantities take them with their unit, as people type them, and
// keep them in the unit of the API.

// torque makes a flag for a torque, kept in newton metres.
func (f *fields) torque(dst *float64, name, path, help string) {
	f.bind(name, path, "TORQUE", help+", such as \"32 N.m\" or \"24 lbf.ft\"", func(text string) error {
		v, err := quantity.ParseTorque(text)
		*dst = float64(v)
		return err
	})
}

// mass makes a flag for a mass, kept in kilograms.
func (f *fields) mass(dst *float64, name, path, help string) {
	f.bind(name, path, "MASS", help+", such as \"1.5 t\", \"1500 kg\" or \"3000 lb\"", func(text string) error {
		v, err := quantity.ParseMass(text)
		*dst = float64(v)
		return err
	})
}

// length makes a flag for a length, kept in millimetres.
func (f *fields) length(dst *float64, name, path, help string) {
	f.bind(name, path, "LENGTH", help+", such as \"30 mm\" or \"1-1/4 in\"", func(text string) error {
		v, err := quantity.ParseLength(text)
		*dst = float64(v)
		return err
	})
}

// temperature makes a flag for a temperature that may be left open, kept in
// degrees Celsius.
func (f *fields) temperature(dst **float64, name, path, help string) {
	f.bind(name, path, "TEMPERATURE", help+", such as \"4.4 C\" or \"40 F\"", func(text string) error {
		v, err := quantity.ParseTemperature(text)
		if err == nil {
			celsius := float64(v)
			*dst = &celsius
		}
		return err
	})
}
