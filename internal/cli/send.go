package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/connectivity"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

const (
	// batchBytes bounds a batch: at 2,000 bytes a second, which is a poor line, it is
	// over within the time that a stream may be silent.
	batchBytes = 64 << 10
	// batchRecords is the most that the server takes at a time.
	batchRecords = 1000
	// clockTolerance is how far a device's clock may be off before it is said.
	clockTolerance = 5 * time.Minute
	// connectPatience is how long a command waits for a server that may not be there;
	// answerPatience how long it then waits for what the server says.
	connectPatience = 300 * time.Millisecond
	answerPatience  = 5 * time.Second
	// retryAfter is how long after a failed try no other is made by itself.
	retryAfter = 30 * time.Second
)

// delivery is what came of sending what waits.
type delivery struct {
	taken, known, refused int
	// answers are those of the server, by the record's id.
	answers map[uuid.UUID]*pb.Outcome
	// ahead is how much the device's clock is before the server's; 0 until known.
	ahead time.Duration
	left  outbox.Count
}

func (d delivery) sent() int { return d.taken + d.known + d.refused }

// clockRemark says that the device's clock is wrong; empty when it is not.
func (d delivery) clockRemark() string {
	off := clockOff(d.ahead)
	if off == "" {
		return ""
	}
	return "this device's clock is " + off + " the server's: set it, since every entry carries its time"
}

// clockOff says how far a clock is ahead of another, or behind it; empty where that is
// no more than is let pass.
func clockOff(ahead time.Duration) string {
	switch {
	case ahead.Abs() <= clockTolerance:
		return ""
	case ahead < 0:
		return fmt.Sprintf("%s behind", ahead.Abs().Round(time.Minute))
	}
	return fmt.Sprintf("%s ahead of", ahead.Round(time.Minute))
}

// errSendsElsewhere is what sending gives while another process does it.
var errSendsElsewhere = &failure{code: exitTryAgain, message: "another trackctl on this device is sending already"}

// deliver sends everything that waits in the outbox, batch by batch, and notes each
// answer before it goes on. What it gives besides an error has been answered for;
// the rest still waits, and sending it again keeps nothing twice.
func (a *app) deliver(ctx context.Context, box *outbox.Outbox, conn *grpc.ClientConn, show func(done, all int)) (d delivery, err error) {
	d.answers = map[uuid.UUID]*pb.Outcome{}
	release, alone, err := box.LockSending()
	if err != nil {
		return d, &failure{code: exitIO, message: err.Error()}
	}
	if !alone {
		d.left, _ = box.Count()
		return d, errSendsElsewhere
	}
	defer release()
	defer func() {
		if left, countErr := box.Count(); countErr == nil {
			d.left = left
		}
		a.tellDamage(box)
	}()
	for {
		entries, err := box.Entries()
		if err != nil {
			return d, &failure{code: exitIO, message: err.Error()}
		}
		batches := a.batchesOf(entries, d.answers)
		if len(batches) == 0 {
			return d, nil
		}
		if err := a.deliverBatches(ctx, box, conn, batches, &d, show); err != nil {
			return d, err
		}
	}
}

// batch is what is sent at a time.
type batch struct {
	ids     []uuid.UUID
	request *pb.DeliverRecordsRequest
}

// batchesOf parts the entries that wait, and were not answered for in this run, into
// batches, in the order in which they were kept.
func (a *app) batchesOf(entries []*outbox.Entry, answered map[uuid.UUID]*pb.Outcome) []batch {
	var batches []batch
	bytes := 0
	for _, e := range entries {
		if e.State != outbox.Waiting || answered[e.ID] != nil {
			continue
		}
		r, err := e.Record()
		if err != nil {
			fmt.Fprintln(a.err, "trackctl: "+err.Error())
			continue
		}
		if n := len(batches); n == 0 || bytes+e.Size() > batchBytes || len(batches[n-1].ids) == batchRecords {
			batches, bytes = append(batches, batch{request: &pb.DeliverRecordsRequest{}}), 0
		}
		last := &batches[len(batches)-1]
		last.ids, last.request.Records = append(last.ids, e.ID), append(last.request.Records, r)
		bytes += e.Size()
	}
	return batches
}

func (a *app) deliverBatches(ctx context.Context, box *outbox.Outbox, conn *grpc.ClientConn, batches []batch, d *delivery, show func(done, all int)) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel() // ends the stream when a batch fails
	stream, err := pb.NewDeliveryServiceClient(conn).DeliverRecords(ctx)
	if err != nil {
		return err
	}
	all := d.sent()
	for _, b := range batches {
		all += len(b.ids)
	}
	for _, b := range batches {
		began := a.now()
		// What Send gives on a broken stream is io.EOF; Recv gives the reason.
		if err := stream.Send(b.request); err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		answer, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			err = status.Error(codes.Unavailable, "the stream ended before everything was answered")
		}
		if err != nil {
			return err
		}
		d.compareClocks(began, a.now(), answer)
		noteClock(box, d.ahead)
		if err := a.noteAnswers(box, b, answer, a.answeredAt(answer), d); err != nil {
			return err
		}
		if show != nil {
			show(d.sent(), all)
		}
	}
	return endStream(stream, cancel)
}

// endStream says that nothing more comes, and waits a moment for the server to end the
// call: one that is left before that stands in the server's log as cancelled. Everything
// was answered by then, so that nothing hangs on it.
func endStream(stream grpc.BidiStreamingClient[pb.DeliverRecordsRequest, pb.DeliverRecordsResponse], leave func()) error {
	if err := stream.CloseSend(); err != nil {
		return err
	}
	patience := time.AfterFunc(connectPatience, leave)
	defer patience.Stop()
	_, _ = stream.Recv() // io.EOF, or that the server was left
	return nil
}

// noteClock keeps on the device how far its clock is off, or that it no longer is, so
// that the entries to come can be told.
func noteClock(box *outbox.Outbox, ahead time.Duration) {
	if clockOff(ahead) == "" {
		ahead = 0
	}
	if box.ClockAhead() != ahead {
		box.MarkClock(ahead)
	}
}

// compareClocks takes the server's clock to have been read in the middle of the
// time that the answer took.
func (d *delivery) compareClocks(began, ended time.Time, answer *pb.DeliverRecordsResponse) {
	if answer.GetServerTime() == nil {
		return
	}
	middle := began.Add(ended.Sub(began) / 2)
	d.ahead = middle.Sub(answer.GetServerTime().AsTime())
}

// answeredAt is when the server answered, by its own clock, which is also that of the
// carried data: whether an entry is in them already must not hang on this device's.
func (a *app) answeredAt(answer *pb.DeliverRecordsResponse) time.Time {
	if answer.GetServerTime() == nil {
		return a.now()
	}
	return answer.GetServerTime().AsTime()
}

// noteAnswers notes what the server said of a batch. What it could not decide just
// now goes on waiting.
func (a *app) noteAnswers(box *outbox.Outbox, b batch, answer *pb.DeliverRecordsResponse, at time.Time, d *delivery) error {
	outcomes := answer.GetOutcomes()
	if len(outcomes) != len(b.ids) {
		return &failure{code: exitInternal, message: fmt.Sprintf("the server answered for %d records of %d", len(outcomes), len(b.ids))}
	}
	var answers []outbox.Answer
	for i, o := range outcomes {
		d.answers[b.ids[i]] = o
		answer := outbox.Answer{ID: b.ids[i]}
		switch {
		case o.GetState() == pb.Outcome_STATE_TAKEN:
			d.taken++
		case o.GetState() == pb.Outcome_STATE_ALREADY_KNOWN:
			d.known++
		case passing(o.GetRefusal()):
			continue
		default:
			d.refused++
			answer.Refusal = proto.CloneOf(o.GetRefusal())
			if answer.Refusal == nil {
				answer.Refusal = &pb.Refusal{Message: "the server gave no reason"}
			}
		}
		answers = append(answers, answer)
	}
	if _, err := box.Answered(answers, at); err != nil {
		return &failure{code: exitCantWrite, message: err.Error(), lines: []string{"the server has these records; sending them again keeps none twice"}}
	}
	return nil
}

// passing says that a refusal is about the moment and not about the record.
func passing(r *pb.Refusal) bool {
	switch r.GetReason() {
	case pb.ErrorReason_ERROR_REASON_STORE_UNAVAILABLE, pb.ErrorReason_ERROR_REASON_CONFLICT, pb.ErrorReason_ERROR_REASON_INTERNAL, pb.ErrorReason_ERROR_REASON_UNAUTHENTICATED:
		return true
	default: // the others go on below
	}
	return false
}

// reach waits until the connection stands, as long as given. Its error has what the
// library says of the last try, for lineProblem.
func reach(ctx context.Context, conn *grpc.ClientConn, patience time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	conn.Connect()
	for {
		switch state := conn.GetState(); state {
		case connectivity.Ready:
			return nil
		case connectivity.TransientFailure, connectivity.Shutdown:
			return noConnection(ctx, conn)
		default:
			if !conn.WaitForStateChange(ctx, state) {
				return status.Error(codes.Unavailable, "there is no connection within "+patience.String())
			}
		}
	}
}

// noConnection says why the last try to connect failed: only a call is told, which fails
// at once where nothing has changed since.
func noConnection(ctx context.Context, conn *grpc.ClientConn) error {
	_, err := pb.NewServerServiceClient(conn).GetServer(ctx, &pb.GetServerRequest{})
	switch status.Code(err) {
	case codes.Unavailable:
		return err
	case codes.DeadlineExceeded, codes.Canceled:
		return status.Error(codes.Unavailable, "there is no connection")
	default: // it was answered
		return nil
	}
}

// sendFailure reads what sending ended with: nothing is lost, and it says so.
func (a *app) sendFailure(err error, left outbox.Count) *failure {
	var f *failure
	if !errors.As(err, &f) {
		f = a.callFailure(err, nil)
		if status.Code(err) == codes.Unimplemented && otherProgram(status.Convert(err).Message()) == "" {
			f = &failure{code: exitUnavailable, message: fmt.Sprintf("the server at %s can't take in what a device kept: it is of an older version, or not trackerd", a.settings.server),
				lines: []string{"the entries go as soon as it is brought up to date; trackctl doctor shows what is there"}}
		}
	}
	told := &failure{code: f.code, message: f.message, lines: f.lines}
	if f.code == exitDenied {
		told.lines = append(slices.DeleteFunc(slices.Clone(told.lines), func(l string) bool { return l == tokenRemedy }), tokenRemedy+", then trackctl send")
	}
	if left.Waiting > 0 {
		told.lines = append(told.lines, waitingText(left.Waiting))
	}
	return told
}

func waitingText(n int) string {
	if n == 1 {
		return "1 entry stays on this device, waiting to be sent"
	}
	return fmt.Sprintf("%d entries stay on this device, waiting to be sent", n)
}

// replacementOf is the record that comes with a correction; nil for none.
func replacementOf(c *pb.Correction) record {
	m := c.ProtoReflect()
	f := m.WhichOneof(m.Descriptor().Oneofs().ByName("replacement"))
	if f == nil {
		return nil
	}
	r, _ := m.Get(f).Message().Interface().(record)
	return r
}

// recordWord is the word for a record's kind.
func recordWord(r record) string { return ledger.RecordKinds.Name(recordKindOf(r)) }
