package main

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"jointledger/internal/fleetgen"
	"jointledger/internal/store"
)

// Besides what fleetgen draws: a tower at each site that is still to be built.
const (
	openCells  = 6
	openJoints = 40 // in each of these cells
)

// reportFleet registers what the fleet needs through the store and puts the rest in;
// it gives the first day.
func reportFleet(ctx context.Context, engine string, c store.Config, db *sql.DB) (since string, err error) {
	now := time.Now().UTC()
	start := now.AddDate(0, 0, -fleetDays(reportAttempts, reportSites))
	f, err := fleetgen.New(fleetgen.Config{Seed: 1, Sites: reportSites, Crews: 1, Start: start, Attempts: reportAttempts})
	if err != nil {
		return "", err
	}
	if err := withStore(ctx, c, func(s *store.Store) error { return registerFleet(ctx, s, f, allAt(now.AddDate(0, -1, 0)), false) }); err != nil {
		return "", err
	}
	if err := loadAhead(ctx, engine, db, f); err != nil {
		return "", err
	}
	return start.Format(time.DateOnly), loadFleet(ctx, engine, db, f, 0)
}

// withStore opens a store for as long as f takes.
func withStore(ctx context.Context, c store.Config, f func(*store.Store) error) error {
	s, err := store.Open(ctx, c)
	if err != nil {
		return err
	}
	err = f(s)
	if closed := s.Close(); err == nil {
		err = closed
	}
	return err
}

// loadAhead puts in at each site a tower that is still to be built.
func loadAhead(ctx context.Context, engine string, db *sql.DB, f *fleetgen.Fleet) error {
	l, err := newFleetLoad(ctx, engine, db)
	if err != nil {
		return err
	}
	defer l.close()
	for _, s := range f.Sites() {
		for c := range openCells {
			for n := range openJoints {
				l.place(fleetgen.Joint{Site: s.Code, Tower: "AHEAD", Cell: fmt.Sprintf("C%d", c+1), Joint: fmt.Sprintf("J%03d", n+1),
					Kind: "structural", Material: fleetgen.MaterialStainless, Thread: "M10", Fasteners: 16}, true)
			}
		}
	}
	return l.end()
}
