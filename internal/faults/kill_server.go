package main

import (
	"context"
	"fmt"
	"time"
)

// callPatience is how long a writer waits for an answer before it asks again.
const callPatience = 30 * time.Second

// killsOfStage is how many kills one database sees before it is checked and another is
// begun: what is wrong is found near where it came from.
const killsOfStage = 100

// killServer ends servers by SIGKILL under writers, a moment after each answers, and
// starts them again. On PostgreSQL two servers share the database, of which one is killed
// at a time, and with every tenth a process of PostgreSQL besides.
func killServer(ctx context.Context, g *rig, l *line) error {
	for done := 0; done < g.kills; {
		n := min(killsOfStage, g.kills-done)
		if err := g.killStage(ctx, l, n); err != nil {
			return fmt.Errorf("in the stage after %d kills: %w", done, err)
		}
		done += n
		g.say("%s %s: %d of %d kills, %d acknowledged, %d lost, %d doubled, %d problems", l.Fault, l.Engine, done, g.kills, l.Acknowledged, l.Lost, l.Doubled, l.problems.count)
	}
	return nil
}

func (g *rig) killStage(ctx context.Context, l *line, kills int) error {
	servers := 1
	if l.Engine == "postgres" {
		servers = 2
	}
	l.Rounds++
	s, err := g.open(ctx, l, uint64(l.Rounds), "", servers, launch{})
	if err != nil {
		return err
	}
	defer s.close()
	if err := s.write(g.writers, uint64(l.Rounds)); err != nil {
		return err
	}
	for i := range kills {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		victim := s.draw.IntN(servers)
		// It must have taken something, or kills would only be met at the start.
		if err := s.load.answers.more(8, s.servers[victim].done); err != nil {
			return fmt.Errorf("%w; refusals: %v; what it did: %s", err, s.load.answers.allRefusals(), s.servers[victim].stacks())
		}
		time.Sleep(between(s.draw, 200*time.Millisecond, time.Second))
		if s.cluster != nil && i%10 == 9 {
			if err := s.cluster.KillBackend(s.draw.IntN(100)); err != nil {
				return err
			}
			l.Backends++
		}
		if err := s.servers[victim].kill(); err != nil {
			return err
		}
		l.Kills++
		if err := s.again(victim); err != nil {
			return err
		}
	}
	return s.finish(ctx)
}
