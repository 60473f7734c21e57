package quantity

import (
	"math"
	"strconv"
	"strings"
)

// fourDigits writes a number to four significant digits, all digits before the
// point in any case, with no zeros at the end: 203.4, 16, 12345, 0.05. A torque
// tool is held to 4 or 6 %, so more digits would say nothing.
func fourDigits(value float64) string {
	size := math.Abs(value)
	if size != 0 && (size < 1e-4 || size >= 1e15) {
		return strconv.FormatFloat(value, 'g', 4, 64)
	}
	// The exponent after rounding: 9999.6 has five digits before the point.
	_, exponent, _ := strings.Cut(strconv.FormatFloat(value, 'e', 3, 64), "e")
	power, err := strconv.Atoi(exponent)
	if err != nil { // not a finite number
		return strconv.FormatFloat(value, 'f', -1, 64)
	}
	return decimals(value, max(0, 3-power))
}

// oneDecimal writes a number to one decimal, with no zero at the end: 3.3, 38.
// A surface thermometer reads no finer.
func oneDecimal(value float64) string { return decimals(value, 1) }

// decimals writes at most so many decimals.
func decimals(value float64, places int) string {
	text := strconv.FormatFloat(value, 'f', places, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}
