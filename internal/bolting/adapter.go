package bolting

import (
	"math"

	"jointledger/internal/metrology"
)

// Adapter is a crowfoot or extension between the drive of a torque wrench and
// the fastener.
type Adapter struct {
	WrenchLength Millimetres // L: drive to the middle of the grip
	Extension    Millimetres // E: drive to the middle of the fastener
	AngleDegrees float64     // between adapter and wrench; 0 in line, 90 square to it
}

// Setting is what to set on the wrench for the wanted torque at the fastener,
// S = T·L/(L + E·cos angle). In line this is the formula of the service manuals
// (seen); at 90° there is no correction (from memory). It fails with a
// *metrology.RangeError for a torque, length or extension out of range.
func (a Adapter) Setting(wanted NewtonMetres) (NewtonMetres, error) {
	ratio, err := a.lengthRatio("wanted torque", wanted)
	return wanted * NewtonMetres(ratio), err
}

// Applied is the torque at the fastener when the wrench is set to setting, the
// inverse of Setting. Errors as in Setting.
func (a Adapter) Applied(setting NewtonMetres) (NewtonMetres, error) {
	ratio, err := a.lengthRatio("torque set", setting)
	if err != nil {
		return 0, err
	}
	return setting / NewtonMetres(ratio), nil
}

func (a Adapter) lengthRatio(field string, torque NewtonMetres) (float64, error) {
	if err := metrology.CheckPositive(field, float64(torque), "N·m"); err != nil {
		return 0, err
	}
	if err := metrology.CheckPositive("length of the wrench", float64(a.WrenchLength), "mm"); err != nil {
		return 0, err
	}
	if err := metrology.CheckNotNegative("extension of the adapter", float64(a.Extension), "mm"); err != nil {
		return 0, err
	}
	if !(a.AngleDegrees >= 0 && a.AngleDegrees <= 180) {
		return 0, &metrology.RangeError{Field: "angle of the adapter", Value: a.AngleDegrees, Allowed: "0 to 180 degrees"}
	}
	reach := float64(a.Extension) * math.Cos(a.AngleDegrees*math.Pi/180)
	lever := float64(a.WrenchLength) + reach
	if lever <= 0 {
		return 0, &metrology.RangeError{Field: "extension of the adapter", Value: float64(a.Extension), Allowed: "shorter than the wrench when it points back along it (mm)"}
	}
	return float64(a.WrenchLength) / lever, nil
}
