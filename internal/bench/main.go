package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"log"
	"os"
	"runtime/pprof"
	"strings"
	"text/tabwriter"
	"time"

	"jointledger/internal/pgcluster"
	"jointledger/internal/store"
)

// figure is one measurement and the limit it is held against.
type figure struct {
	Engine string `json:"engine"`
	What   string `json:"what"`
	// PerSecond are records (or calls) acknowledged per second.
	PerSecond float64 `json:"per_second"`
	P50Micros float64 `json:"p50_microseconds"`
	P99Micros float64 `json:"p99_microseconds"`
	// Limit names the raw limit measured in the same run; Ratio is PerSecond over
	// it, 0 for the limits themselves.
	Limit string  `json:"limit,omitempty"`
	Ratio float64 `json:"ratio,omitempty"`
}

func main() {
	log.SetFlags(0)
	engines := flag.String("engines", "sqlite,postgres", "which engines to measure")
	seconds := flag.Float64("seconds", 3, "how long each measurement runs")
	what := flag.String("what", "writes", "what to measure: writes, or due (what falls due among 100,000 tools)")
	jsonFile := flag.String("json", "", "write the figures to this file too")
	profile := flag.String("cpuprofile", "", "write a CPU profile of the whole run to this file")
	flag.Parse()
	if *profile != "" {
		f, err := os.Create(*profile)
		if err != nil {
			log.Fatal(err)
		}
		if err := pprof.StartCPUProfile(f); err != nil {
			log.Fatal(err)
		}
		defer pprof.StopCPUProfile()
	}
	ctx := context.Background()
	span := time.Duration(*seconds * float64(time.Second))

	if *what != "writes" && *what != "due" {
		log.Fatalf("-what: expected writes or due, got %q", *what)
	}
	var figures, empty []figure
	var err error
	if *what == "writes" {
		if empty, err = emptyCalls(ctx, span); err != nil {
			log.Fatal(err)
		}
		figures = append(figures, empty...)
	}
	for _, name := range strings.Split(*engines, ",") {
		measured, err := measureEngine(ctx, name, *what, span, empty)
		if err != nil {
			log.Fatalf("%s: %v", name, err)
		}
		figures = append(figures, measured...)
	}
	printTable(figures)
	if *jsonFile != "" {
		text, err := json.MarshalIndent(map[string]any{"figures": figures}, "", "  ")
		if err == nil {
			err = os.WriteFile(*jsonFile, append(text, '\n'), 0o644)
		}
		if err != nil {
			log.Fatal(err)
		}
	}
}

func printTable(figures []figure) {
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "engine\twhat\tper second\tp50 µs\tp99 µs\tof the limit\tlimit\t")
	for _, f := range figures {
		ratio := ""
		if f.Ratio > 0 {
			ratio = fmt.Sprintf("%.2f", f.Ratio)
		}
		fmt.Fprintf(w, "%s\t%s\t%.0f\t%.0f\t%.0f\t%s\t%s\t\n", f.Engine, f.What, f.PerSecond, f.P50Micros, f.P99Micros, ratio, f.Limit)
	}
	w.Flush()
}

// measureEngine measures one engine, on fresh databases for the limits and for
// the server alike.
func measureEngine(ctx context.Context, name, what string, span time.Duration, empty []figure) ([]figure, error) {
	var config func(string) (store.Config, error)
	switch name {
	case "sqlite":
		config = func(string) (store.Config, error) {
			dir, err := os.MkdirTemp("", "jointledger-bench-")
			return store.Config{DataDir: dir}, err
		}
	case "postgres":
		cluster, err := pgcluster.Start(ctx, pgcluster.Options{Durable: true})
		if err != nil {
			return nil, err
		}
		defer cluster.Stop()
		config = func(database string) (store.Config, error) {
			return store.Config{DSN: cluster.DSN(database)}, createDatabase(ctx, cluster.DSN("postgres"), database)
		}
	default:
		return nil, fmt.Errorf("there is no engine of this name; expected sqlite or postgres")
	}
	if what == "due" {
		c, err := config("due")
		if err != nil {
			return nil, err
		}
		return measureDue(ctx, name, c)
	}
	rawConfig, err := config("raw")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(rawConfig.DataDir)
	limits, err := rawInserts(ctx, name, rawConfig, span)
	if err != nil {
		return nil, fmt.Errorf("plain driver: %w", err)
	}
	served, err := measureServer(ctx, name, config, "served", false, span)
	if err != nil {
		return nil, err
	}
	unjudged, err := measureServer(ctx, name, config, "unjudged", true, span)
	if err != nil {
		return nil, err
	}
	return append(limits, compare(served, unjudged, limits, empty)...), nil
}

// measureServer measures the server on a fresh database, with or without the
// rules.
func measureServer(ctx context.Context, engine string, config func(string) (store.Config, error), database string, unjudged bool, span time.Duration) ([]figure, error) {
	c, err := config(database)
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(c.DataDir)
	c.Unjudged = unjudged
	figures, err := serverWrites(ctx, engine, c, span)
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	return figures, nil
}

// compare holds each figure of the server against the driver, against the empty
// call at the same number of clients, and against the server without the rules.
func compare(served, unjudged, limits, empty []figure) []figure {
	out := make([]figure, 0, 3*len(served))
	for i, f := range served {
		f.Limit, f.Ratio = "the server without the rules", f.PerSecond/unjudged[i].PerSecond
		out = append(out, f)
		f.Limit, f.Ratio = limits[i].What, f.PerSecond/limits[i].PerSecond
		out = append(out, f)
		if i < len(empty) {
			f.Limit, f.Ratio = empty[i].What, f.PerSecond/empty[i].PerSecond
			out = append(out, f)
		}
	}
	return out
}
