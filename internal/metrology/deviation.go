package metrology

import "math"

// Reading is one pull of a torque tool against a measuring device, in N·m.
type Reading struct {
	Target    float64 // Xa: the torque set on, or indicated by, the tool
	Reference float64 // Xr: what the measuring device showed
}

// DeviationPercent is the relative deviation of ISO 6789-1:2017, clause 7,
// a = (Xa − Xr)/Xr × 100 (formula from memory; that it is "of the indication on
// the test device" was seen). The denominator is the reference, and the sign is
// that of the tool: a tool with a positive deviation shows more than it
// delivers. It fails with a *RangeError unless both torques are above zero.
func (r Reading) DeviationPercent() (float64, error) {
	if err := CheckPositive("target torque", r.Target, "N·m"); err != nil {
		return 0, err
	}
	if err := CheckPositive("reference torque", r.Reference, "N·m"); err != nil {
		return 0, err
	}
	return (r.Target - r.Reference) / r.Reference * 100, nil
}

// TorqueInterval is a closed interval of torque in N·m.
type TorqueInterval struct {
	Low, High float64
}

// Contains tells whether the torque (N·m) lies in the interval, its ends
// included.
func (i TorqueInterval) Contains(newtonMetres float64) bool {
	return newtonMetres >= i.Low && newtonMetres <= i.High
}

// ReferenceLimits are the reference readings (N·m) that just conform when the
// tool is set to target and may deviate by limitPercent. Because the deviation
// is divided by the reference, they are not symmetric: ±4 % at 100 N·m is
// 96.154 to 104.167. It fails with a *RangeError for a target not above zero or
// a limit outside 0 to 100 %.
func ReferenceLimits(targetNewtonMetres, limitPercent float64) (TorqueInterval, error) {
	if err := CheckPositive("target torque", targetNewtonMetres, "N·m"); err != nil {
		return TorqueInterval{}, err
	}
	if !(limitPercent > 0 && limitPercent < 100) {
		return TorqueInterval{}, &RangeError{Field: "permissible deviation", Value: limitPercent, Allowed: "above 0 and below 100 %"}
	}
	return TorqueInterval{
		Low:  targetNewtonMetres / (1 + limitPercent/100),
		High: targetNewtonMetres / (1 - limitPercent/100),
	}, nil
}

// DeliveredTorque is the torque (N·m) a tool probably gave when it was set to
// setting and had the relative deviation found at its calibration, the inverse
// of DeviationPercent. It fails with a *RangeError for a setting not above zero
// or a deviation of −100 % or less.
func DeliveredTorque(settingNewtonMetres, deviationPercent float64) (float64, error) {
	if err := CheckPositive("torque set", settingNewtonMetres, "N·m"); err != nil {
		return 0, err
	}
	if !(deviationPercent > -100) || math.IsInf(deviationPercent, 0) {
		return 0, &RangeError{Field: "relative deviation", Value: deviationPercent, Allowed: "above -100 %"}
	}
	return settingNewtonMetres / (1 + deviationPercent/100), nil
}
