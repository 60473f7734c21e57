package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/rpc"
	"jointledger/internal/service"
	"jointledger/internal/store"
)

const (
	// stopTime is how long calls that were accepted may take to finish.
	stopTime = 30 * time.Second
	// pingEvery and pingTime are how often the database is asked whether it
	// answers, and how long it may take.
	pingEvery = 10 * time.Second
	pingTime  = 5 * time.Second
)

type serveOptions struct {
	database
	listen            string
	tokenFile         string
	allowOpenListener bool
	logLevel          string
}

func serveCommand() *cobra.Command {
	var o serveOptions
	c := &cobra.Command{
		Use:   "serve",
		Short: "Serve the API",
		Long: `Serves the API until it gets SIGTERM or SIGINT, then finishes what it has
accepted and exits with status 0.

The embedded database is made on the first start, and backed up before it is
migrated. A PostgreSQL database must have been migrated with "trackerd migrate
up". When it is ready it prints one line, "listening on HOST:PORT"; the log goes
to standard error.

A listener that others can reach needs a token file; the transport is not
encrypted, so keep it inside a network that you trust.

` + exitCodesText,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			return o.run(c.Context(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	o.flags(c)
	c.Flags().StringVar(&o.listen, "listen", "127.0.0.1:7733", "`address` to listen on; port 0 takes a free one")
	c.Flags().StringVar(&o.tokenFile, "token-file", "", "`file` with the bearer token that clients must send; without it the server asks for none")
	c.Flags().BoolVar(&o.allowOpenListener, "allow-open-listener", false, "listen beyond this machine without a token: everybody who can reach the address can then write")
	c.Flags().StringVar(&o.logLevel, "log-level", "info", "least `level` that is logged: debug, info, warn or error")
	return c
}

func (o serveOptions) run(ctx context.Context, stdout, stderr io.Writer) error {
	var level slog.Level
	if err := level.UnmarshalText([]byte(o.logLevel)); err != nil {
		return usageError{fmt.Errorf("--log-level %q is none; expected debug, info, warn or error", o.logLevel)}
	}
	log := slog.New(slog.NewTextHandler(stderr, &slog.HandlerOptions{Level: level}))
	config, err := o.config(log)
	if err != nil {
		return err
	}
	token, err := readToken(o.tokenFile, log)
	if err != nil {
		return err
	}
	listener, err := o.listenOn(ctx, token != "", log)
	if err != nil {
		return err
	}
	defer listener.Close() //nolint:errcheck // the server closes it first
	s, err := store.Open(ctx, config)
	if err != nil {
		if ctx.Err() != nil {
			log.Info("stopped before it was ready")
			return nil
		}
		return err
	}
	err = serve(ctx, listener, s, token, log, stdout)
	// Everything acknowledged is durable already; this ends what is still going on.
	return errors.Join(err, s.Close())
}

// serve answers calls until the context ends or the listener fails.
func serve(ctx context.Context, l net.Listener, s *store.Store, token string, log *slog.Logger, stdout io.Writer) error {
	services := service.New(s, nil)
	server := rpc.NewServer(rpc.Config{Token: token, Logger: log, Register: services.Register})
	s.RunAlarms()
	defer readAhead(ctx, s, log)()
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(l) }()
	fmt.Fprintf(stdout, "listening on %s\n", l.Addr())

	tick := time.NewTicker(pingEvery)
	defer tick.Stop()
	reachable := true
	for {
		select {
		case err := <-failed:
			stop(server, services)
			return systemError{fmt.Errorf("the listener failed: %w", err)}
		case <-ctx.Done():
			log.Info("stopping: finishing what was accepted")
			stop(server, services)
			err := <-failed
			log.Info("stopped")
			return err
		case <-tick.C:
			if was := reachable; was != pinged(ctx, s, log) {
				reachable = !was
				log.Info("the database changed its state", "reachable", reachable)
				server.SetServing(reachable)
			}
		}
	}
}

// readAhead has the store read what questions will want, while the first calls are
// answered already. What it gives ends that and waits for it.
func readAhead(ctx context.Context, s *store.Store, log *slog.Logger) (end func()) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		start := time.Now()
		switch err := s.ReadAhead(ctx); {
		case err == nil:
			log.Debug("read ahead", "took", time.Since(start))
		case ctx.Err() == nil:
			log.Warn("what questions want can't be read ahead; the first of them reads it", "cause", err)
		}
	}()
	return func() {
		cancel()
		<-done
	}
}

func stop(server *rpc.Server, services *service.Services) {
	services.EndWatches()
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	server.Stop(ctx)
}

func pinged(ctx context.Context, s *store.Store, log *slog.Logger) bool {
	ctx, cancel := context.WithTimeout(ctx, pingTime)
	defer cancel()
	err := s.Ping(ctx)
	if err != nil {
		log.Warn("the database does not answer", "cause", err)
	}
	return err == nil
}
