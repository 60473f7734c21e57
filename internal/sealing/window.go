package sealing

import (
	"fmt"
	"time"
)

// Hour is a row of an hourly table, forecast or measured. It stands for the
// hour that begins at its time, or until the next row when that comes sooner.
type Hour struct {
	At time.Time
	Conditions
}

// Window is a stretch of time in which nothing stands against sealing.
type Window struct {
	Start, End     time.Time
	SurfaceAssumed bool    // the surface was not given for some of it
	LeastMargin    Celsius // smallest margin of the surface over the dew point
}

// LastStart is the latest time to start so that the window still holds through
// the given skin time of the sealant; false when the window is too short.
func (w Window) LastStart(skin time.Duration) (time.Time, bool) {
	last := w.End.Add(-skin)
	return last, !last.Before(w.Start)
}

// Closure is a stretch of time in which sealing must wait, with one and the same
// set of obstacles. Each reason carries its worst figure; the limiting one comes
// first.
type Closure struct {
	Start, End time.Time
	Reasons    []Reason
}

// Limiting is the reason that misses its limit by most.
func (c Closure) Limiting() Reason { return c.Reasons[0] }

// Outlook divides the time of an hourly table into windows and closures.
type Outlook struct {
	Windows  []Window
	Closures []Closure
}

// UnorderedHoursError reports rows of an hourly table that are not in rising
// order of time.
type UnorderedHoursError struct{ Row int }

// Error names the row, counted from 1.
func (e *UnorderedHoursError) Error() string {
	return fmt.Sprintf("row %d is not later than the row before it", e.Row)
}

// Windows finds the sealing windows in an hourly table. A hole in the table
// longer than an hour after a row is a closure without data. It fails with an
// *UnorderedHoursError, or with a *metrology.RangeError as Assess does, wrapped
// in the number of the row; an empty table has no windows.
func (c Coefficients) Windows(hours []Hour, limits Limits) (Outlook, error) {
	var o Outlook
	for i, h := range hours {
		if i > 0 && !h.At.After(hours[i-1].At) {
			return Outlook{}, &UnorderedHoursError{Row: i + 1}
		}
		a, err := c.Assess(h.Conditions, limits)
		if err != nil {
			return Outlook{}, fmt.Errorf("row %d: %w", i+1, err)
		}
		end := h.At.Add(time.Hour)
		if i+1 < len(hours) && hours[i+1].At.Before(end) {
			end = hours[i+1].At
		}
		o.add(h.At, end, a)
		if i+1 < len(hours) && hours[i+1].At.After(end) {
			o.close(end, hours[i+1].At, []Reason{{Obstacle: NoData}})
		}
	}
	return o, nil
}

// add appends a stretch to the outlook, joined to the one before when nothing
// changes between them.
func (o *Outlook) add(start, end time.Time, a Assessment) {
	if !a.Go() {
		o.close(start, end, a.Reasons)
		return
	}
	if n := len(o.Windows); n > 0 && o.Windows[n-1].End.Equal(start) {
		w := &o.Windows[n-1]
		w.End = end
		w.SurfaceAssumed = w.SurfaceAssumed || a.SurfaceAssumed
		w.LeastMargin = min(w.LeastMargin, a.Margin)
		return
	}
	o.Windows = append(o.Windows, Window{Start: start, End: end, SurfaceAssumed: a.SurfaceAssumed, LeastMargin: a.Margin})
}

func (o *Outlook) close(start, end time.Time, reasons []Reason) {
	if n := len(o.Closures); n > 0 && o.Closures[n-1].End.Equal(start) {
		if worst, same := worstOf(o.Closures[n-1].Reasons, reasons); same {
			o.Closures[n-1].End = end
			o.Closures[n-1].Reasons = worst
			return
		}
	}
	o.Closures = append(o.Closures, Closure{Start: start, End: end, Reasons: append([]Reason(nil), reasons...)})
}

// worstOf takes the worse figure of each obstacle; false when the two sets of
// obstacles differ.
func worstOf(a, b []Reason) ([]Reason, bool) {
	if len(a) != len(b) {
		return nil, false
	}
	worst := append([]Reason(nil), a...)
	for i := range worst {
		found := false
		for _, r := range b {
			if r.Obstacle == worst[i].Obstacle {
				found = true
				if r.Shortfall() > worst[i].Shortfall() {
					worst[i] = r
				}
			}
		}
		if !found {
			return nil, false
		}
	}
	sortReasons(worst)
	return worst, true
}
