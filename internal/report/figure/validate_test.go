package figure

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Each thing that cannot be drawn is refused by the name of its field.
func TestValidateNamesTheField(t *testing.T) {
	nan := math.NaN()
	forest := func(change func(*Forest)) Figure {
		f := &Forest{Caption: said, Of: "lots", Measure: "ratio", Confidence: 0.95, Rows: []ForestRow{{Name: "a", Value: ptr(1.0)}, {Name: "b", Value: ptr(2.0)}}}
		change(f)
		return f
	}
	chart := func(p ControlPoint, c *ControlChange) Figure {
		return &ControlChart{Caption: said, Of: "x", Kind: "p chart", Measure: "rate", Points: []ControlPoint{{Label: "0"}, p}, Change: c}
	}
	week := []CoverageWeek{{"2026-W12", "2026-03-16"}}
	for want, f := range map[string]Figure{
		"finding: ":            forest(func(f *Forest) { f.Finding = " " }),
		"confidence: ":         forest(func(f *Forest) { f.Confidence = 1 }),
		"reference: ":          forest(func(f *Forest) { f.Reference = &nan }),
		"rows[1].name: ":       forest(func(f *Forest) { f.Rows[1].Name = "" }),
		"rows[1].value: ":      forest(func(f *Forest) { f.Rows[1].Value = ptr(math.Inf(1)) }),
		"rows[0].lower: ":      forest(func(f *Forest) { f.Rows[0].Lower = ptr(1.5) }),
		"rows[0].upper: ":      forest(func(f *Forest) { f.Rows[0].Upper = ptr(0.5) }),
		"rows[0].attempts: ":   forest(func(f *Forest) { f.Rows[0].Attempts = -1 }),
		"rows[0]: ":            forest(func(f *Forest) { f.Ratio, f.Rows[0].Lower = true, ptr(-1.0) }),
		"points[0].precision":  &Funnel{Caption: said, Of: "s", Measure: "m", Precision: "p", Points: []FunnelPoint{{Name: "a"}}},
		"points[0].sigma":      &Funnel{Caption: said, Of: "s", Measure: "m", Precision: "p", Points: []FunnelPoint{{Name: "a", Precision: 1, Sigma: 1}}},
		"points[0].value":      &Funnel{Caption: said, Of: "s", Measure: "m", Precision: "p", Points: []FunnelPoint{{Name: "a", Precision: 1, Value: nan}}},
		"limits[0]: ":          &Funnel{Caption: said, Of: "s", Measure: "m", Precision: "p", Limits: []FunnelLimit{{1, 0, 1, 0.5, 2}}},
		"points[1].beyond":     chart(ControlPoint{Label: "1", Value: 3, Upper: ptr(2.0)}, nil),
		"points[1].lower: ":    chart(ControlPoint{Label: "1", Value: 3, Lower: ptr(5.0), Upper: ptr(4.0)}, nil),
		"change.first_after: ": chart(ControlPoint{Label: "1"}, &ControlChange{FirstAfter: "0"}),
		"change.before: ":      chart(ControlPoint{Label: "1"}, &ControlChange{FirstAfter: "1", Before: nan}),
		"kinds[0].count: ":     &Pareto{Caption: said, Of: "i", Kinds: []ParetoKind{{"a", -1}}},
		"age_bounds_days: ":    &Holds{Caption: said, AgeBounds: []int{30, 7}},
		"rules[0].by_age: ":    &Holds{Caption: said, AgeBounds: []int{7}, Rules: []HoldsRule{{Name: "a", ByAge: []int64{1}}}},
		"weeks[0].monday: ":    &Coverage{Caption: said, Weeks: []CoverageWeek{{"w", "16.3.2026"}}},
		"sites[0].weeks: ":     &Coverage{Caption: said, Weeks: week, Sites: []CoverageSite{{Name: "a"}}},
		"sites[0].weeks[0].joints_open: ": &Coverage{Caption: said, Weeks: week, Sites: []CoverageSite{
			{Name: "a", Weeks: []CoverageCell{{Joints: 1, Open: 2}}}}},
		"items[0].need: ":    &Spares{Caption: said, ServiceLevel: 0.9, Items: []SparesItem{{Fastener: "a", Remaining: 3, Need: ptr(int64(2))}}},
		"items[0].run_out: ": &Spares{Caption: said, ServiceLevel: 0.9, Items: []SparesItem{{Fastener: "a", RunOut: ptr(1.1)}}},
		"sites[0].whole: ":   &Progress{Caption: said, Of: "j", Sites: []ProgressSite{{Name: "a", Done: []ProgressPoint{{"2026-01-01", 0}}}}},
		"sites[0].done[1]: ": &Progress{Caption: said, Of: "j", Sites: []ProgressSite{{Name: "a", Whole: 9, Done: []ProgressPoint{{"2026-01-01", 3}, {"2026-01-02", 2}}}}},
		"sites[0].forecast: ": &Progress{Caption: said, Of: "j", Sites: []ProgressSite{{Name: "a", Whole: 9, Done: []ProgressPoint{{"2026-01-01", 3}},
			Forecast: &ProgressForecast{From: "2026-01-05", Earliest: "2026-01-04", Expected: "2026-01-06", Confidence: 0.9}}}},
	} {
		err := f.Validate()
		if e := (*FieldError)(nil); !errors.As(err, &e) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%v; want %s", err, want)
		}
	}
	if err := forest(func(*Forest) {}).Validate(); err != nil {
		t.Error(err)
	}
}

func TestNumbers(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 4.9: "4.9", 4.8765: "4.88", 0.03: "0.03", 123.4: "123", 999.6: "1,000", 1234567: "1,234,567", -2.5: "−2.5", 0.0000123: "1.23e-05", 1: "1", 100: "100", 10: "10"} {
		if got := Number(v); got != want {
			t.Errorf("%g became %q, want %q", v, got, want)
		}
	}
	for v, want := range map[float64]string{0: "0 %", 0.004: "<1 %", 0.95: "95 %", 0.999: ">99 %", 1: "100 %"} {
		if got := Percent(v); got != want {
			t.Errorf("%g became %q, want %q", v, got, want)
		}
	}
}
