package sampling

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// AQL is an acceptable quality level: percent nonconforming, or nonconformities
// per 100 units. Only preferred values have plans.
type AQL float64

// largestPercentAQL is the last AQL that may mean percent nonconforming; above
// it, it counts nonconformities per 100 units.
const largestPercentAQL AQL = 10

// PerHundredUnits tells whether the AQL can only count nonconformities per 100
// units.
func (a AQL) PerHundredUnits() bool { return a > largestPercentAQL }

// String prints a preferred AQL as the table does.
func (a AQL) String() string {
	for _, c := range aqlColumns {
		if c.value == a {
			return c.text
		}
	}
	return strconv.FormatFloat(float64(a), 'g', -1, 64)
}

// AQLs returns the preferred values, rising.
func AQLs() []AQL {
	list := make([]AQL, len(aqlColumns))
	for i, c := range aqlColumns {
		list[i] = c.value
	}
	return list
}

// UnknownAQLError reports an AQL that is no preferred value.
type UnknownAQLError struct {
	Text    string
	Allowed []string
}

// Error lists the preferred values.
func (e *UnknownAQLError) Error() string {
	return fmt.Sprintf("AQL %s is no preferred value; there are %s", e.Text, strings.Join(e.Allowed, ", "))
}

// ParseAQL reads a preferred AQL: "0.65", ".65", "1", "2.5 %". It fails with an
// *UnknownAQLError.
func ParseAQL(text string) (AQL, error) {
	trimmed := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "%"))
	value, err := strconv.ParseFloat(trimmed, 64)
	if err != nil {
		return 0, unknownAQL(strconv.Quote(text))
	}
	column, err := AQL(value).column()
	if err != nil {
		return 0, err
	}
	return aqlColumns[column].value, nil
}

// column finds the AQL in the master table.
func (a AQL) column() (int, error) {
	for i, c := range aqlColumns {
		if math.Abs(float64(a-c.value)) <= 1e-9*float64(c.value) {
			return i, nil
		}
	}
	return 0, unknownAQL(a.String())
}

func unknownAQL(text string) *UnknownAQLError {
	e := &UnknownAQLError{Text: text}
	for _, c := range aqlColumns {
		e.Allowed = append(e.Allowed, c.text)
	}
	return e
}
