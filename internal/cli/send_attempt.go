package cli

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/carry/outbox"
	pb "jointledger/proto/jointledger/v1"
)

// attempt is what came of trying to send right after an entry.
type attempt struct {
	delivery
	// why says why the server has not got everything; empty when it has.
	why string
}

// trySending sends what waits, if the server can be reached at once: whoever made an
// entry is not kept waiting for a signal. Where no server was reached a moment ago it
// is not tried.
func (a *app) trySending(ctx context.Context, box *outbox.Outbox, waiting outbox.Count) attempt {
	t := attempt{delivery: delivery{left: waiting}}
	if a.settings.offlineOnly {
		t.why = "the server is not tried: offline-only is set"
		return t
	}
	if last, why, failed := box.FailedSince(); failed && a.now().Sub(last) < retryAfter && !a.now().Before(last) {
		if ago := a.now().Sub(last).Round(time.Second); why != "" {
			t.why = fmt.Sprintf("%s (%s ago); it is tried again by itself, or with trackctl send", why, ago)
		} else {
			t.why = fmt.Sprintf("the server at %s could not be reached %s ago; it is tried again by itself, or with trackctl send", a.settings.server, ago)
		}
		return t
	}
	a.triedSending = true // once in a run, whatever comes of it
	conn, err := a.dial()
	if err != nil {
		t.why = a.sendFailure(err, outbox.Count{}).message
		return t
	}
	if err := reach(ctx, conn, connectPatience); err != nil {
		t.why = a.lineProblem(status.Convert(err).Message())
		box.MarkFailed(a.now(), t.why)
		if t.why == "" {
			t.why = fmt.Sprintf("the server at %s can't be reached", a.settings.server)
		}
		return t
	}
	ctx, cancel := context.WithTimeout(ctx, answerPatience)
	defer cancel()
	t.delivery, err = a.deliver(ctx, box, conn, nil)
	switch status.Code(err) {
	case codes.OK:
		box.MarkReached()
		return t
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
		box.MarkFailed(a.now(), "")
	default: // the others go on below
	}
	f := a.sendFailure(err, outbox.Count{})
	t.why = f.message
	if f.code == exitDenied {
		t.why = sentence(f.message, f.lines[len(f.lines)-1])
	}
	return t
}

// whyNot says why something still waits; empty when nothing does.
func (t attempt) whyNot() string { return t.why }

// outcomeOf is what the server said of records that belong together; nil when it said
// nothing of one of them, or could not decide.
func (t attempt) outcomeOf(records []record) *pb.Outcome {
	var outcomes []*pb.Outcome
	for _, r := range records {
		id, err := recordIDOf(r)
		o := t.answers[id]
		if err != nil || o == nil || o.GetState() == pb.Outcome_STATE_REFUSED && passing(o.GetRefusal()) {
			return nil
		}
		outcomes = append(outcomes, o)
	}
	return decisive(outcomes)[0]
}

// remarks are what else a person should know after sending.
func (t attempt) remarks() []string {
	var lines []string
	if n := t.left.Refused; n > 0 {
		lines = append(lines, fmt.Sprintf("%s of this device %s refused by the server: see trackctl pending", entriesText(n), were(n)))
	}
	return append(lines, given("", t.clockRemark())...)
}

func entriesText(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

func were(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

// sendAlong sends what waits after a command that has reached the server for
// something else. Its own answer is out by then, and its exit code stays.
func (a *app) sendAlong(ctx context.Context) {
	if a.conn == nil || a.triedSending || a.settings.offlineOnly || ctx.Err() != nil {
		return
	}
	box, err := a.deviceOutbox()
	if err != nil || !box.Exists() {
		return
	}
	count, err := box.Count()
	a.tellDamage(box)
	if err != nil || count.Waiting == 0 || reach(ctx, a.conn, connectPatience) != nil {
		return
	}
	if a.showNow() != nil {
		return // whoever reads the answer is gone
	}
	ctx, cancel := context.WithTimeout(ctx, answerPatience)
	defer cancel()
	t := attempt{}
	t.delivery, err = a.deliver(ctx, box, a.conn, nil)
	if n := t.sent(); n > 0 {
		fmt.Fprintf(a.err, "%s that waited on this device %s sent\n", entriesText(n), were(n))
		box.MarkReached()
	}
	if err != nil && t.left.Waiting > 0 {
		fmt.Fprintf(a.err, "%s: %s\n", waitingText(t.left.Waiting), a.sendFailure(err, outbox.Count{}).message)
	}
	for _, l := range t.remarks() {
		fmt.Fprintln(a.err, l)
	}
}
