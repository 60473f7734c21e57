package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"jointledger/internal/pgcluster"
)

// migrateAtOnce is how many processes migrate one database at once.
const migrateAtOnce = 8

// startTogether starts four to eight servers at once on one database that has nothing in
// it, in every second round after some were killed while they made it.
func startTogether(ctx context.Context, g *rig, l *line) error {
	var cluster *pgcluster.Cluster
	if l.Engine == "postgres" {
		var err error
		if cluster, err = pgcluster.Start(ctx, pgcluster.Options{Durable: g.durable}); err != nil {
			return err
		}
		defer cluster.Stop()
	}
	for n := range g.rounds {
		l.Rounds++
		if err := g.startRound(ctx, l, cluster, n); err != nil {
			return fmt.Errorf("round %d: %w", l.Rounds, err)
		}
	}
	return nil
}

func (g *rig) startRound(ctx context.Context, l *line, cluster *pgcluster.Cluster, n int) error {
	s := &stage{rig: g, draw: g.draw(uint64(1000 + n)), line: l}
	defer s.close()
	servers, broken := 4+s.draw.IntN(5), n%2 == 1
	if cluster == nil {
		var err error
		if s.data.folder, err = g.subfolder("data"); err != nil {
			return err
		}
		if broken {
			if err := g.killStarting(s, "serve", "--listen", "127.0.0.1:0"); err != nil {
				return err
			}
		}
	} else {
		name := fmt.Sprintf("round_%d", n)
		if err := cluster.Run(ctx, "CREATE DATABASE "+name); err != nil {
			return err
		}
		s.data.dsn = cluster.DSN(name)
		if err := g.migrateRound(ctx, s, servers, broken); err != nil {
			return err
		}
	}
	if err := s.startAtOnce(servers); err != nil {
		return err
	}
	if err := g.register(ctx, s.servers[0].address); err != nil {
		return err
	}
	if err := s.write(g.writers, uint64(1000+n)); err != nil {
		return err
	}
	for range 3 {
		if err := s.load.answers.more(40, nil); err != nil {
			return err
		}
		if err := s.servers[s.draw.IntN(servers)].stillRuns(); err != nil {
			return err
		}
	}
	return s.finish(ctx)
}

// startAtOnce starts servers at the same moment; each must come to listen.
func (s *stage) startAtOnce(n int) error {
	addresses := make([]string, n)
	for i := range addresses {
		var err error
		if addresses[i], err = freeAddress(s.draw); err != nil {
			return err
		}
	}
	started, failures := make([]*server, n), make([]error, n)
	var group sync.WaitGroup
	for i := range n {
		group.Go(func() { started[i], failures[i] = s.rig.serve(s.how, s.data, addresses[i], s.flags...) })
	}
	group.Wait()
	for _, one := range started {
		if one != nil {
			s.servers = append(s.servers, one)
		}
	}
	s.line.Checks++
	return errors.Join(failures...)
}

// stillRuns says how a server ended that should not have.
func (s *server) stillRuns() error {
	select {
	case <-s.done:
		return fmt.Errorf("trackerd ended by itself: %w; %s", s.err, s.log)
	default:
		return nil
	}
}

// killStarting starts four of a command that makes the database, and kills them wherever
// they are.
func (g *rig) killStarting(s *stage, args ...string) error {
	var group sync.WaitGroup
	failures := make([]error, 4)
	for i := range failures {
		after := between(s.draw, 5*time.Millisecond, 300*time.Millisecond)
		group.Go(func() {
			cmd := g.command(launch{}, "trackerd", append(args, s.data.flags()...)...)
			if failures[i] = cmd.Start(); failures[i] != nil {
				return
			}
			time.Sleep(after)
			_ = cmd.Process.Kill() // it may have ended
			_ = cmd.Wait()
		})
	}
	group.Wait()
	s.line.Kills += len(failures)
	return errors.Join(failures...)
}

// migrateRound asks servers to serve an empty database of PostgreSQL, which they must
// refuse, and many processes to migrate it at once: one does, and the others find it done.
func (g *rig) migrateRound(ctx context.Context, s *stage, servers int, broken bool) error {
	var group sync.WaitGroup
	failures := make([]error, servers)
	for i := range failures {
		group.Go(func() {
			one, err := g.serve(launch{}, s.data, "127.0.0.1:0")
			if err == nil {
				one.end()
			}
			var early *endedEarly
			if !errors.As(err, &early) || early.code != exitNotUsable || !strings.Contains(early.log, "run `trackerd migrate up` first") {
				failures[i] = fmt.Errorf("serve on an empty database: %w; expected status %d and what to run first", err, exitNotUsable)
			}
		})
	}
	group.Wait()
	if err := errors.Join(failures...); err != nil {
		return err
	}
	if broken {
		if err := g.killStarting(s, "migrate", "up"); err != nil {
			return err
		}
	}
	said, codes := make([]string, migrateAtOnce), make([]int, migrateAtOnce)
	for i := range said {
		group.Go(func() { codes[i], said[i] = g.trackerd(ctx, s.data, "migrate", "up") })
	}
	group.Wait()
	migrated := 0
	for i, text := range said {
		if codes[i] != 0 {
			s.line.problems.add("migrate up at once with others: status %d; %s", codes[i], text)
		}
		if strings.HasPrefix(text, "migrated") {
			migrated++
		}
	}
	if migrated > 1 || migrated == 0 && !broken {
		s.line.problems.add("%d of %d say that they migrated: %q", migrated, migrateAtOnce, said)
	}
	if code, text := g.trackerd(ctx, s.data, "migrate", "status"); code != 0 || !strings.Contains(text, "up to date") {
		s.line.problems.add("migrate status: %d; %s", code, text)
	}
	s.line.Checks += 3
	return nil
}
