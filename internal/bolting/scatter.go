package bolting

import (
	"fmt"
	"strings"

	"jointledger/internal/metrology"
)

// TighteningMethod is a way of tightening with the scatter of preload published
// for it: the preload lies within F·(1 ± Γ).
type TighteningMethod struct {
	Key     string
	Name    string
	Low     float64 // Γ at its best; equal to High when the source gives one value
	High    float64 // Γ at its worst
	Source  metrology.Source
	Remarks string
}

var (
	nasaSource      = metrology.Source{Title: "NASA-STD-5020", Place: "default torque control, as cited in J. Fail. Anal. Prev. 2019", Mark: metrology.Seen}
	oldNASASource   = metrology.Source{Title: "older NASA preload uncertainty table", Mark: metrology.Seen}
	handbookSource  = metrology.Source{Title: "Machinery's Handbook", Place: "accuracy of bolt preload methods", Mark: metrology.Seen}
	vdiSource       = metrology.Source{Title: "VDI 2230", Edition: "1986", Place: "tightening factor", Mark: metrology.Seen}
	tighteningTable = []TighteningMethod{
		{Key: "torque-dry", Name: "torque, unlubricated or as received", Low: 0.35, High: 0.35, Source: nasaSource},
		{Key: "torque-lubricated", Name: "torque, lubricated", Low: 0.25, High: 0.25, Source: nasaSource},
		{Key: "torque-cadmium", Name: "torque, cadmium plated", Low: 0.30, High: 0.30, Source: oldNASASource},
		{Key: "hydraulic-tensioner", Name: "hydraulic tensioner", Low: 0.15, High: 0.15, Source: oldNASASource},
		{Key: "indicating-washer", Name: "load-indicating washer", Low: 0.10, High: 0.10, Source: oldNASASource},
		{Key: "ultrasonic", Name: "ultrasonic measurement", Low: 0.10, High: 0.10, Source: oldNASASource},
		{Key: "elongation", Name: "bolt elongation", Low: 0.05, High: 0.05, Source: oldNASASource, Remarks: "Machinery's Handbook gives 3 to 5 %"},
		{Key: "instrumented", Name: "instrumented bolt", Low: 0.05, High: 0.05, Source: oldNASASource},
		{Key: "feel", Name: "by feel", Low: 0.35, High: 0.35, Source: handbookSource},
		{Key: "turn-of-nut", Name: "turn of nut", Low: 0.15, High: 0.15, Source: handbookSource},
		{Key: "yield-or-angle", Name: "yield or angle controlled", Low: 0.05, High: 0.12, Source: vdiSource},
		{Key: "torque-joint-tested", Name: "torque wrench, torque found on the real joint", Low: 0.17, High: 0.23, Source: vdiSource},
		{Key: "torque-friction-estimated", Name: "torque wrench, friction estimated", Low: 0.23, High: 0.28, Source: vdiSource},
		{Key: "power-driver", Name: "impact or power driver", Low: 0.26, High: 0.43, Source: vdiSource},
	}
)

// TighteningMethods returns the methods with their scatter and sources.
func TighteningMethods() []TighteningMethod {
	return append([]TighteningMethod(nil), tighteningTable...)
}

// UnknownMethodError reports a tightening method without published scatter.
type UnknownMethodError struct {
	Text  string
	Known []string
}

// Error lists the methods there are.
func (e *UnknownMethodError) Error() string {
	return fmt.Sprintf("no published scatter for tightening method %q; there are %s", e.Text, strings.Join(e.Known, ", "))
}

// MethodByKey looks up a tightening method. It fails with an
// *UnknownMethodError.
func MethodByKey(key string) (TighteningMethod, error) {
	known := make([]string, 0, len(tighteningTable))
	for _, m := range tighteningTable {
		if m.Key == key {
			return m, nil
		}
		known = append(known, m.Key)
	}
	return TighteningMethod{}, &UnknownMethodError{Text: key, Known: known}
}

// PreloadInterval is the preload that may come out around a nominal one.
type PreloadInterval struct {
	Low, High Newtons
}

// Factor is the tightening factor αA, the largest over the smallest preload.
func (i PreloadInterval) Factor() float64 { return float64(i.High / i.Low) }

// Interval carries the worst published scatter of the method to a preload
// interval. Errors as in Scatter.
func (m TighteningMethod) Interval(nominal Newtons) (PreloadInterval, error) {
	return Scatter(nominal, m.High)
}

// Scatter is the interval F·(1 ± Γ) around a nominal preload. It fails with a
// *metrology.RangeError for a preload not above zero or a scatter outside 0 to
// 1.
func Scatter(nominal Newtons, gamma float64) (PreloadInterval, error) {
	if err := metrology.CheckPositive("preload", float64(nominal), "N"); err != nil {
		return PreloadInterval{}, err
	}
	if !(gamma >= 0 && gamma < 1) {
		return PreloadInterval{}, &metrology.RangeError{Field: "scatter of preload", Value: gamma, Allowed: "0 up to, not including, 1"}
	}
	return PreloadInterval{Low: nominal * Newtons(1-gamma), High: nominal * Newtons(1+gamma)}, nil
}

// LeastPreload is the smallest preload of a method with tightening factor αA
// whose largest is given, F_min = F_max/αA (VDI 2230). It fails with a
// *metrology.RangeError for a preload not above zero or a factor below 1.
func LeastPreload(largest Newtons, factor float64) (Newtons, error) {
	if err := metrology.CheckPositive("largest preload", float64(largest), "N"); err != nil {
		return 0, err
	}
	if err := metrology.CheckFinite("tightening factor", factor, ""); err != nil {
		return 0, err
	}
	if factor < 1 {
		return 0, &metrology.RangeError{Field: "tightening factor", Value: factor, Allowed: "1 or more"}
	}
	return largest / Newtons(factor), nil
}
