package main

import (
	"context"
	"database/sql"
	"fmt"
	"log"
	"os"
	"os/exec"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"jointledger/internal/store"
)

// Size of the fleet of the report, and the seconds that all its analyses may take
// together: the project's own mark.
const (
	reportSites    = 200
	reportAttempts = 10_000_000
	reportMark     = 5
	reportRounds   = 3
)

// reportLimit is what the report's analyses are held against.
const reportLimit = "bare sum over the tallies"

// measureReport measures all analyses of the manager's report over a fleet of 200
// sites and ten million fastener attempts, asked of the production server through
// the loopback interface: together, as many at a time as the client asks, and each
// alone. The rows are put in with the plain driver: only reading is timed. When client
// is the path of trackctl, its whole report is timed besides, the page included.
func measureReport(ctx context.Context, engine string, c store.Config, client string) ([]figure, error) {
	defer os.RemoveAll(c.DataDir)
	if _, _, err := store.MigrateUp(ctx, c); err != nil {
		return nil, err
	}
	db, err := rawOpen(engine, c)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	start := time.Now()
	since, err := reportFleet(ctx, engine, c, db)
	if err != nil {
		return nil, fmt.Errorf("the fleet of the report: %w", err)
	}
	log.Printf("%s: the fleet was put in within %.0f s", engine, time.Since(start).Seconds())
	s, err := store.Open(ctx, c)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	server, err := newServer(s)
	if err != nil {
		return nil, err
	}
	address, err := listen(server.Serve)
	if err != nil {
		return nil, err
	}
	defer server.Stop(ctx)
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	figures, err := reportFigures(ctx, engine, db, newReportQuestions(conn, since))
	if err == nil && client != "" {
		err = clientReport(ctx, engine, client, address, since)
	}
	return figures, err
}

// reportFigures times the questions together and each alone.
func reportFigures(ctx context.Context, engine string, db *sql.DB, q *reportQuestions) ([]figure, error) {
	start := time.Now()
	if err := q.askAll(ctx); err != nil {
		return nil, err
	}
	log.Printf("%s: the first time after the server's start, when it has still to read how far each joint has come: %.2f s", engine, time.Since(start).Seconds())
	taken, err := reportBest(reportRounds, func() error { return plainSum(ctx, db) }, func() error { return q.askAll(ctx) })
	if err != nil {
		return nil, err
	}
	plain, all := taken[0], taken[1]
	of := func(what string, d time.Duration) figure {
		return figure{Engine: engine, What: what, PerSecond: reportAttempts / d.Seconds(), P50Micros: micros(d), Limit: reportLimit, Ratio: plain.Seconds() / d.Seconds()}
	}
	figures := []figure{{Engine: engine, What: reportLimit, PerSecond: reportAttempts / plain.Seconds(), P50Micros: micros(plain)}, of("the report's analyses together", all)}
	log.Printf("%s: the report's analyses of %d sites and %d attempts took %.2f s together; the mark is %d s", engine, reportSites, reportAttempts, all.Seconds(), reportMark)
	for _, one := range q.each() {
		taken, err := reportBest(reportRounds, func() error { return one.ask(ctx) })
		if err != nil {
			return nil, fmt.Errorf("%s: %w", one.what, err)
		}
		log.Printf("%s: %s, alone: %.3f s", engine, one.what, taken[0].Seconds())
		figures = append(figures, of("report: "+one.what, taken[0]))
	}
	return figures, nil
}

// reportBest is how long each took at its best, taking turns.
func reportBest(rounds int, runs ...func() error) ([]time.Duration, error) {
	best := make([]time.Duration, len(runs))
	for round := range rounds {
		for i, run := range runs {
			start := time.Now()
			if err := run(); err != nil {
				return nil, err
			}
			if took := time.Since(start); round == 0 || took < best[i] {
				best[i] = took
			}
		}
	}
	return best, nil
}

// plainSum adds up all tallies, as anybody would write it, and requires that they are
// the fleet's.
func plainSum(ctx context.Context, db *sql.DB) error {
	var sum int64
	if err := db.QueryRowContext(ctx, "SELECT SUM(fasteners) FROM tallies").Scan(&sum); err != nil {
		return err
	}
	if sum != reportAttempts {
		return fmt.Errorf("the tallies add up to %d, expected %d", sum, reportAttempts)
	}
	return nil
}

// clientReport times the client's whole report.
func clientReport(ctx context.Context, engine, client, address, since string) error {
	file, err := os.CreateTemp("", "jointledger-report-*.html")
	if err != nil {
		return err
	}
	defer os.Remove(file.Name())
	file.Close()
	for range reportRounds {
		start := time.Now()
		cmd := exec.CommandContext(ctx, client, "--server", address, "report", "--all", "--since", since, "--out", file.Name())
		if said, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("%s: %w: %s", client, err, strings.TrimSpace(string(said)))
		}
		log.Printf("%s: trackctl report --all, page and all: %.2f s", engine, time.Since(start).Seconds())
	}
	return nil
}
