package bolting

import "jointledger/internal/metrology"

// largestNutFactor bounds nut factors that can be meant: published means end at
// 0.52, and a percentage typed for a factor is caught.
const largestNutFactor = 1.0

func (k NutFactor) check(field string) error {
	if k > 0 && k <= largestNutFactor {
		return nil
	}
	return &metrology.RangeError{Field: field, Value: float64(k), Allowed: "above 0 and up to 1"}
}

// Torque is the short form T = K·F·d: the torque that makes the preload in a
// thread of nominal diameter d when the nut factor is K. It fails with a
// *metrology.RangeError for a factor outside 0 to 1 or a preload or diameter not
// above zero.
func (k NutFactor) Torque(preload Newtons, nominal Millimetres) (NewtonMetres, error) {
	if err := k.check("nut factor"); err != nil {
		return 0, err
	}
	if err := metrology.CheckPositive("preload", float64(preload), "N"); err != nil {
		return 0, err
	}
	if err := metrology.CheckPositive("nominal diameter", float64(nominal), "mm"); err != nil {
		return 0, err
	}
	return NewtonMetres(float64(k) * float64(preload) * float64(nominal) / 1000), nil
}

// Preload is the short form turned round, F = T/(K·d). Errors as in Torque.
func (k NutFactor) Preload(torque NewtonMetres, nominal Millimetres) (Newtons, error) {
	if err := k.check("nut factor"); err != nil {
		return 0, err
	}
	if err := metrology.CheckPositive("torque", float64(torque), "N·m"); err != nil {
		return 0, err
	}
	if err := metrology.CheckPositive("nominal diameter", float64(nominal), "mm"); err != nil {
		return 0, err
	}
	return Newtons(float64(torque) * 1000 / (float64(k) * float64(nominal))), nil
}
