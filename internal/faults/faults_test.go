package main

import (
	"context"
	"testing"
	"time"
)

// TestFaults makes each fault a few times, on both engines; `make faults` makes them as
// often as a release needs. Those that need root, or a program of the system, fail
// without it.
func TestFaults(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Minute)
	g, err := newRig(ctx, rig{kills: 6, writers: 16, rounds: 2, entries: 200, seed: 8, engines: both, say: t.Logf})
	if err != nil {
		t.Fatal(err)
	}
	// After all that is parallel below.
	t.Cleanup(g.close)
	t.Cleanup(cancel)
	for _, f := range faults {
		for _, engine := range f.engines {
			t.Run(f.name+" "+engine, func(t *testing.T) {
				t.Parallel()
				one := *g
				one.say = t.Logf
				l := &line{Fault: f.name, Engine: engine}
				one.one(ctx, f, l)
				if l.Lost+l.Doubled > 0 {
					t.Errorf("%d lost, %d doubled", l.Lost, l.Doubled)
				}
				for _, p := range l.Problems {
					t.Error(p)
				}
				if l.Acknowledged == 0 || l.Checks == 0 || l.Rounds == 0 {
					t.Errorf("%d rounds, %d acknowledged, %d checks: nothing was tried", l.Rounds, l.Acknowledged, l.Checks)
				}
			})
		}
	}
}
