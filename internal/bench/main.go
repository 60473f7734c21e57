package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"log"
	"os"
	"runtime/pprof"
	"slices"
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
	what := flag.String("what", "writes", "what to measure: writes, due (what falls due among 100,000 tools), report (all analyses of the manager's report), carry (the data that a device carries of a large site), or partition (PostgreSQL's table of records in one and in partitions)")
	client := flag.String("trackctl", "", "with -what report: the path of trackctl, to time its whole report too")
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

	if !slices.Contains([]string{"writes", "due", "report", "carry", "partition"}, *what) {
		log.Fatalf("-what: expected writes, due, report, carry or partition, got %q", *what)
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
		measured, err := measureEngine(ctx, name, *what, *client, span, empty)
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
func measureEngine(ctx context.Context, name, what, client string, span time.Duration, empty []figure) ([]figure, error) {
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
	if what == "report" {
		c, err := config("report")
		if err != nil {
			return nil, err
		}
		return measureReport(ctx, name, c, client)
	}
	if what == "carry" {
		c, err := config("carry")
		if err != nil {
			return nil, err
		}
		return measureCarry(ctx, name, c)
	}
	if what == "partition" {
		c, err := config("partition")
		if err != nil {
			return nil, err
		}
		return measurePartition(ctx, name, c, span)
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
	served, err := servedWrites(ctx, name, config, span)
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	return append(limits, compare(served, limits, empty)...), nil
}

// compare holds each figure of the server against the same server without the rules
// and with an alarm rule besides, against the driver, and against the empty call at
// the same number of clients.
func compare(served []pairedFigure, limits, empty []figure) []figure {
	out := make([]figure, 0, 4*len(served))
	for i, s := range served {
		f := s.figure
		f.Limit, f.Ratio = "the server without the rules (median of pairs)", s.overUnjudged
		out = append(out, f)
		a := s.alarmed
		a.Limit, a.Ratio = "the server without the alarm rule (median of pairs)", s.alarmedOver
		out = append(out, a)
		f.Limit, f.Ratio = limits[i].What, f.PerSecond/limits[i].PerSecond
		out = append(out, f)
		if i < len(empty) {
			f.Limit, f.Ratio = empty[i].What, f.PerSecond/empty[i].PerSecond
			out = append(out, f)
		}
	}
	return out
}
