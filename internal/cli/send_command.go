package cli

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/cli/output"
)

// How long send --wait rests between tries: first, and at most.
const (
	firstRest = time.Second
	mostRest  = 30 * time.Second
)

func (a *app) sendCommand() *cobra.Command {
	var wait bool
	cmd := a.command("send", "Send what waits on this device",
		"Entries that were made without a signal are sent in the order in which they were\n"+
			"made. It may be broken off at any time: what the server has not answered for stays\n"+
			"here, and is kept once however often it is sent. What the server refuses stays too:\n"+
			"see trackctl pending. With --wait it goes on trying until nothing waits.")
	cmd.Example = "  trackctl send\n  trackctl send --wait"
	cmd.Flags().BoolVar(&wait, "wait", false, "go on trying until everything is sent")
	return a.runs(cmd, func(ctx context.Context, _ []string) error { return a.send(ctx, wait) })
}

func sendColumns() []output.Column[delivery] {
	return []output.Column[delivery]{
		{Name: "sent", Value: func(d delivery) any { return int64(d.sent()) }},
		{Name: "taken", Value: func(d delivery) any { return int64(d.taken) }},
		{Name: "already_known", Value: func(d delivery) any { return int64(d.known) }},
		{Name: "refused", Value: func(d delivery) any { return int64(d.refused) }},
		{Name: "waiting", Value: func(d delivery) any { return int64(d.left.Waiting) }},
		{Name: "refused_in_all", Value: func(d delivery) any { return int64(d.left.Refused) }},
		{Name: "clock_ahead_s", Value: func(d delivery) any { return d.ahead.Round(time.Second).Seconds() }},
	}
}

func (a *app) send(ctx context.Context, wait bool) error {
	if a.settings.offlineOnly {
		return usage("send with --offline-only: expected one or the other")
	}
	box, err := a.deviceOutbox()
	if err != nil {
		return err
	}
	count, err := box.Count()
	a.tellDamage(box)
	if err != nil {
		return &failure{code: exitIO, message: err.Error()}
	}
	a.triedSending = true
	sum := delivery{left: count}
	if count.Waiting > 0 {
		sum, err = a.sendAll(ctx, box, wait)
	}
	if told := a.tellSent(sum); told != nil {
		return told
	}
	if err != nil {
		return a.sendFailure(err, sum.left)
	}
	if sum.refused > 0 {
		return &failure{code: exitData, message: fmt.Sprintf("%s %s refused: trackctl pending shows why, and what can be done", entriesText(sum.refused), were(sum.refused))}
	}
	return nil
}

// sendAll sends everything that waits, with wait as often as it takes.
func (a *app) sendAll(ctx context.Context, box *outbox.Outbox, wait bool) (delivery, error) {
	line := &progressLine{out: a.err, terminal: isTerminal(a.err)}
	var sum delivery
	rest := firstRest
	for {
		conn, err := a.dial()
		if err != nil {
			sum.left, _ = box.Count()
			return sum, err
		}
		// A try that failed has set gRPC resting for longer than we do.
		conn.ResetConnectBackoff()
		d, err := a.deliver(ctx, box, conn, func(done, all int) {
			line.say(fmt.Sprintf("sent %d of %d", done, all))
		})
		line.clear()
		sum.taken, sum.known, sum.refused = sum.taken+d.taken, sum.known+d.known, sum.refused+d.refused
		sum.left, sum.ahead = d.left, d.ahead
		if err == nil {
			box.MarkReached()
		}
		if !wait || d.left.Waiting == 0 && err == nil || ctx.Err() != nil || !worthWaiting(a.sendFailure(err, d.left)) {
			return sum, err
		}
		if d.sent() > 0 {
			rest = firstRest
		}
		line.say(fmt.Sprintf("%s; trying again in %s", waitingText(d.left.Waiting), rest))
		select {
		case <-ctx.Done():
			line.clear()
			return sum, ctx.Err()
		case <-time.After(rest):
		}
		rest = min(2*rest, mostRest)
	}
}

// worthWaiting says whether a later try can end otherwise without anybody doing
// anything on this device.
func worthWaiting(f *failure) bool {
	switch f.code {
	case exitUnavailable, exitTryAgain, exitInternal:
		return true
	}
	return false
}

// tellSent tells what came of sending.
func (a *app) tellSent(d delivery) error {
	remark := given("", d.clockRemark())
	if a.format != output.Table {
		for _, l := range remark {
			fmt.Fprintln(a.err, l)
		}
		return output.Show(a.config(), "deliveries", sendColumns(), d)
	}
	switch {
	case d.sent() > 0:
		fmt.Fprintf(a.out, "sent %s: %d taken, %d already known, %d refused\n", entriesText(d.sent()), d.taken, d.known, d.refused)
	case d.left.Waiting == 0:
		fmt.Fprintln(a.out, "nothing waits on this device")
	}
	if d.left.Refused > d.refused {
		fmt.Fprintf(a.out, "%s in all %s refused: see trackctl pending\n", entriesText(d.left.Refused), were(d.left.Refused))
	}
	for _, l := range remark {
		fmt.Fprintln(a.out, output.Wrap(l))
	}
	return nil
}
