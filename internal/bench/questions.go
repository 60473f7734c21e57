package main

import (
	"context"
	"errors"
	"fmt"
	"log"
	"slices"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/types/known/durationpb"

	"jointledger/internal/fleetgen"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// The fleets of the standard questions: sites, lots and tools are those of every size,
// few enough that the smallest has used each, so that all answers are as long; a larger
// one has only worked for longer.
const (
	questionSites      = 12
	questionCrew       = 3
	questionDeliveries = 1
	fleetDeliveries    = 4 // lots of a kind that a pool of sites has
	questionAsked      = 40
	questionMark       = 1.5 // times as long as of the smallest fleet
)

// standardQuestion is a question of the day.
type standardQuestion struct {
	what string
	ask  func(context.Context) error
}

// standardQuestions are the rate questions of a manager and the list of a crib.
func standardQuestions(conn *grpc.ClientConn) []standardQuestion {
	rates := pb.NewAnalysisServiceClient(conn)
	by := func(g pb.Grouping) func(context.Context) error {
		return func(ctx context.Context) error {
			got, err := rates.QueryRates(ctx, &pb.QueryRatesRequest{Kinds: []pb.IncidentKind{pb.IncidentKind_INCIDENT_KIND_GALLING}, GroupBy: []pb.Grouping{g}})
			if err == nil && len(got.Groups) == 0 {
				err = fmt.Errorf("no rate by %v", g)
			}
			return err
		}
	}
	return []standardQuestion{
		{"galling rate by lot", by(pb.Grouping_GROUPING_LOT)},
		{"galling rate by site", by(pb.Grouping_GROUPING_SITE)},
		{"due within 30 days", func(ctx context.Context) error {
			_, err := rates.ListDueItems(ctx, dueWithin30Days())
			return err
		}},
	}
}

func dueWithin30Days() *pb.ListDueItemsRequest {
	return &pb.ListDueItemsRequest{Within: durationpb.New(30 * 24 * time.Hour)}
}

// questionFleet is a server over a fleet of one size.
type questionFleet struct {
	attempts  int
	questions []standardQuestion
	stop      func()
}

// measureQuestions measures the standard questions through the production server and the
// loopback interface, of each fleet in turn, and holds each against the same question of
// the smallest fleet.
func measureQuestions(ctx context.Context, e engine, sizes []int) ([]figure, error) {
	var fleets []*questionFleet
	defer func() {
		for _, f := range fleets {
			f.stop()
		}
	}()
	for _, attempts := range sizes {
		f, err := startQuestions(ctx, e, attempts)
		if err != nil {
			return nil, fmt.Errorf("%s attempts: %w", grouped(attempts), err)
		}
		fleets = append(fleets, f)
	}
	var figures []figure
	for q := range fleets[0].questions {
		taken := make([][]time.Duration, len(fleets))
		// The first answers are those of a server that has something to read yet.
		for round := range questionAsked + 3 {
			for turn := range fleets {
				i := (round + turn) % len(fleets)
				start := time.Now()
				if err := fleets[i].questions[q].ask(ctx); err != nil {
					return nil, err
				}
				if round >= 3 {
					taken[i] = append(taken[i], time.Since(start))
				}
			}
		}
		var smallest figure
		for i, f := range fleets {
			slices.Sort(taken[i])
			p50 := median(taken[i])
			one := figure{Engine: e.name, What: fmt.Sprintf("%s, %s attempts", f.questions[q].what, grouped(f.attempts)), PerSecond: 1 / p50.Seconds(), P50Micros: micros(p50), P99Micros: micros(taken[i][len(taken[i])*99/100])}
			if i == 0 {
				smallest = one
			} else {
				one = one.against(smallest.What, smallest.P50Micros, one.P50Micros/smallest.P50Micros, atMost(questionMark))
			}
			figures = append(figures, one)
		}
	}
	return figures, nil
}

// startQuestions makes a fleet of so many attempts and serves it.
func startQuestions(ctx context.Context, e engine, attempts int) (*questionFleet, error) {
	c, err := e.database(ctx, fmt.Sprintf("questions%d", attempts))
	if err != nil {
		return nil, err
	}
	f := &questionFleet{attempts: attempts, stop: func() { e.drop(c) }}
	if err := fillQuestions(ctx, e.name, c, attempts); err != nil {
		f.stop()
		return nil, err
	}
	s, err := store.Open(ctx, c)
	if err != nil {
		f.stop()
		return nil, err
	}
	server, err := newServer(s)
	if err != nil {
		s.Close()
		f.stop()
		return nil, err
	}
	f.stop = func() {
		server.Stop(ctx)
		s.Close()
		e.drop(c)
	}
	address, err := listen(server.Serve)
	if err != nil {
		f.stop()
		return nil, err
	}
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		f.stop()
		return nil, err
	}
	f.questions = standardQuestions(conn)
	if err := s.ReadAhead(ctx); err != nil {
		return f, err
	}
	// A list with nothing in it would be no question.
	due, err := pb.NewAnalysisServiceClient(conn).ListDueItems(ctx, dueWithin30Days())
	if err == nil && len(due.Items) == 0 {
		err = errors.New("nothing is due")
	}
	return f, err
}

func fillQuestions(ctx context.Context, engine string, c store.Config, attempts int) error {
	now := time.Now().UTC()
	f, err := fleetgen.New(fleetgen.Config{Seed: 2, Sites: questionSites, Crews: questionCrew, Deliveries: questionDeliveries,
		Start: now.AddDate(0, 0, -fleetDays(attempts, questionSites*questionCrew)), Attempts: attempts})
	if err != nil {
		return err
	}
	if err := withStore(ctx, c, func(s *store.Store) error { return registerFleet(ctx, s, f, monthByMonth(now), false) }); err != nil {
		return err
	}
	db, err := rawOpen(engine, c)
	if err != nil {
		return err
	}
	defer db.Close()
	start := time.Now()
	if err := loadFleet(ctx, engine, db, f, 0); err != nil {
		return err
	}
	log.Printf("%s: %s attempts were put in within %.1f s", engine, grouped(attempts), time.Since(start).Seconds())
	return nil
}

// askThrice asks each question three times: what the server keeps for it is there then.
func askThrice(ctx context.Context, questions []standardQuestion) error {
	for _, q := range questions {
		for range 3 {
			if err := q.ask(ctx); err != nil {
				return fmt.Errorf("%s: %w", q.what, err)
			}
		}
	}
	return nil
}
