package analysis

import (
	"cmp"
	"slices"
	"strconv"
	"time"

	"jointledger/internal/sealing"
)

// LeakQuery says which sealings count.
type LeakQuery struct {
	// Filters by site, region, person or month: values of the same grouping are
	// alternatives, different groupings must all match.
	Filters []GroupValue
	// StartDay and EndDay are as in CountQuery, of the day of sealing.
	StartDay, EndDay string
}

// SealedJoint is one sealing on record that was not corrected.
type SealedJoint struct {
	Joint int
	Site  string
	// Day is the local day, counted from 1970-01-01; At when it was done.
	Day int
	At  time.Time
	// CleanTime is when the flanges were cleaned; zero when not known.
	CleanTime                                   time.Time
	AirCelsius, SurfaceCelsius, HumidityPercent *float64
	Splice, Solvent, Person                     string
	// Counts says that the sealing is asked about; others only end the time in which
	// an outcome belongs to the one before.
	Counts bool
}

// SealOutcome is what was found on a joint: a leak or seal-gap incident, or a leak
// test.
type SealOutcome struct {
	Joint int
	At    time.Time
	// Failed is false for a leak test that passed.
	Failed bool
	// Test says that it was a leak test.
	Test bool
}

// LeakRow is one sealing with its conditions and what became of it.
type LeakRow struct {
	// Joint names the joint, Place and day the work that shares weather and batch;
	// either may be empty.
	Joint, Cluster string
	// SurfaceCelsius, DewMarginCelsius and HoursSinceCleaning are nil when not
	// recorded. The margin is of the surface over the dew point.
	SurfaceCelsius, DewMarginCelsius, HoursSinceCleaning *float64
	// Splice, Solvent and Person are empty when not recorded.
	Splice, Solvent, Person string
	Failed, Tested          bool
	// TestingUnknown says that it is not on record whether the joint was tested.
	TestingUnknown bool
}

// LeakRows puts sealings and what was found together: an outcome belongs to the
// last sealing of its joint before it, or at the same moment. The rows are in the
// order of joint and time.
func LeakRows(sealings []SealedJoint, outcomes []SealOutcome) []LeakRow {
	sealings, outcomes = slices.Clone(sealings), slices.Clone(outcomes)
	slices.SortStableFunc(sealings, func(a, b SealedJoint) int { return cmp.Or(cmp.Compare(a.Joint, b.Joint), a.At.Compare(b.At)) })
	slices.SortStableFunc(outcomes, func(a, b SealOutcome) int { return cmp.Or(cmp.Compare(a.Joint, b.Joint), a.At.Compare(b.At)) })
	var rows []LeakRow
	next := 0
	for i, s := range sealings {
		for next < len(outcomes) && (outcomes[next].Joint < s.Joint || outcomes[next].Joint == s.Joint && outcomes[next].At.Before(s.At)) {
			next++
		}
		row := s.row()
		last := i+1 == len(sealings) || sealings[i+1].Joint != s.Joint
		for next < len(outcomes) && outcomes[next].Joint == s.Joint && (last || outcomes[next].At.Before(sealings[i+1].At)) {
			row.Failed = row.Failed || outcomes[next].Failed
			row.Tested = row.Tested || outcomes[next].Test
			next++
		}
		if s.Counts {
			rows = append(rows, row)
		}
	}
	return rows
}

func (s *SealedJoint) row() LeakRow {
	r := LeakRow{
		Joint: strconv.Itoa(s.Joint), Cluster: s.Site + " " + PeriodName(ByDay, s.Day),
		SurfaceCelsius: s.SurfaceCelsius, Splice: s.Splice, Solvent: s.Solvent, Person: s.Person,
	}
	if s.AirCelsius != nil && s.HumidityPercent != nil && s.SurfaceCelsius != nil {
		r.DewMarginCelsius = DewMargin(*s.AirCelsius, *s.SurfaceCelsius, *s.HumidityPercent)
	}
	if !s.CleanTime.IsZero() {
		// Cleaned afterwards is a slip of the pen, and no time since.
		if hours := s.At.Sub(s.CleanTime).Hours(); hours >= 0 {
			r.HoursSinceCleaning = &hours
		}
	}
	return r
}

// DewMargin is the surface temperature less the dew point, °C, by Magnus's formula
// with the coefficients of sealing.Sonntag1990; nil where it cannot be had.
func DewMargin(airCelsius, surfaceCelsius, humidityPercent float64) *float64 {
	surface := sealing.Celsius(surfaceCelsius)
	margin, err := sealing.Sonntag1990().SurfaceMargin(sealing.Conditions{
		Air: sealing.Celsius(airCelsius), Surface: &surface, Humidity: sealing.Percent(humidityPercent),
	})
	if err != nil {
		return nil
	}
	m := float64(margin)
	return &m
}
