package cli

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

const (
	// firstRetry and longestRetry bound the pauses between attempts to go on.
	firstRetry   = 500 * time.Millisecond
	longestRetry = 30 * time.Second
	// leastWatchTimeout is above the time for which a server that is well may be
	// silent, ten seconds.
	leastWatchTimeout = 15 * time.Second
)

const watchHelp = `Each alarm is one line, written at once; with --output json one object a line, with
csv one row. The watch lasts until it is interrupted, and goes on by itself when the
connection or the server was away.

After each alarm it keeps a token in a file, so that the next run goes on where this
one ended, without loss or repetition; only where the program is killed between an
alarm and its token does that one alarm come again, under the same id. The first run
begins with the first alarm ever, or with --new with the next one. The file lies in
the folder jointledger under $XDG_STATE_HOME, or else ~/.local/state, one for each
server, choice of rules and choice of sites; --token-store names another.`

// watchOptions are the flags of watch.
type watchOptions struct {
	request           pb.WatchAlarmsRequest
	since, tokenStore string
	once              bool
}

func (a *app) watchCommand() *cobra.Command {
	o := &watchOptions{}
	cmd := a.command("watch", "Show alarms as they are raised", watchHelp)
	f := newFields(cmd)
	f.bind("rule", "rules", "CODE", "only alarms of this rule; may be given several times", func(text string) error {
		return appendResource(&o.request.Rules, text, "alarmRules")
	})
	f.bind("site", "sites", "SITE", "only alarms at this site; may be given several times", func(text string) error {
		site, err := siteOf(text)
		if err == nil {
			o.request.Sites = append(o.request.Sites, site)
		}
		return err
	})
	f.boolean(&o.request.OnlyNew, "new", "only_new", "the first time, begin with the next alarm and not with the first one ever")
	f.text(&o.since, "since", "resume_token", "begin after the token in this file, whatever the token store has")
	f.text(&o.tokenStore, "token-store", "", "keep the token in this file")
	f.boolean(&o.once, "once", "", "end when everything that was raised is shown")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if a.settings.timeout < leastWatchTimeout {
			return usage("--timeout: a watch hears from the server at least every ten seconds; expected at least %s, got %s", leastWatchTimeout, a.settings.timeout)
		}
		return a.watch(ctx, f, o)
	})
}

func appendResource(list *[]string, text, collection string) error {
	name, err := resourceArg(text, collection)
	if err == nil {
		*list = append(*list, name)
	}
	return err
}

// watcher is one run of watch.
type watcher struct {
	*app
	request *pb.WatchAlarmsRequest
	store   tokenStore
	once    bool
	show    func(*pb.Alarm) error
	// heard says that something came since the last attempt.
	heard bool
}

func (a *app) watch(ctx context.Context, f *fields, o *watchOptions) error {
	w := &watcher{app: a, request: &o.request, once: o.once, store: tokenStore{o.tokenStore}}
	var err error
	if w.store.path == "" {
		if w.store.path, err = a.stateFile(&o.request); err != nil {
			return err
		}
	}
	from := w.store
	if o.since != "" {
		from = tokenStore{o.since}
	}
	if w.request.ResumeToken, err = from.load(); err != nil {
		return err
	}
	if w.show, err = a.alarmLine(); err != nil {
		return err
	}
	pause := firstRetry
	for {
		err := w.follow(ctx)
		if err == nil || ctx.Err() != nil {
			return err
		}
		if own := (*failure)(nil); errors.As(err, &own) {
			return own
		}
		if !mayGoOn(err) {
			return a.callFailure(err, f.names())
		}
		if w.heard {
			pause, w.heard = firstRetry, false
		}
		fmt.Fprintf(a.err, "trackctl: %s; trying again in %s\n", output.Printable(a.callFailure(err, nil).message), pause)
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(pause):
		}
		pause = min(2*pause, longestRetry)
	}
}

// mayGoOn says whether a watch that ended so may go on later: the server or the way
// to it is the trouble, not what was asked.
func mayGoOn(err error) bool {
	st, ok := status.FromError(err)
	if !ok {
		return false
	}
	switch st.Code() {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Aborted, codes.ResourceExhausted, codes.Internal, codes.Unknown, codes.Canceled:
		return true
	default: // the others go on below
	}
	return false
}

// follow watches until the stream ends.
func (w *watcher) follow(ctx context.Context) error {
	conn, err := w.dial()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	conn.ResetConnectBackoff() // the pauses are made here, and told
	stream, err := pb.NewAlarmServiceClient(conn).WatchAlarms(ctx, w.request)
	if err != nil {
		return err
	}
	for {
		m, err := stream.Recv()
		if err != nil {
			return err
		}
		w.heard = true
		if m.GetAlarm() != nil {
			if err := w.show(m.GetAlarm()); err != nil {
				return err
			}
		}
		if token := m.GetResumeToken(); token != w.request.GetResumeToken() {
			if err := w.store.save(token); err != nil {
				return err
			}
			w.request.ResumeToken = token
		}
		if m.GetAlarm() == nil && w.once {
			return nil
		}
	}
}

// alarmLine gives what writes one alarm, at once.
func (a *app) alarmLine() (func(*pb.Alarm) error, error) {
	columns := alarmColumns()
	write := func(v *pb.Alarm) error {
		_, err := fmt.Fprintf(a.out, "%s  %s  %s\n", output.Moment(occurred(v.GetEntry())), ledger.ShortName(v.GetSite()), output.Printable(v.GetSentence()))
		return err
	}
	switch a.format {
	case output.JSON:
		write = func(v *pb.Alarm) error { return output.WriteObject(a.out, output.ObjectOf(columns, v)) }
	case output.CSV:
		row, err := output.RowByRow(a.config(), columns)
		if err != nil {
			return nil, err
		}
		write = row
	case output.Parquet:
		return nil, usage("--output: alarms are written one by one as they come, and a Parquet file is written whole; expected table, json or csv")
	default: // the others go on below
	}
	return func(v *pb.Alarm) error {
		err := write(v)
		if buffered, ok := a.out.(interface{ Flush() error }); ok && err == nil {
			err = buffered.Flush()
		}
		if err != nil {
			return &failure{code: exitCantWrite, message: fmt.Sprintf("the output can't be written: %v", err)}
		}
		return nil
	}, nil
}
