package metrology

import "math"

// TorqueRange is the marked range of a torque tool, in N·m.
type TorqueRange struct {
	Lowest     float64 // lowest marked or declared value; 0 when unknown
	Maximum    float64
	Graduation float64 // step between marks, or display resolution; 0 when unknown
}

// Check returns a *RangeError when the range is impossible.
func (r TorqueRange) Check() error {
	if err := CheckPositive("maximum torque of the tool", r.Maximum, "N·m"); err != nil {
		return err
	}
	if err := CheckNotNegative("graduation of the tool", r.Graduation, "N·m"); err != nil {
		return err
	}
	if !(r.Lowest >= 0 && r.Lowest <= r.Maximum) {
		return &RangeError{Field: "lowest torque of the tool", Value: r.Lowest, Allowed: "0 up to the tool's maximum (N·m)"}
	}
	return nil
}

// Shares of a tool's maximum within which work is planned.
const (
	UsableLowShare  = 0.20
	UsableHighShare = 1.00
	BestLowShare    = 0.30
	BestHighShare   = 0.90
)

// UsableRangeSource says where the default usable range comes from.
var UsableRangeSource = Source{Mark: Practice}

// Usable is the default usable range: 20 to 100 % of the maximum, and never
// below the lowest mark (common practice, no source). It fails with a
// *RangeError for an impossible range.
func (r TorqueRange) Usable() (TorqueInterval, error) {
	return r.share(UsableLowShare, UsableHighShare)
}

// Best is the part of the range where a tool is best used, 30 to 90 % of the
// maximum (common practice, no source). It fails with a *RangeError for an
// impossible range.
func (r TorqueRange) Best() (TorqueInterval, error) { return r.share(BestLowShare, BestHighShare) }

func (r TorqueRange) share(low, high float64) (TorqueInterval, error) {
	if err := r.Check(); err != nil {
		return TorqueInterval{}, err
	}
	top := high * r.Maximum
	// A lowest mark above the share's top (a tool with a very short scale)
	// leaves the mark itself, not an inverted interval.
	bottom := math.Max(low*r.Maximum, r.Lowest)
	return TorqueInterval{Low: bottom, High: math.Max(top, bottom)}, nil
}
