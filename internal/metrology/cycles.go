package metrology

import (
	"fmt"
	"math"
	"time"
)

// ForecastWindow is how far back use is averaged when the end of an interval in
// cycles is forecast.
const ForecastWindow = 28 * 24 * time.Hour

// Use is one recorded use of a tool since its last calibration; one fastener is
// one cycle.
type Use struct {
	At        time.Time
	Fasteners int
}

// CycleUse is the use of a tool since its last calibration.
type CycleUse struct {
	// Since is the last calibration. When it lies inside the forecast window,
	// use is averaged over the time since then and not over the whole window,
	// so that a tool fresh from the laboratory is not forecast too late. The
	// zero time leaves the window whole.
	Since time.Time
	Uses  []Use // in order of time
	AsOf  time.Time
}

// CyclesDue says when an interval in cycles ends.
type CyclesDue struct {
	Used    int       // cycles up to the as-of time
	Reached bool      // the interval is used up
	At      time.Time // when it was reached or will be; zero without recent use
	PerDay  float64   // mean use per day; 0 without recent use
}

// Known tells whether there is a time at all: reached, or forecast.
func (c CyclesDue) Known() bool { return !c.At.IsZero() }

// UnorderedUsesError reports uses that are not in order of time.
type UnorderedUsesError struct{ Index int }

// Error names the first use that is earlier than the one before it.
func (e *UnorderedUsesError) Error() string {
	return fmt.Sprintf("use %d is earlier than the use before it", e.Index)
}

// Due says when the interval of the given number of cycles ends. If the uses up
// to the as-of time already reach it, that is the time of the use that did. If
// not, the rest is forecast from the mean use per day over the last 28 days
// before the as-of time; without use in them there is no forecast. Uses after
// the as-of time do not count. It fails with a *RangeError for an interval below
// one cycle or a negative number of fasteners, and with an *UnorderedUsesError.
func (u CycleUse) Due(interval int) (CyclesDue, error) {
	if interval < 1 {
		return CyclesDue{}, &RangeError{Field: "interval", Value: float64(interval), Allowed: "1 cycle or more"}
	}
	var due CyclesDue
	recent := 0
	start, days := u.window()
	for i, use := range u.Uses {
		if use.Fasteners < 0 {
			return CyclesDue{}, &RangeError{Field: "fasteners", Value: float64(use.Fasteners), Allowed: "0 or more"}
		}
		if i > 0 && use.At.Before(u.Uses[i-1].At) {
			return CyclesDue{}, &UnorderedUsesError{Index: i}
		}
		if use.At.After(u.AsOf) {
			continue
		}
		due.Used += use.Fasteners
		if due.Used >= interval && !due.Reached {
			due.Reached, due.At = true, use.At
		}
		if use.At.After(start) {
			recent += use.Fasteners
		}
	}
	due.PerDay = float64(recent) / days
	if due.Reached || recent == 0 {
		return due, nil
	}
	due.At = forecast(u.AsOf, float64(interval-due.Used)/due.PerDay)
	return due, nil
}

// window gives the start of the time that use is averaged over and its length
// in days, at least one.
func (u CycleUse) window() (start time.Time, days float64) {
	start = u.AsOf.Add(-ForecastWindow)
	if u.Since.After(start) {
		length := math.Max(1, u.AsOf.Sub(u.Since).Hours()/24)
		return u.Since.Add(-time.Nanosecond), length
	}
	return start, ForecastWindow.Hours() / 24
}

// forecast adds days to an instant, to the second; whole days apart, because a
// tool hardly used may be centuries from its limit and a duration ends at 292
// years.
func forecast(from time.Time, days float64) time.Time {
	whole := math.Floor(days)
	rest := time.Duration((days - whole) * float64(24*time.Hour)).Round(time.Second)
	return from.UTC().Add(rest).AddDate(0, 0, int(whole)).In(from.Location())
}

// Earlier is the due time of a tool with an interval in months and one in
// cycles: whichever comes first. A zero time is no due time.
func Earlier(calendar, cycles time.Time) time.Time {
	if calendar.IsZero() || (!cycles.IsZero() && cycles.Before(calendar)) {
		return cycles
	}
	return calendar
}
