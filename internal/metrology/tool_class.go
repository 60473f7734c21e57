package metrology

import (
	"fmt"
	"strings"
)

// ToolType is the first division of hand torque tools in ISO 6789-1.
type ToolType string

// The two types of hand torque tool.
const (
	Indicating ToolType = "I"  // shows the torque while it is applied
	Setting    ToolType = "II" // signals when a set torque is reached
)

// Adjustment says how the operator of a tool chooses or reads a torque.
type Adjustment string

// The kinds of adjustment the classes differ by.
const (
	Read        Adjustment = "read from a scale, dial or display"
	Graduated   Adjustment = "adjustable on a scale"
	Ungraduated Adjustment = "adjustable without a scale"
	Fixed       Adjustment = "fixed at one torque"
)

// lowTorqueBound parts the two columns of the limit table: tools whose maximum
// is up to 10 N·m, and tools above.
const lowTorqueBound = 10.0

// ToolClass is one row of the type and class table of ISO 6789-1:2017 with the
// maximum permissible relative deviation and the readings taken at each test
// point. The limits are percent of the reference reading.
type ToolClass struct {
	Type         ToolType
	Class        string
	Description  string
	Adjustment   Adjustment
	LimitUpTo10  float64 // %, tools whose maximum torque is at most 10 N·m
	LimitAbove10 float64 // %, tools whose maximum torque is above 10 N·m
	Readings     int     // at each test point
	Source       Source
}

// Code gives the short form, "II-A".
func (c ToolClass) Code() string { return string(c.Type) + "-" + c.Class }

// LimitPercent is the maximum permissible relative deviation, in percent of the
// reference reading. It is keyed to the tool's maximum torque (N·m), never to
// the value set. It fails with a *RangeError for a maximum that is not above
// zero.
func (c ToolClass) LimitPercent(maximumNewtonMetres float64) (float64, error) {
	if err := CheckPositive("maximum torque of the tool", maximumNewtonMetres, "N·m"); err != nil {
		return 0, err
	}
	if maximumNewtonMetres <= lowTorqueBound {
		return c.LimitUpTo10, nil
	}
	return c.LimitAbove10, nil
}

// classSource marks the rows: row II-A was seen in a tool manual that quotes
// the standard; the others are from memory.
func classSource(mark Mark) Source {
	return Source{Title: "ISO 6789-1", Edition: "2017", Place: "clause 4 and 5.1.5", Mark: mark}
}

var toolClasses = []ToolClass{
	{Indicating, "A", "wrench, torsion or flexion bar", Read, 6, 6, 5, classSource(Memory)},
	{Indicating, "B", "wrench, rigid housing, with scale or dial", Read, 6, 4, 5, classSource(Memory)},
	{Indicating, "C", "wrench, rigid housing, electronic", Read, 6, 4, 5, classSource(Memory)},
	{Indicating, "D", "screwdriver with scale", Read, 6, 6, 5, classSource(Memory)},
	{Indicating, "E", "screwdriver, electronic", Read, 6, 4, 5, classSource(Memory)},
	{Setting, "A", "wrench, adjustable, graduated", Graduated, 6, 4, 5, classSource(Seen)},
	{Setting, "B", "wrench, fixed adjustment", Fixed, 6, 4, 10, classSource(Memory)},
	{Setting, "C", "wrench, adjustable, not graduated", Ungraduated, 6, 4, 10, classSource(Memory)},
	{Setting, "D", "screwdriver, adjustable, graduated", Graduated, 6, 6, 5, classSource(Memory)},
	{Setting, "E", "screwdriver, fixed adjustment", Fixed, 6, 6, 10, classSource(Memory)},
	{Setting, "F", "screwdriver, adjustable, not graduated", Ungraduated, 6, 6, 10, classSource(Memory)},
	{Setting, "G", "wrench, flexion bar, adjustable, graduated", Graduated, 6, 6, 5, classSource(Memory)},
}

// ToolClasses returns every class of ISO 6789-1:2017, type I before type II.
func ToolClasses() []ToolClass { return append([]ToolClass(nil), toolClasses...) }

// UnknownToolClassError reports a type and class outside ISO 6789-1.
type UnknownToolClassError struct {
	Text  string
	Known []string
}

// Error lists the classes that exist.
func (e *UnknownToolClassError) Error() string {
	return fmt.Sprintf("no tool class %q in ISO 6789-1; there are %s", e.Text, strings.Join(e.Known, ", "))
}

// ParseToolClass reads a type and class as people write them: "II-A", "ii a",
// "IIA", "Type II Class A". Anything else gives an *UnknownToolClassError.
func ParseToolClass(text string) (ToolClass, error) {
	folded := strings.ToUpper(text)
	for _, word := range []string{"TYPE", "CLASS", " ", "-", "/", "."} {
		folded = strings.ReplaceAll(folded, word, "")
	}
	known := make([]string, 0, len(toolClasses))
	for _, c := range toolClasses {
		if folded == string(c.Type)+c.Class {
			return c, nil
		}
		known = append(known, c.Code())
	}
	return ToolClass{}, &UnknownToolClassError{Text: text, Known: known}
}
