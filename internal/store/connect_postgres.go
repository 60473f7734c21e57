package store

import (
	"database/sql"
	"net"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"

	"jointledger/internal/ledger"
)

// What a database puts an end to unless the configuration says otherwise. Choices of
// ours.
const (
	defaultStatementTimeout = 2 * time.Minute
	defaultLockTimeout      = 10 * time.Second
	defaultIdleTimeout      = 30 * time.Second
	// longRead is for what is handed on while it is read, and for verifying; a stream
	// ends sooner by its own deadline.
	longRead = 15 * time.Minute
)

// sessions say what a pool of connections is for, and how long the database lets one
// of its sessions have its way: what a server that has died or hangs left behind must
// not keep others waiting. 0 is for ever.
type sessions struct {
	most                  int
	statement, lock, idle time.Duration
	// standby lets the pool be one of a server that may only be read; commits says that
	// it is the writer's.
	standby, commits bool
}

// The writer needs a connection, and one to prepare its statements.
func writing(c Config) sessions {
	return sessions{most: 2, commits: true, statement: longestCommit, lock: orDefault(c.LockTimeout, defaultLockTimeout), idle: orDefault(c.IdleTransactionTimeout, defaultIdleTimeout)}
}

func reading(c Config) sessions {
	return sessions{most: 12, statement: orDefault(c.StatementTimeout, defaultStatementTimeout), lock: orDefault(c.LockTimeout, defaultLockTimeout), idle: longRead}
}

func readingLong() sessions { return sessions{most: 2, idle: longRead} }

func readingStandby(c Config) sessions {
	s := reading(c)
	s.standby = true
	return s
}

// A leader's session does nothing but hold its lock.
func leading() sessions { return sessions{most: 1} }

func migrating() sessions { return sessions{most: 2} }

func orDefault(given, otherwise time.Duration) time.Duration {
	if given == 0 {
		return otherwise
	}
	return max(given, 0)
}

// connectPostgres gives a pool. A commit is durable before it returns, whatever the
// database's default, unless the connection string says otherwise. Where the string
// names several hosts, connections are made to the one that takes writes. lineage is
// told of each connection that is made; nil for nobody.
func connectPostgres(c Config, of sessions, l *lineage) (*sql.DB, error) {
	dsn := c.DSN
	if of.standby {
		dsn = c.ReadDSN
	}
	config, err := pgx.ParseConfig(dsn)
	if err != nil {
		return nil, &ledger.Error{Kind: ledger.KindInvalid, Reason: ledger.ReasonInvalidField,
			Message: "the PostgreSQL connection string can't be read; expected one such as postgres://user@host:5432/database", Cause: err}
	}
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = 5 * time.Second // else a host that swallows packets holds a caller for minutes
	}
	dialer := net.Dialer{KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 10 * time.Second, Interval: 5 * time.Second, Count: 4}}
	config.DialFunc = dialer.DialContext
	if config.ValidateConnect == nil && !of.standby {
		// After a failover the old primary may be back, as a standby.
		config.ValidateConnect = pgconn.ValidateConnectTargetSessionAttrsReadWrite
	}
	config.OnPgError = func(_ *pgconn.PgConn, e *pgconn.PgError) bool { return !endsConnection(e) }
	for name, value := range of.settings() {
		if _, given := config.RuntimeParams[name]; !given {
			config.RuntimeParams[name] = value
		}
	}
	var options []stdlib.OptionOpenDB
	if of.commits {
		config.OnNotice = l.notice
	}
	if l != nil && !of.standby {
		options = append(options, stdlib.OptionAfterConnect(l.connected))
	}
	db := stdlib.OpenDB(*config, options...)
	db.SetMaxOpenConns(of.most)
	db.SetMaxIdleConns(of.most)
	db.SetConnMaxIdleTime(5 * time.Minute)
	return db, nil
}

// settings are what the database is told of a session when it begins.
func (of sessions) settings() map[string]string {
	milliseconds := func(d time.Duration) string { return strconv.FormatInt(d.Milliseconds(), 10) }
	settings := map[string]string{
		"application_name":                    "trackerd",
		"synchronous_commit":                  "on",
		"statement_timeout":                   milliseconds(of.statement),
		"lock_timeout":                        milliseconds(of.lock),
		"idle_in_transaction_session_timeout": milliseconds(of.idle),
		// A server whose machine is gone leaves its locks after half a minute.
		"tcp_keepalives_idle":     "10",
		"tcp_keepalives_interval": "5",
		"tcp_keepalives_count":    "4",
		"tcp_user_timeout":        "30000",
		// Compiling a statement takes longer than any of ours does.
		"jit": "off",
	}
	// A statement that is kept keeps the plan that it was first given, and a database
	// that was just set up plans to read its small tables whole; they are large soon.
	if of.commits {
		// The writer looks everything up by key.
		for _, way := range []string{"enable_seqscan", "enable_hashjoin", "enable_mergejoin"} {
			settings[way] = "off"
		}
	} else {
		settings["plan_cache_mode"] = "force_custom_plan"
	}
	return settings
}
