package sequential

import (
	"errors"
	"math"
	"testing"

	"jointledger/internal/stats"
)

// NIST/SEMATECH e-Handbook, section 6.3.2.3, as in the reference statistics, P23.
func TestTabularMeans(t *testing.T) {
	x := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
		324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	high := []float64{0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035}
	low := []float64{0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.715, 0.1725, 0.255, 0.3125, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	steps, err := Means{Target: 325, Allowance: 0.3175, Interval: 4.1959}.Run(x)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range steps {
		if math.Abs(s.High-high[i]) > 1e-9 || math.Abs(s.Low-low[i]) > 1e-9 || s.Signal != (i >= 13) {
			t.Errorf("value %d: %+v, expected %v and %v", i+1, s, high[i], low[i])
		}
	}
}

// Worked by hand: a failure brings 10 points, an attempt takes 1, 25 signal.
func TestUpdate(t *testing.T) {
	p := Plan{Model: Bernoulli, InControl: 0.05, OutOfControl: 0.2, Look: 1, Gain: 10, Drift: 1, Threshold: 25}
	s := p.Begin()
	for i, c := range []struct {
		failures int64
		attempts float64
		points   float64
		since    int64
		signal   bool
	}{
		{0, 12, 0, 0, false}, {1, 4, 6, 1, false}, {0, 0, 6, 1, false}, {2, 7, 19, 2, false},
		{0, 18, 1, 3, false}, {0, 1, 0, 0, false}, {2, 2, 18, 1, false}, {1, 3, 0, 0, true}, {1, 1, 9, 1, false},
	} {
		next, signal, err := p.Update(s, c.failures, c.attempts)
		if err != nil {
			t.Fatal(err)
		}
		if next.Points != c.points || next.SinceRecords != c.since || (signal != nil) != c.signal {
			t.Errorf("record %d: %+v, signal %+v; expected %+v", i+1, next, signal, c)
		}
		if signal != nil && (*signal != Signal{Record: 8, Points: 25, SinceRecords: 2, SinceFailures: 3, SinceExposure: 5}) {
			t.Errorf("signal %+v", signal)
		}
		s = next
	}
	if s.Records != 9 || s.Signals != 1 {
		t.Errorf("state %+v", s)
	}
	p.KeepCounting = true
	kept, _, err := p.Update(State{Points: 24}, 1, 1)
	if err != nil || kept.Points != 33 {
		t.Errorf("kept on counting: %+v, %v", kept, err)
	}
}

func TestUpdateTakesExposureInParts(t *testing.T) {
	p := Plan{Model: Poisson, InControl: 0.1, OutOfControl: 0.3, Look: 7, Gain: 10, Drift: 14, Threshold: 30}
	s := State{Points: 20}
	for range 70 { // 0.1 has no exact binary form; 7 units of exposure take 14 points
		var err error
		if s, _, err = p.Update(s, 0, 0.1); err != nil {
			t.Fatal(err)
		}
	}
	if math.Abs(s.Points-6) > 1e-9 {
		t.Errorf("points %v, expected 6", s.Points)
	}
	if _, signal, err := p.Update(State{Points: 6 - 1e-10}, 3, 3); err != nil || signal == nil {
		t.Errorf("30 points but for rounding: signal %v, %v", signal, err)
	}
}

func TestRefuses(t *testing.T) {
	design := func(o DesignOptions) error { _, err := Design(o); return err }
	good := DesignOptions{Model: Bernoulli, InControl: 0.01, OutOfControl: 0.02, RunLength: 1000}
	plan, err := Design(good)
	if err != nil {
		t.Fatal(err)
	}
	with := func(change func(*DesignOptions)) error { o := good; change(&o); return design(o) }
	update := func(x int64, n float64) error { _, _, err := plan.Update(State{}, x, n); return err }
	broken := func(change func(*Plan)) error { q := plan; change(&q); _, err := q.RunLength(0.01); return err }
	nan := math.NaN()
	for name, err := range map[string]error{
		"no model":        with(func(o *DesignOptions) { o.Model = 0 }),
		"order":           with(func(o *DesignOptions) { o.OutOfControl = 0.01 }),
		"rate 0":          with(func(o *DesignOptions) { o.InControl = 0 }),
		"rate NaN":        with(func(o *DesignOptions) { o.InControl = nan }),
		"rate 1":          with(func(o *DesignOptions) { o.OutOfControl = 1 }),
		"too rare":        with(func(o *DesignOptions) { o.InControl = 1e-7 }),
		"too near":        with(func(o *DesignOptions) { o.OutOfControl = 0.0109 }),
		"beyond numbers":  func() error { _, err := bernoulli(2, 1, 3000, 0).RunLength(0.001); return err }(),
		"run length":      with(func(o *DesignOptions) { o.RunLength = nan }),
		"run length 5":    with(func(o *DesignOptions) { o.RunLength = 5 }),
		"look":            with(func(o *DesignOptions) { o.Look = 2 }),
		"x above n":       update(3, 2),
		"half an attempt": update(0, 1.5),
		"negative":        update(-1, 5),
		"attempts NaN":    update(0, nan),
		"gain":            broken(func(p *Plan) { p.Gain = 0 }),
		"drift":           broken(func(p *Plan) { p.Drift = p.Gain }),
		"start":           broken(func(p *Plan) { p.Start = p.Threshold }),
		"threshold":       broken(func(p *Plan) { p.Threshold = 0 }),
		"test order":      func() error { _, err := NewTest(Bernoulli, 0.1, 0.01, 0.05, 0.1); return err }(),
		"test risks":      func() error { _, err := NewTest(Bernoulli, 0.01, 0.1, 0.6, 0.5); return err }(),
		"means":           func() error { _, err := Means{Interval: 1}.Run([]float64{nan}); return err }(),
		"means deviation": func() error { _, err := Means{Interval: 1}.RunLength(0, 0); return err }(),
	} {
		var argument *stats.ArgumentError
		if !errors.As(err, &argument) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := (Plan{}).Update(State{}, 0, 1); err == nil {
		t.Error("the zero plan took a record in")
	}
}
