package analysis

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"jointledger/internal/sealing"
	"jointledger/internal/stats"
)

// LeakOptions says how sealings are looked at.
type LeakOptions struct {
	// Confidence of two-sided intervals, strictly between 0 and 1; 0.95 when 0.
	Confidence float64
	// ByPerson takes in who sealed.
	ByPerson bool
}

// LeakAnswer says under which conditions seals fail.
type LeakAnswer struct {
	Headline                  string
	Sealings, Failed, Tested  int64
	Joints, JointsNeverTested int64
	// JointsTestingUnknown were not tested as far as is on record, and for some
	// sealing of theirs it is not on record whether they were.
	JointsTestingUnknown                    int64
	RatePer1000, LowerPer1000, UpperPer1000 *float64
	Conditions                              []LeakCondition
	Model                                   *ModelAnswer // nil when none can be fitted
	Method, Assumption                      string
	Cautions                                []string
}

// LeakCondition is one condition of sealing with the rates by its bands.
type LeakCondition struct {
	// Name is that of its column, with the unit.
	Name string
	// Bands are lowest first, or in the order of their names; last is the one for
	// sealings of which the condition was not recorded, where there are such.
	Bands []LeakBand
	// PValue is Pearson's chi-square over the bands that were recorded; nil with
	// fewer than two, or when nothing or everything failed. PAdjusted is after
	// Benjamini and Hochberg over the conditions.
	PValue, PAdjusted *float64
	// Expected is the smallest count expected of equal rates.
	leastExpected float64
}

// LeakBand is the rate in one band; its lower end belongs to it, its upper one does
// not.
type LeakBand struct {
	Name string
	// From and To are nil where the band has no such end.
	From, To                                *float64
	NotRecorded                             bool
	Sealings, Failed                        int64
	RatePer1000, LowerPer1000, UpperPer1000 *float64
}

// leakNumber is a condition that is measured.
type leakNumber struct {
	name, words, unit string
	edges             []float64
	of                func(*LeakRow) *float64
}

// leakNumbers are the conditions that are measured. The first edges of surface and
// margin are the limits that sealing is judged by; the others are round figures.
func leakNumbers() []leakNumber {
	return []leakNumber{
		{"surface_c", "surface temperature", "°C", []float64{float64(sealing.MinimumTemperature), 10, 20, 30}, func(r *LeakRow) *float64 { return r.SurfaceCelsius }},
		{"dew_margin_c", "margin over the dew point", "°C", []float64{0, float64(sealing.MinimumDewMargin), 6, 10}, func(r *LeakRow) *float64 { return r.DewMarginCelsius }},
		{"hours_since_cleaning", "time since cleaning", "h", []float64{0.5, 1, 2, 4}, func(r *LeakRow) *float64 { return r.HoursSinceCleaning }},
	}
}

// leakWord is a condition that is told by a word.
type leakWord struct {
	name, words string
	of          func(*LeakRow) string
}

func leakWords(byPerson bool) []leakWord {
	all := []leakWord{
		{"splice", "splice", func(r *LeakRow) string { return r.Splice }},
		{"solvent", "solvent", func(r *LeakRow) string { return r.Solvent }},
	}
	if byPerson {
		all = append(all, leakWord{"person", "person", func(r *LeakRow) string { return r.Person }})
	}
	return all
}

// Leaks sets what became of sealings against the conditions that they were made
// under. Without sealings it says so. The error is a *stats.ArgumentError, for a
// confidence out of range or a condition that is no finite number.
func Leaks(rows []LeakRow, o LeakOptions) (LeakAnswer, error) {
	o.Confidence = cmp.Or(o.Confidence, 0.95)
	if _, err := stats.Proportion(0, 1, stats.Wilson, o.Confidence); err != nil {
		return LeakAnswer{}, err
	}
	if err := checkLeakRows(rows); err != nil {
		return LeakAnswer{}, err
	}
	a := LeakAnswer{}
	tested, unknown := map[string]bool{}, map[string]bool{}
	for i := range rows {
		r := &rows[i]
		a.Sealings++
		a.Failed += one(r.Failed)
		a.Tested += one(r.Tested)
		joint := r.Joint
		if joint == "" { // each stands for a joint of its own
			joint = "\x00" + strconv.Itoa(i)
		}
		tested[joint] = tested[joint] || r.Tested
		unknown[joint] = unknown[joint] || r.TestingUnknown
	}
	a.Joints = int64(len(tested))
	for joint, t := range tested {
		a.JointsNeverTested += one(!t && !unknown[joint])
		a.JointsTestingUnknown += one(!t && unknown[joint])
	}
	all := LeakBand{Sealings: a.Sealings, Failed: a.Failed}
	if err := all.rate(o.Confidence); err != nil {
		return LeakAnswer{}, err
	}
	a.RatePer1000, a.LowerPer1000, a.UpperPer1000 = all.RatePer1000, all.LowerPer1000, all.UpperPer1000
	if a.Sealings > 0 {
		if err := a.conditions(rows, o); err != nil {
			return LeakAnswer{}, err
		}
	}
	reason := a.model(rows, o)
	a.describe(rows, o, reason)
	return a, nil
}

func one(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

func checkLeakRows(rows []LeakRow) error {
	for i := range rows {
		for _, c := range leakNumbers() {
			if v := c.of(&rows[i]); v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
				return &stats.ArgumentError{Argument: c.name + " of row " + strconv.Itoa(i+1), Value: strconv.FormatFloat(*v, 'g', -1, 64), Requirement: "must be a finite number"}
			}
		}
	}
	return nil
}

func (b *LeakBand) rate(confidence float64) error {
	if b.Sealings == 0 {
		return nil
	}
	i, err := stats.Proportion(b.Failed, b.Sealings, stats.Wilson, confidence)
	if err != nil {
		return err
	}
	rate, lower, upper := 1000*float64(b.Failed)/float64(b.Sealings), 1000*i.Lower, 1000*i.Upper
	b.RatePer1000, b.LowerPer1000, b.UpperPer1000 = &rate, &lower, &upper
	return nil
}

// conditions sets the rates by bands and their tests.
func (a *LeakAnswer) conditions(rows []LeakRow, o LeakOptions) error {
	for _, c := range leakNumbers() {
		a.Conditions = append(a.Conditions, c.bands(rows))
	}
	for _, c := range leakWords(o.ByPerson) {
		a.Conditions = append(a.Conditions, c.bands(rows))
	}
	var p []float64
	var of []*LeakCondition
	for i := range a.Conditions {
		c := &a.Conditions[i]
		var table [][]int64
		var failed, sealings int64
		for k := range c.Bands {
			b := &c.Bands[k]
			if err := b.rate(o.Confidence); err != nil {
				return err
			}
			if !b.NotRecorded && b.Sealings > 0 {
				table = append(table, []int64{b.Failed, b.Sealings - b.Failed})
				failed, sealings = failed+b.Failed, sealings+b.Sealings
			}
		}
		if len(table) < 2 || failed == 0 || failed == sealings {
			continue
		}
		test, err := stats.AssociationTest(table)
		if err != nil {
			return err
		}
		value := test.Pearson.P
		c.PValue, c.leastExpected = &value, test.LeastExpected
		p, of = append(p, value), append(of, c)
	}
	adjusted, err := stats.BenjaminiHochberg(p)
	if err != nil {
		return err
	}
	for i, c := range of {
		c.PAdjusted = &adjusted[i]
	}
	return nil
}

// notRecorded ends the bands with what was not recorded, if there is such.
func notRecorded(bands []LeakBand, missing LeakBand) []LeakBand {
	if missing.Sealings == 0 {
		return bands
	}
	missing.Name, missing.NotRecorded = "not recorded", true
	return append(bands, missing)
}

func (b *LeakBand) add(r *LeakRow) {
	b.Sealings++
	b.Failed += one(r.Failed)
}

func (c leakNumber) bands(rows []LeakRow) LeakCondition {
	bands := make([]LeakBand, len(c.edges)+1)
	for i := range bands {
		figure := func(v float64) string { return strconv.FormatFloat(math.Round(10*v)/10, 'f', -1, 64) }
		switch {
		case i == 0:
			bands[i].To, bands[i].Name = &c.edges[0], "below "+figure(c.edges[0])+" "+c.unit
		case i == len(c.edges):
			bands[i].From, bands[i].Name = &c.edges[i-1], figure(c.edges[i-1])+" "+c.unit+" and above"
		default:
			bands[i].From, bands[i].To = &c.edges[i-1], &c.edges[i]
			bands[i].Name = figure(c.edges[i-1]) + " to " + figure(c.edges[i]) + " " + c.unit
		}
	}
	var missing LeakBand
	for i := range rows {
		v := c.of(&rows[i])
		if v == nil {
			missing.add(&rows[i])
			continue
		}
		place, exact := slices.BinarySearch(c.edges, *v)
		if exact {
			place++
		}
		bands[place].add(&rows[i])
	}
	return LeakCondition{Name: c.name, Bands: notRecorded(bands, missing)}
}

func (c leakWord) bands(rows []LeakRow) LeakCondition {
	levels := map[string]*LeakBand{}
	var names []string
	var missing LeakBand
	for i := range rows {
		word := c.of(&rows[i])
		if word == "" {
			missing.add(&rows[i])
			continue
		}
		if levels[word] == nil {
			levels[word] = &LeakBand{Name: word}
			names = append(names, word)
		}
		levels[word].add(&rows[i])
	}
	slices.Sort(names)
	var bands []LeakBand
	for _, n := range names {
		bands = append(bands, *levels[n])
	}
	return LeakCondition{Name: c.name, Bands: notRecorded(bands, missing)}
}
