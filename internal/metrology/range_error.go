package metrology

import (
	"fmt"
	"math"
)

// RangeError reports an input outside the values a computation accepts.
type RangeError struct {
	Field   string  // the quantity, in the words of the trade
	Value   float64 // what was given, in the unit that Allowed names
	Allowed string  // the allowed values with their unit
}

// Error names the field, the value and the allowed range.
func (e *RangeError) Error() string {
	return fmt.Sprintf("%s is %v; allowed: %s", e.Field, e.Value, e.Allowed)
}

// CheckPositive returns a *RangeError unless value is finite and above zero.
func CheckPositive(field string, value float64, unit string) error {
	if value > 0 && !math.IsInf(value, 0) {
		return nil
	}
	return &RangeError{Field: field, Value: value, Allowed: withUnit("above 0", unit)}
}

// CheckNotNegative returns a *RangeError unless value is finite and at least
// zero.
func CheckNotNegative(field string, value float64, unit string) error {
	if value >= 0 && !math.IsInf(value, 0) {
		return nil
	}
	return &RangeError{Field: field, Value: value, Allowed: withUnit("0 or above", unit)}
}

// CheckFinite returns a *RangeError when value is not a number or infinite.
func CheckFinite(field string, value float64, unit string) error {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return &RangeError{Field: field, Value: value, Allowed: withUnit("a finite number", unit)}
	}
	return nil
}

func withUnit(text, unit string) string {
	if unit == "" {
		return text
	}
	return text + " (" + unit + ")"
}
