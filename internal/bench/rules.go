package main

import (
	"context"
	"fmt"
	"time"
)

// measureRules measures what the server reaches with the rules, without them, and with
// an alarm rule besides.
func measureRules(ctx context.Context, e engine, span time.Duration) (figures []figure, err error) {
	var servers []*server
	var runners []runner
	for _, name := range []string{"served", "unjudged", "alarmed"} {
		c, err := e.database(ctx, "rules_"+name)
		if err != nil {
			return nil, err
		}
		c.Unjudged = name == "unjudged"
		v, err := startServer(ctx, name, c, name == "alarmed")
		if err != nil {
			return nil, err
		}
		defer v.stop(ctx)
		servers, runners = append(servers, v), append(runners, v.runner())
	}
	for _, m := range []struct {
		what          string
		clients, each int
	}{{"unary, 1 client", 1, 1}, {"unary, 64 clients", 64, 1}, {"batches of 100, 1 client", 1, 100}} {
		done, err := inTurns(ctx, runners, span, m.clients, m.each)
		if err != nil {
			return nil, err
		}
		served, unjudged, alarmed := done[0], done[1], done[2]
		f, a := served.figure(e.name, m.what), alarmed.figure(e.name, m.what+", alarm rule")
		over, alarmedOver := medianRatio(served, unjudged.speeds), medianRatio(alarmed, served.speeds)
		figures = append(figures, f.against("the server without the rules (median of pairs)", f.PerSecond/over, over, nil),
			a.against("the server without the alarm rule (median of pairs)", a.PerSecond/alarmedOver, alarmedOver, nil))
	}
	for _, v := range servers {
		report, err := v.store.Verify(ctx)
		if err != nil {
			return nil, err
		}
		if !report.OK() {
			return nil, fmt.Errorf("the record of %s does not verify after the load: %+v", v.name, report)
		}
	}
	return figures, nil
}
