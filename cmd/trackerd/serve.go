package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/garbage"
	"jointledger/internal/identity"
	"jointledger/internal/rpc"
	"jointledger/internal/service"
	"jointledger/internal/store"
)

const (
	// pingEvery and pingTime are how often the database is asked whether it
	// answers, and how long it may take.
	pingEvery = 10 * time.Second
	pingTime  = 5 * time.Second
)

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

On the first start it makes the principal "administrator" and writes its token into a
file (--admin-token-file). Every caller shows a credential ("trackerd token"). Only on a
listener that this machine alone reaches, and only until another principal is
registered, callers may show none, and may do everything; --ask-loopback asks them too.

A listener that others can reach needs a certificate (--tls-cert, --tls-key). It is
read again when its files change and on SIGHUP; files that can't be used leave the
old one in use.

` + settingsText + "\n\n" + exitCodesText,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			return o.run(c.Context(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	o.allFlags(c)
	return c
}

func (o *serveOptions) run(ctx context.Context, stdout, stderr io.Writer) error {
	defer garbage.Keep()()
	if err := o.complete(); err != nil {
		return err
	}
	if err := o.check(); err != nil {
		return err
	}
	log := o.logger(stderr)
	warnOfVariables(log)
	config, err := o.storeConfig(log)
	if err != nil {
		return err
	}
	r := &serving{serveOptions: o, log: log, stdout: stdout, hangUps: make(chan os.Signal, 1)}
	defer r.closeAll()
	// From here on: one that came before the server is ready must not end it.
	signal.Notify(r.hangUps, syscall.SIGHUP)
	defer signal.Stop(r.hangUps)
	if err := r.prepare(ctx); err != nil {
		return err
	}
	config.Observer = r.observer()
	r.folder = config.DataDir
	if r.store, err = store.Open(ctx, config); err != nil {
		if ctx.Err() != nil {
			log.Info("stopped before it was ready")
			return nil
		}
		return err
	}
	// Everything acknowledged is durable already; closing ends what is still going on.
	return errors.Join(r.serve(ctx), r.store.Close())
}

// serve answers calls until the context ends or a listener fails.
func (r *serving) serve(ctx context.Context) error {
	services := service.New(r.store, nil)
	who, err := r.identify(ctx, r.store, r.folder, r.token, r.loopback(), r.log)
	if err != nil {
		if ctx.Err() != nil {
			r.log.Info("stopped before it was ready")
			return nil
		}
		return err
	}
	server, err := r.server(services, who)
	if err != nil {
		return err
	}
	r.store.RunAlarms()
	defer readAhead(ctx, r.store, r.log)()
	failed, httpFailed := make(chan error, 1), make(chan error, 1)
	go func() { failed <- server.Serve(r.listener) }()
	if err := r.serveHTTP(server, httpFailed); err != nil {
		r.stop(server, services)
		<-failed
		return err
	}
	defer r.serveMetrics()()
	fmt.Fprintf(r.stdout, "listening on %s\n", r.listener.Addr())
	return r.untilStopped(ctx, server, services, failed, httpFailed)
}

// untilStopped looks after a server that runs, and stops it when the context ends or a
// listener has failed.
func (r *serving) untilStopped(ctx context.Context, server *rpc.Server, services *service.Services, failed, httpFailed <-chan error) error {
	tick := time.NewTicker(pingEvery)
	defer tick.Stop()
	reachable := true
	for {
		select {
		case err := <-failed:
			r.stop(server, services)
			return systemError{fmt.Errorf("the listener failed: %w", err)}
		case err := <-httpFailed:
			r.stop(server, services)
			<-failed
			return systemError{fmt.Errorf("the listener for HTTP failed: %w", err)}
		case <-ctx.Done():
			r.goOnAwhile(server)
			r.log.Info("stopping: finishing what was accepted")
			r.stop(server, services)
			err := <-failed
			r.log.Info("stopped")
			return err
		case <-r.hangUps:
			r.hangUp()
		case <-tick.C:
			if r.certificate != nil {
				r.certificate.Look() // also while nobody connects
			}
			if was := reachable; was != pinged(ctx, r.store, r.log) {
				reachable = !was
				r.log.Info("the database changed its state", "reachable", reachable)
				server.SetServing(reachable)
				r.metrics.Reachable(reachable)
			}
		}
	}
}

// server builds the gRPC server.
func (r *serving) server(services *service.Services, who *identity.Identity) (*rpc.Server, error) {
	return rpc.NewServer(rpc.Config{
		Authenticate: who.Authenticate, Audit: who.Audit,
		Logger: r.log, Observer: r.metrics, Quota: r.quota, Options: r.transport(),
		Register: services.Register,
	})
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

// goOnAwhile tells health checks that the server is going, and answers calls a little
// longer, so that a balancer sends them elsewhere before they would be refused. A second
// signal ends the process at once, as always.
func (r *serving) goOnAwhile(server *rpc.Server) {
	if r.stopDelay > 0 {
		server.SetServing(false)
		r.log.Info("stopping: health checks say no, calls are still answered", "for", r.stopDelay)
		time.Sleep(r.stopDelay)
	}
}

func (r *serving) stop(server *rpc.Server, services *service.Services) {
	services.EndWatches()
	ctx, cancel := context.WithTimeout(context.Background(), r.stopTime)
	defer cancel()
	r.stopHTTP(ctx)
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

// closing collects what is to be closed at the end, the last first.
type closing []func() error

func (c *closing) closeAll() {
	for i := len(*c) - 1; i >= 0; i-- {
		_ = (*c)[i]() // listeners that their servers have closed already say so
	}
}

func (c *closing) close(l net.Listener) { *c = append(*c, l.Close) }
