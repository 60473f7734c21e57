package main

import (
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"net"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"jointledger/internal/rpc"
	"jointledger/internal/store"
)

// serveOptions are the flags of serve.
type serveOptions struct {
	database
	listen         string
	allowPlaintext bool
	tlsCert        string
	tlsKey         string
	tlsClientCA    string
	tlsMin         string
	tokenFile      string
	metricsListen  string
	logLevel       string
	logFormat      string
	quota          rpc.Quota
	postgres       postgresOptions
	identityOptions
	httpOptions
	stopDelay time.Duration
	stopTime  time.Duration
}

// postgresOptions are the flags that only PostgreSQL knows.
type postgresOptions struct {
	readDSN                                                        string
	readStaleness, statementTimeout, lockTimeout, idleTransactions time.Duration
}

func (p *postgresOptions) flags(f *pflag.FlagSet) {
	f.StringVar(&p.readDSN, "read-dsn", "", "`connection string` of a PostgreSQL standby, which answers questions whose callers accept a state that is a little old")
	f.DurationVar(&p.readStaleness, "read-staleness", 30*time.Second, "how `old` the standby's state may be at most; beyond it the primary is asked")
	f.DurationVar(&p.statementTimeout, "statement-timeout", 2*time.Minute, "how `long` PostgreSQL lets a statement read; below 0 for ever")
	f.DurationVar(&p.lockTimeout, "lock-timeout", 10*time.Second, "how `long` PostgreSQL lets a statement wait for a lock; below 0 for ever")
	f.DurationVar(&p.idleTransactions, "idle-transaction-timeout", 30*time.Second, "how `long` PostgreSQL leaves a transaction open in which nothing happens; below 0 for ever")
}

// storeConfig is the store's configuration for a server.
func (o *serveOptions) storeConfig(log *slog.Logger) (store.Config, error) {
	c, err := o.config(log)
	if err != nil {
		return c, err
	}
	p := o.postgres
	c.ReadStaleness, c.StatementTimeout, c.LockTimeout, c.IdleTransactionTimeout = p.readStaleness, p.statementTimeout, p.lockTimeout, p.idleTransactions
	// A standby that was said with less weight than the folder counts as little as the
	// connection string that it belongs to.
	if c.DSN != "" || o.given("read-dsn") >= o.given("data") {
		c.ReadDSN = p.readDSN
	}
	return c, nil
}

// allFlags are the flags of serve, each a setting (config.go).
func (o *serveOptions) allFlags(c *cobra.Command) {
	o.flags(c)
	f := c.Flags()
	o.postgres.flags(f)
	o.identityFlags(f)
	o.httpFlags(f)
	f.StringVar(&o.listen, "listen", "127.0.0.1:7733", "`address` to listen on; port 0 takes a free one")
	f.BoolVar(&o.allowPlaintext, "allow-plaintext", false, "listen beyond this machine without TLS: everybody on the way can read and change what passes, tokens too")
	f.StringVar(&o.tlsCert, "tls-cert", "", "PEM `file` with the certificate chain of the listener, its own certificate first; read again when it changes, and on SIGHUP")
	f.StringVar(&o.tlsKey, "tls-key", "", "PEM `file` with the private key of the certificate")
	f.StringVar(&o.tlsClientCA, "tls-client-ca", "", "PEM `file` of the authorities whose client certificates are accepted")
	f.StringVar(&o.tlsMin, "tls-min", "1.3", "lowest `version` of TLS: 1.3, or 1.2 for old clients")
	f.StringVar(&o.tokenFile, "token-file", "", "`file` with one bearer token that stands for an administrator, without anybody being registered: the simple way, for one or two people")
	f.StringVar(&o.metricsListen, "metrics-listen", "", "`address` of a listener for Prometheus, at /metrics; none unless given")
	f.StringVar(&o.logLevel, "log-level", "info", "least `level` that is logged: debug, info, warn or error")
	f.StringVar(&o.logFormat, "log-format", "text", "`form` of the log: text or json, an object a line")
	f.Float64Var(&o.quota.Rate, "rate", 5000, "how many calls a second a principal may make on average; 0 for no bound")
	f.IntVar(&o.quota.Burst, "rate-burst", 10000, "how many calls a principal may make at once, beyond the rate")
	f.IntVar(&o.quota.Concurrent, "concurrent-calls", 512, "how many calls a principal may have under way; 0 for no bound")
	f.DurationVar(&o.stopDelay, "stop-delay", 0, "when asked to stop, go on for so `long` while health checks say no, so that a balancer looks elsewhere first")
	f.DurationVar(&o.stopTime, "stop-time", 30*time.Second, "how `long` calls that were accepted may take to finish when the server stops")
}

// check looks at every setting that can be judged by itself.
func (o *serveOptions) check() error {
	var level slog.Level
	switch {
	case level.UnmarshalText([]byte(o.logLevel)) != nil:
		return o.wrong("log-level", "expected debug, info, warn or error, got %q", o.logLevel)
	case o.logFormat != "text" && o.logFormat != "json":
		return o.wrong("log-format", "expected text or json, got %q", o.logFormat)
	case o.tlsMin != "1.2" && o.tlsMin != "1.3":
		return o.wrong("tls-min", "expected 1.2 or 1.3, got %q", o.tlsMin)
	case o.tlsCert == "" != (o.tlsKey == ""):
		return configError{fmt.Errorf("tls-cert and tls-key belong together: give both or neither")}
	case o.tlsClientCA != "" && o.tlsCert == "":
		return configError{fmt.Errorf("tls-client-ca needs tls-cert and tls-key: certificates of clients are shown over TLS")}
	case o.quota.Rate < 0 || o.quota.Rate > 1e9 || o.quota.Rate != o.quota.Rate:
		return o.wrong("rate", "expected calls a second from 0 to 1e9, got %g", o.quota.Rate)
	case o.quota.Burst < 1:
		return o.wrong("rate-burst", "expected at least 1, got %d", o.quota.Burst)
	case o.quota.Concurrent < 0:
		return o.wrong("concurrent-calls", "expected 0 or more, got %d", o.quota.Concurrent)
	case o.postgres.readStaleness <= 0:
		return o.wrong("read-staleness", "expected a time above 0, got %s", o.postgres.readStaleness)
	case o.stopDelay < 0:
		return o.wrong("stop-delay", "expected 0 or more, got %s", o.stopDelay)
	case o.stopTime <= 0:
		return o.wrong("stop-time", "expected a time above 0, got %s", o.stopTime)
	}
	if err := o.issuer.Check(); err != nil {
		return configError{err}
	}
	for _, of := range []struct{ flag, address string }{{"listen", o.listen}, {"http-listen", o.httpListen}, {"metrics-listen", o.metricsListen}} {
		if _, _, err := net.SplitHostPort(of.address); err != nil && of.address != "" {
			return o.wrong(of.flag, "expected HOST:PORT, such as 127.0.0.1:7733, got %q", of.address)
		}
	}
	return nil
}

// wrong says what is wrong with a setting, by the name it was given under: a flag is
// the command line's fault, all else the configuration's.
func (o *serveOptions) wrong(flag, format string, args ...any) error {
	problem := fmt.Sprintf(format, args...)
	switch from := o.from[flag]; from.rank {
	case inEnvironment:
		return configError{fmt.Errorf("%s: %s", from.name, problem)}
	case inFile:
		return configError{fmt.Errorf("%s: %s: %s", from.name, keyOf(flag), problem)}
	default: // the others go on below
	}
	return usageError{fmt.Errorf("--%s: %s", flag, problem)}
}

// logger makes the log; check has seen its settings.
func (o *serveOptions) logger(w io.Writer) *slog.Logger {
	var level slog.Level
	_ = level.UnmarshalText([]byte(o.logLevel))
	options := &slog.HandlerOptions{Level: level}
	if o.logFormat == "json" {
		return slog.New(slog.NewJSONHandler(w, options))
	}
	return slog.New(slog.NewTextHandler(w, options))
}

func (o *serveOptions) leastTLS() uint16 {
	if o.tlsMin == "1.2" {
		return tls.VersionTLS12
	}
	return tls.VersionTLS13
}
