package cli

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/connectivity"
	"google.golang.org/grpc/status"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/shift"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// How often the guided mode looks for the server: while it is there, and while it is
// not. What is kept is sent at once.
const (
	lookOnline  = 15 * time.Second
	lookOffline = 4 * time.Second
	// lookPatience is how long the server may take to be there at all.
	lookPatience = 3 * time.Second
)

// standingWork is how the device stands to the server, shared by what keeps, what
// sends and what shows.
type standingWork struct {
	mu       sync.Mutex
	standing shift.Standing
	// open are the entries of this shift that the server has not answered for.
	open []uuid.UUID
	// changed tells the screen, nudge what sends.
	changed, nudge chan struct{}
}

// begin reads what waits from before.
func (w *shiftWork) begin() error {
	w.changed, w.nudge, w.reached = make(chan struct{}, 1), make(chan struct{}, 1), make(chan struct{}, 1)
	entries, err := w.box.Entries()
	w.a.tellDamage(w.box)
	if err != nil {
		return &failure{code: exitIO, message: err.Error()}
	}
	for _, e := range entries {
		switch {
		case e.State == outbox.Waiting:
			w.standing.Waiting++
		case e.State == outbox.Refused:
			w.standing.Refused++
		case e.State == outbox.Delivered && e.StateAt.After(w.standing.LastSent):
			w.standing.LastSent = e.StateAt
		}
	}
	if w.a.settings.offlineOnly {
		w.standing.Known, w.standing.Since = true, w.a.now()
		w.standing.Trouble = "the server is not tried: --offline-only"
	}
	return nil
}

// poke wakes whoever waits on the channel; once is enough.
func poke(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// now gives how things stand, with the answers that nobody was given yet.
func (w *standingWork) now() shift.Standing {
	w.mu.Lock()
	defer w.mu.Unlock()
	s := w.standing
	w.standing.Answers = nil
	return s
}

// added counts an entry that is on the disk.
func (w *standingWork) added(id uuid.UUID, count outbox.Count) {
	w.mu.Lock()
	w.open = append(w.open, id)
	w.standing.Waiting, w.standing.Refused = count.Waiting, count.Refused
	w.mu.Unlock()
	poke(w.nudge)
	poke(w.changed)
}

func (w *standingWork) counted(count outbox.Count) {
	w.mu.Lock()
	w.standing.Waiting, w.standing.Refused = count.Waiting, count.Refused
	w.mu.Unlock()
	poke(w.changed)
}

// keepSending looks for the server and sends what waits until ctx ends. A fault in it
// must not end the program with the terminal in disorder: it ends the mode.
func (w *shiftWork) keepSending(ctx context.Context, fault context.CancelCauseFunc) {
	if w.conn == nil {
		return
	}
	defer func() {
		if recover() != nil {
			fault(shift.ErrFault)
		}
	}()
	box := outbox.In(w.box.Folder())
	go w.watchConnection(ctx)
	for {
		online := w.sendOnce(ctx, box)
		every := lookOffline
		if online {
			every = lookOnline
		}
		timer := time.NewTimer(every)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-w.nudge:
			timer.Stop()
		case <-timer.C:
		}
	}
}

// watchConnection wakes what sends when the connection comes or goes.
func (w *shiftWork) watchConnection(ctx context.Context) {
	for state := w.conn.GetState(); w.conn.WaitForStateChange(ctx, state); {
		before := state
		state = w.conn.GetState()
		if state == connectivity.Ready || before == connectivity.Ready {
			poke(w.nudge)
		}
	}
}

// sendOnce looks whether the server is there and sends what waits.
func (w *shiftWork) sendOnce(ctx context.Context, box *outbox.Outbox) (online bool) {
	if w.conn.GetState() == connectivity.TransientFailure {
		// gRPC rests for longer after each failure; a person at a joint does not.
		w.conn.ResetConnectBackoff()
	}
	err := reachAgain(ctx, w)
	count, countErr := box.Count()
	if err == nil && (countErr != nil || count.Waiting == 0) {
		err = w.greet(ctx)
	}
	var d delivery
	trouble := ""
	if err == nil && countErr == nil && count.Waiting > 0 {
		d, err = w.a.deliver(ctx, box, w.conn, nil)
		count = d.left
	}
	if ctx.Err() != nil {
		return false
	}
	online = err == nil
	if err != nil {
		var f *failure
		code := status.Code(err)
		online = errors.As(err, &f) || code != codes.Unavailable && code != codes.DeadlineExceeded && code != codes.Canceled
		if online && !errors.Is(err, errSendsElsewhere) {
			trouble = w.a.sendFailure(err, outbox.Count{}).message
		}
	}
	if countErr != nil {
		trouble = countErr.Error()
	}
	if online {
		box.MarkReached()
	} else {
		box.MarkFailed(w.a.now(), "")
	}
	if remark := d.clockRemark(); remark != "" {
		trouble = sentence(trouble, remark)
	}
	w.settle(online, trouble, count, d, w.settledElsewhere(box, d))
	return online
}

// reachAgain waits until the connection stands. The first try of a connection that
// rests fails at once, so another is made.
func reachAgain(ctx context.Context, w *shiftWork) error {
	err := reach(ctx, w.conn, lookPatience)
	if err != nil && w.conn.GetState() == connectivity.Idle {
		err = reach(ctx, w.conn, lookPatience)
	}
	return err
}

// greet asks the server whether it is there; whatever it answers, it is.
func (w *shiftWork) greet(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, answerPatience)
	defer cancel()
	_, err := pb.NewServerServiceClient(w.conn).GetServer(ctx, &pb.GetServerRequest{})
	switch status.Code(err) {
	case codes.Unimplemented:
		return nil
	default: // the others go on below
	}
	return err
}

// settledElsewhere finds entries of this shift that another trackctl on this device
// has sent.
func (w *shiftWork) settledElsewhere(box *outbox.Outbox, d delivery) []shift.Answer {
	w.mu.Lock()
	open := map[uuid.UUID]bool{}
	for _, id := range w.open {
		open[id] = d.answers[id] == nil
	}
	w.mu.Unlock()
	if len(open) == 0 {
		return nil
	}
	entries, err := box.Entries()
	if err != nil {
		return nil // it is told as trouble already
	}
	var answers []shift.Answer
	for _, e := range entries {
		switch {
		case !open[e.ID]:
		case e.State == outbox.Delivered:
			answers = append(answers, shift.Answer{ID: e.ID, Unheard: true})
		case e.State == outbox.Refused:
			answers = append(answers, shift.Answer{ID: e.ID, Refused: settledReason(e, nil)})
		}
	}
	return answers
}

// settle takes in what came of looking for the server.
func (w *shiftWork) settle(online bool, trouble string, count outbox.Count, d delivery, answers []shift.Answer) {
	for id, o := range d.answers {
		switch {
		case o.GetState() != pb.Outcome_STATE_REFUSED:
			answers = append(answers, shift.Answer{ID: id, Findings: wire.FindingsFrom(o.GetFindings())})
		case !passing(o.GetRefusal()):
			answers = append(answers, shift.Answer{ID: id, Refused: settledReason(&outbox.Entry{Refusal: o.GetRefusal()}, nil)})
		}
	}
	now := w.a.now()
	w.mu.Lock()
	s := &w.standing
	if !s.Known || s.Online != online {
		s.Known, s.Online, s.Since = true, online, now
	}
	if d.sent() > 0 {
		s.LastSent = now
	}
	s.Trouble, s.Waiting, s.Refused = trouble, count.Waiting, count.Refused
	answered := map[uuid.UUID]bool{}
	for _, a := range answers {
		answered[a.ID] = true
	}
	w.open = slices.DeleteFunc(w.open, func(id uuid.UUID) bool { return answered[id] })
	s.Answers = append(s.Answers, answers...)
	w.mu.Unlock()
	poke(w.changed)
	if online {
		poke(w.reached)
	}
}
