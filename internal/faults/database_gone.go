package main

import (
	"context"
	"fmt"
	"time"

	"jointledger/internal/pgcluster"
)

// databaseGone ends PostgreSQL under writers of two servers, in each of its manners in
// turn, and starts it again a moment later. The servers must go on without a restart.
func databaseGone(ctx context.Context, g *rig, l *line) error {
	s, err := g.open(ctx, l, 2000, "", 2, launch{})
	if err != nil {
		return err
	}
	defer s.close()
	if err := s.write(g.writers, 2000); err != nil {
		return err
	}
	for range g.rounds {
		l.Rounds++
		if err := s.load.answers.more(int64(g.writers), s.servers[0].done); err != nil {
			return fmt.Errorf("before round %d: %w", l.Rounds, err)
		}
		time.Sleep(between(s.draw, 100*time.Millisecond, 500*time.Millisecond))
		manner := []pgcluster.Manner{pgcluster.Fast, pgcluster.Immediate, pgcluster.Killed}[l.Rounds%3]
		if err := s.cluster.Halt(manner); err != nil {
			return err
		}
		if manner == pgcluster.Killed {
			l.Kills++
			l.Backends++
		}
		time.Sleep(between(s.draw, 300*time.Millisecond, 2*time.Second))
		resume, cancel := context.WithTimeout(ctx, patience)
		err := s.cluster.Resume(resume)
		cancel()
		if err != nil {
			return fmt.Errorf("starting PostgreSQL again: %w", err)
		}
		for _, one := range s.servers {
			if err := one.stillRuns(); err != nil {
				return err
			}
		}
	}
	if err := s.load.answers.more(int64(g.writers), s.servers[0].done); err != nil {
		return fmt.Errorf("after the last round: %w", err)
	}
	return s.finish(ctx)
}
