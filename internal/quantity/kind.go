package quantity

import "strconv"

// Kind says what is measured.
type Kind uint8

// The quantities that this package reads.
const (
	KindTorque Kind = iota + 1
	KindLength
	KindTemperature
	KindForce
	KindMass
)

// String gives the name in lower case, such as "torque".
func (k Kind) String() string {
	switch k {
	case KindTorque:
		return "torque"
	case KindLength:
		return "length"
	case KindTemperature:
		return "temperature"
	case KindForce:
		return "force"
	case KindMass:
		return "mass"
	}
	return "Kind(" + strconv.Itoa(int(k)) + ")"
}
