package sealing_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"jointledger/internal/sealing"
)

func at(t *testing.T, clock string) time.Time {
	t.Helper()
	got, err := time.Parse(time.RFC3339, "2026-03-02T"+clock+":00Z")
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// A night and a morning of our own. Dew points worked by hand with the WMO set:
// 3 °C, 90 % → 1.52; 6 °C, 90 % → 4.48; 10 °C, 70 % → 4.78; 12 °C, 60 % → 4.47.
func TestWindows(t *testing.T) {
	hours := []sealing.Hour{
		{At: at(t, "05:00"), Conditions: sealing.Conditions{Air: 3, Surface: measured(1), Humidity: 90}},  // cold, and below the dew point
		{At: at(t, "06:00"), Conditions: sealing.Conditions{Air: 3, Surface: measured(0), Humidity: 90}},  // the same, worse
		{At: at(t, "07:00"), Conditions: sealing.Conditions{Air: 6, Surface: measured(6), Humidity: 90}},  // warm, margin 1.52
		{At: at(t, "08:00"), Conditions: sealing.Conditions{Air: 10, Surface: measured(9), Humidity: 70}}, // good, margin 4.22
		{At: at(t, "09:00"), Conditions: sealing.Conditions{Air: 12, Humidity: 60}},                       // good, surface not given
		{At: at(t, "12:00"), Conditions: sealing.Conditions{Air: 12, Surface: measured(14), Humidity: 60}},
		{At: at(t, "12:30"), Conditions: sealing.Conditions{Air: 12, Surface: measured(5), Humidity: 60}}, // margin 0.53
	}
	o, err := sealing.Sonntag1990().Windows(hours, sealing.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	wantWindows := []struct {
		start, end string
		assumed    bool
		margin     float64
	}{{"08:00", "10:00", true, 4.22}, {"12:00", "12:30", false, 9.53}}
	if len(o.Windows) != len(wantWindows) {
		t.Fatalf("windows %+v", o.Windows)
	}
	for i, w := range wantWindows {
		got := o.Windows[i]
		if !got.Start.Equal(at(t, w.start)) || !got.End.Equal(at(t, w.end)) || got.SurfaceAssumed != w.assumed {
			t.Errorf("window %d: %+v, want %+v", i, got, w)
		}
		closeTo(t, "least margin", float64(got.LeastMargin), w.margin, 0.01)
	}

	wantClosures := []struct {
		start, end string
		limiting   sealing.Obstacle
		value      float64
		count      int
	}{
		// Surface 0 misses 4.4 by 4.4; its margin −1.52 misses 3 by 4.52.
		{"05:00", "07:00", sealing.NearDewPoint, -1.52, 3},
		{"07:00", "08:00", sealing.NearDewPoint, 1.52, 1},
		{"10:00", "12:00", sealing.NoData, 0, 1},
		{"12:30", "13:30", sealing.NearDewPoint, 0.53, 1},
	}
	if len(o.Closures) != len(wantClosures) {
		t.Fatalf("closures %+v", o.Closures)
	}
	for i, w := range wantClosures {
		got := o.Closures[i]
		if !got.Start.Equal(at(t, w.start)) || !got.End.Equal(at(t, w.end)) || got.Limiting().Obstacle != w.limiting || len(got.Reasons) != w.count {
			t.Errorf("closure %d: %+v, want %+v", i, got, w)
		}
		closeTo(t, "limiting value", got.Limiting().Value, w.value, 0.01)
	}
}

// The stretches of an outlook neither overlap nor leave holes.
func TestOutlookCoversTheTable(t *testing.T) {
	var hours []sealing.Hour
	start := at(t, "00:00")
	next := start
	for i := range 200 {
		hours = append(hours, sealing.Hour{
			At: next,
			Conditions: sealing.Conditions{
				Air: sealing.Celsius(i*7%25 - 3), Surface: measured(sealing.Celsius(i * 11 % 23)), Humidity: sealing.Percent(30 + i*13%70),
			},
		})
		next = next.Add(time.Duration(30+i%3*30) * time.Minute) // 30, 60 and 90 minutes apart
	}
	o, err := sealing.Bolton1980().Windows(hours, sealing.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	var covered time.Duration
	for _, w := range o.Windows {
		covered += w.End.Sub(w.Start)
	}
	for _, c := range o.Closures {
		covered += c.End.Sub(c.Start)
		if len(c.Reasons) == 0 {
			t.Errorf("closure %v without a reason", c)
		}
	}
	if want := hours[len(hours)-1].At.Add(time.Hour).Sub(start); covered != want {
		t.Errorf("covered %v of %v", covered, want)
	}
	if len(o.Windows) == 0 || len(o.Closures) == 0 {
		t.Error("the table was to hold both")
	}
}

func TestWindowsErrors(t *testing.T) {
	good := sealing.Conditions{Air: 12, Humidity: 60}
	_, err := sealing.Sonntag1990().Windows([]sealing.Hour{{At: at(t, "08:00"), Conditions: good}, {At: at(t, "08:00"), Conditions: good}}, sealing.DefaultLimits())
	var unordered *sealing.UnorderedHoursError
	if !errors.As(err, &unordered) || unordered.Row != 2 {
		t.Errorf("two rows of one time: %v", err)
	}
	bad := good
	bad.Humidity = 0
	_, err = sealing.Sonntag1990().Windows([]sealing.Hour{{At: at(t, "08:00"), Conditions: good}, {At: at(t, "09:00"), Conditions: bad}}, sealing.DefaultLimits())
	wantRangeError(t, err, "relative humidity")
	if !strings.HasPrefix(err.Error(), "row 2:") {
		t.Errorf("the row is not named: %v", err)
	}
	o, err := sealing.Sonntag1990().Windows(nil, sealing.DefaultLimits())
	if err != nil || len(o.Windows)+len(o.Closures) != 0 {
		t.Errorf("empty table: %+v, %v", o, err)
	}
}

func TestLastStart(t *testing.T) {
	w := sealing.Window{Start: at(t, "08:00"), End: at(t, "10:00")}
	if last, ok := w.LastStart(30 * time.Minute); !ok || !last.Equal(at(t, "09:30")) {
		t.Errorf("%v, %v", last, ok)
	}
	if last, ok := w.LastStart(2 * time.Hour); !ok || !last.Equal(at(t, "08:00")) {
		t.Errorf("%v, %v", last, ok)
	}
	if _, ok := w.LastStart(2*time.Hour + time.Second); ok {
		t.Error("a window of two hours holds no longer skin time")
	}
}
