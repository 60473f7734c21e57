package main

import (
	"context"
	"fmt"
	"time"

	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"jointledger/internal/pgcluster"
)

// silentPatience is how long a writer waits where PostgreSQL is silent: longer than a
// server holds a group and those behind it, so that it hears what the server says.
const silentPatience = 150 * time.Second

// silentSentences are what a server may say of a PostgreSQL that does not answer, or whose
// line broke.
var silentSentences = []string{silentSentence, lostSentence, hungSentence, strangersSentence}

// strangersSentence is said where a server has not been able to read for some seconds who
// may do what (docs/operating.md, "Who may do what").
const strangersSentence = "who may do what can't be read now: the database does not answer; try again"

// The ways in which the line to PostgreSQL fails, in turn. The last takes a minute and
// more, and is made from four rounds on.
const (
	standsStill = iota // for seconds, and goes on where it stood
	thenBreaks         // stands still for seconds, then all connections are reset
	breaks             // all connections are reset at once
	staysSilent        // until writers are told that the database hangs
)

const waysOfSilence = staysSilent + 1

// databaseSilent has the line between two servers and PostgreSQL stand still and break
// under writers: both ways, or only what PostgreSQL answers to a commit and after it, so
// that it is made and the server never hears of it. The servers must hold their writers for a bounded time,
// say so, and go on without a restart.
func databaseSilent(ctx context.Context, g *rig, l *line) error {
	s := &stage{rig: g, draw: g.draw(7000), line: l}
	defer s.close()
	if err := s.makeCluster(ctx, pgcluster.Options{}); err != nil {
		return err
	}
	r, err := newRelay(s.cluster.Host())
	if err != nil {
		return err
	}
	defer r.close()
	s.data = database{dsn: "postgres://jl@" + r.address() + "/postgres?sslmode=disable"}
	if err := s.start(ctx, 2); err != nil {
		return err
	}
	if err := s.writeWith(g.writers, 7000, silentPatience); err != nil {
		return err
	}
	var longest time.Duration
	for range g.rounds {
		l.Rounds++
		held, err := s.silentRound(ctx, r)
		if err != nil {
			return fmt.Errorf("round %d: %w", l.Rounds, err)
		}
		longest = max(longest, held)
	}
	s.load.answers.onlyThese("a silent database", silentSentences, l)
	if longest > 0 {
		l.Note = fmt.Sprintf("while PostgreSQL was silent writers were told so after %s at most", longest.Round(time.Second))
	}
	return s.finish(ctx)
}

// silentRound makes the line fail in one way, and looks that writing goes on. It gives how
// long it took until a writer was told, where that was waited for.
func (s *stage) silentRound(ctx context.Context, r *relay) (held time.Duration, err error) {
	if err := s.load.answers.more(int64(s.rig.writers), s.servers[0].done); err != nil {
		return 0, err
	}
	time.Sleep(between(s.draw, 10*time.Millisecond, 300*time.Millisecond))
	answersOnly := s.draw.IntN(2) == 0
	switch (s.line.Rounds - 1) % waysOfSilence {
	case standsStill:
		r.standStill(answersOnly)
		time.Sleep(between(s.draw, time.Second, 3*time.Second))
		r.goOn()
	case thenBreaks:
		r.standStill(answersOnly)
		time.Sleep(between(s.draw, time.Second, 3*time.Second))
		r.reset()
		r.goOn()
	case breaks:
		r.reset()
	case staysSilent:
		began := time.Now()
		r.standStill(answersOnly)
		if err := s.toldOfSilence(ctx); err != nil {
			return 0, err
		}
		held = time.Since(began)
		if s.draw.IntN(2) == 0 {
			r.reset()
		}
		r.goOn()
	}
	for i, one := range s.servers {
		if err := one.stillRuns(); err != nil {
			return 0, err
		}
		if err := s.healthy(ctx, i, healthpb.HealthCheckResponse_SERVING); err != nil {
			return 0, err
		}
	}
	if err := s.load.answers.more(int64(s.rig.writers), s.servers[0].done); err != nil {
		return 0, fmt.Errorf("after the line went on: %w", err)
	}
	return held, nil
}

// toldOfSilence waits until health checks say no and a writer was told. That comes by the
// server's own bound: the line is silent until then.
func (s *stage) toldOfSilence(ctx context.Context) error {
	before := s.load.answers.refused()
	for i := range s.servers {
		if err := s.healthy(ctx, i, healthpb.HealthCheckResponse_NOT_SERVING); err != nil {
			return err
		}
	}
	for deadline := time.Now().Add(patience); s.load.answers.refused() == before; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			return fmt.Errorf("with PostgreSQL silent, no writer was told so within %s", patience)
		}
	}
	s.line.Checks++
	return nil
}

// healthy waits until the health check of a server says so.
func (s *stage) healthy(ctx context.Context, server int, want healthpb.HealthCheckResponse_ServingStatus) error {
	conn, err := dial(s.servers[server].address, s.token)
	if err != nil {
		return err
	}
	defer conn.Close()
	var last string
	for deadline := time.Now().Add(patience); time.Now().Before(deadline); time.Sleep(100 * time.Millisecond) {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		answer, err := healthpb.NewHealthClient(conn).Check(ctx, &healthpb.HealthCheckRequest{})
		if last = fmt.Sprint(answer.GetStatus(), err); err == nil && answer.Status == want {
			s.line.Checks++
			return nil
		}
	}
	return fmt.Errorf("health checks did not say %s within %s; the last said %s", want, patience, last)
}
