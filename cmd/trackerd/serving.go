package main

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	"jointledger/cmd/trackerd/certificate"
	"jointledger/cmd/trackerd/metrics"
	"jointledger/cmd/trackerd/tracing"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
)

// serving is one run of serve: what it made of its settings.
type serving struct {
	*serveOptions
	closing
	log    *slog.Logger
	stdout io.Writer
	// hangUps are the signals to read anew what may have been replaced.
	hangUps chan os.Signal
	store   *store.Store
	// folder is that of the embedded database; empty for PostgreSQL.
	folder string
	token  string
	// certificate is nil without TLS; scrapes and traces are nil where none are wanted.
	certificate *certificate.Source
	listener    net.Listener
	scrapes     net.Listener
	http        *overHTTP
	metrics     *metrics.Metrics
	traces      *tracing.Traces
}

// prepare does all that needs no database, so that a start which can't succeed leaves
// none behind.
func (r *serving) prepare(ctx context.Context) (err error) {
	r.metrics = metrics.New(buildVersion(), rpc.APIVersion())
	if r.token, err = readToken(r.tokenFile, r.log); err != nil {
		return err
	}
	if err := r.openCertificate(); err != nil {
		return err
	}
	if r.listener, err = r.listenOn(ctx, "listen", r.listen, r.log); err != nil {
		return err
	}
	r.close(r.listener)
	if err := r.openHTTP(ctx); err != nil {
		return err
	}
	if r.metricsListen != "" {
		if r.scrapes, err = r.listenOn(ctx, "metrics-listen", r.metricsListen, r.log); err != nil {
			return err
		}
		r.close(r.scrapes)
	}
	return r.startTraces(ctx)
}

// openCertificate reads the certificate of the listeners, where there is to be one.
func (r *serving) openCertificate() (err error) {
	if r.tlsCert == "" {
		return nil
	}
	files := certificate.Files{Certificate: r.tlsCert, Key: r.tlsKey, ClientCA: r.tlsClientCA, Least: r.leastTLS()}
	if r.certificate, err = certificate.Open(files, r.log); err != nil {
		return configError{err}
	}
	r.metrics.CertificateExpires(r.certificate.Expires)
	return nil
}

// tlsConfig is the configuration of a listener's TLS; nil for plaintext.
func (r *serving) tlsConfig(protocols ...string) *tls.Config {
	if r.certificate == nil {
		return nil
	}
	return r.certificate.Config(protocols...)
}

func (r *serving) startTraces(ctx context.Context) (err error) {
	if !tracing.Wanted(os.Getenv) {
		return nil
	}
	if r.traces, err = tracing.Start(ctx, buildVersion(), r.log); err != nil {
		return configError{err}
	}
	r.closing = append(r.closing, func() error {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		return r.traces.Stop(ctx)
	})
	return nil
}

// transport are the options of the gRPC server's transport.
func (r *serving) transport() []grpc.ServerOption {
	var options []grpc.ServerOption
	if c := r.tlsConfig("h2"); c != nil {
		options = append(options, grpc.Creds(credentials.NewTLS(c)))
	}
	if r.traces != nil {
		options = append(options, r.traces.ServerOption())
	}
	return options
}

// hangUp reads anew what may be replaced while the server runs.
func (r *serving) hangUp() {
	if r.certificate == nil {
		r.log.Info("SIGHUP: there is no certificate to read anew")
		return
	}
	r.certificate.Reload()
}

// observer measures the store, and follows it where traces are wanted.
func (r *serving) observer() store.Observer {
	if r.traces == nil {
		return r.metrics
	}
	return traced{r.metrics, r.traces}
}

type traced struct {
	*metrics.Metrics
	traces *tracing.Traces
}

// Transaction measures and follows.
func (t traced) Transaction(ctx context.Context, kind string, begun time.Time, err error) {
	t.Metrics.Transaction(ctx, kind, begun, err)
	t.traces.Transaction(ctx, kind, begun, err)
}

// serveMetrics answers scrapes until what it gives is called.
func (r *serving) serveMetrics() (end func()) {
	if r.scrapes == nil {
		return func() {}
	}
	pages := http.NewServeMux()
	pages.Handle("GET /metrics", r.metrics.Handler())
	server := &http.Server{
		Handler: pages, TLSConfig: r.tlsConfig("h2", "http/1.1"), ErrorLog: slog.NewLogLogger(r.log.Handler(), slog.LevelDebug),
		ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		serve := server.Serve
		if server.TLSConfig != nil {
			serve = func(l net.Listener) error { return server.ServeTLS(l, "", "") }
		}
		if err := serve(r.scrapes); !errors.Is(err, http.ErrServerClosed) {
			r.log.Error("the listener for metrics failed; calls are still answered", "cause", err)
		}
	}()
	r.log.Info("metrics", "address", r.scrapes.Addr().String())
	return func() {
		_ = server.Close() // a scrape that is cut off comes again
		<-done
	}
}
