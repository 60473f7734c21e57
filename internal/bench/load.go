package main

import (
	"context"
	"slices"
	"sync"
	"time"
)

// load runs call from so many clients at once for the span and sums up: each
// call acknowledges `each` records.
func load(ctx context.Context, span time.Duration, clients, each int, call func(ctx context.Context, client, n int) error) (figure, error) {
	taken, elapsed, err := timed(ctx, span, clients, call)
	if err != nil {
		return figure{}, err
	}
	return summed(taken, elapsed, each), nil
}

// timed runs call from so many clients at once for the span and gives how long each
// call took, and how long all of it.
func timed(ctx context.Context, span time.Duration, clients int, call func(ctx context.Context, client, n int) error) ([]time.Duration, time.Duration, error) {
	deadline := time.Now().Add(span)
	taken := make([][]time.Duration, clients)
	errs := make([]error, clients)
	var wg sync.WaitGroup
	start := time.Now()
	for c := range clients {
		wg.Go(func() {
			for n := 0; time.Now().Before(deadline); n++ {
				t := time.Now()
				if errs[c] = call(ctx, c, n); errs[c] != nil {
					return
				}
				taken[c] = append(taken[c], time.Since(t))
			}
		})
	}
	wg.Wait()
	elapsed := time.Since(start)
	var all []time.Duration
	for c := range clients {
		if errs[c] != nil {
			return nil, 0, errs[c]
		}
		all = append(all, taken[c]...)
	}
	return all, elapsed, nil
}

// summed makes a figure of calls that acknowledged `each` records.
func summed(all []time.Duration, elapsed time.Duration, each int) figure {
	slices.Sort(all)
	micros := func(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }
	return figure{
		PerSecond: float64(len(all)*each) / elapsed.Seconds(),
		P50Micros: micros(all[len(all)/2]),
		P99Micros: micros(all[min(len(all)-1, len(all)*99/100)]),
	}
}
