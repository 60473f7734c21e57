package cli

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/carry/outbox"
	pb "jointledger/proto/jointledger/v1"
)

// taking is a server that takes in deliveries as it is told: what it answers cannot be
// had of a real one at will.
type taking struct {
	pb.UnimplementedDeliveryServiceServer
	// answer gives the outcome of a record.
	answer func(r record) *pb.Outcome
	// clock is what the server takes for now.
	clock time.Time
	// breakAfter ends the stream with an error after so many batches; 0 never.
	breakAfter int
	batches    []int
	// ended takes what the server saw at the end of each call; nil where nobody looks.
	ended chan error
}

func (s *taking) DeliverRecords(stream grpc.BidiStreamingServer[pb.DeliverRecordsRequest, pb.DeliverRecordsResponse]) error {
	for n := 1; ; n++ {
		batch, err := stream.Recv()
		if err != nil && s.ended != nil {
			s.ended <- err
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		s.batches = append(s.batches, len(batch.Records))
		if s.breakAfter > 0 && n > s.breakAfter {
			return status.Error(codes.Unavailable, "the line broke")
		}
		reply := &pb.DeliverRecordsResponse{ServerTime: timestamppb.New(s.clock)}
		for _, r := range batch.Records {
			reply.Outcomes = append(reply.Outcomes, s.answer(recordOf(r)))
		}
		if err := stream.Send(reply); err != nil {
			return err
		}
	}
}

func takenOf(r record) *pb.Outcome {
	return &pb.Outcome{Name: r.GetName(), State: pb.Outcome_STATE_TAKEN}
}

// start serves on a free port; nil registers nothing, as an older server does.
func (s *taking) start(t *testing.T) (address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	if s != nil {
		pb.RegisterDeliveryServiceServer(server, s)
	}
	done := make(chan error, 1)
	go func() { done <- server.Serve(l) }()
	t.Cleanup(func() {
		server.Stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return l.Addr().String()
}

// runClock is the time of every run, see run.
var runClock = time.Date(2026, 3, 2, 6, 25, 0, 5e8, time.UTC)

// waitingHere makes a device on which n entries wait, and the environment of its commands.
func waitingHere(t *testing.T, n int, note string) (box *outbox.Outbox, env map[string]string) {
	t.Helper()
	folder := t.TempDir()
	box = outbox.In(outboxIn(folder))
	var drafts []outbox.Draft
	for i := range n {
		id := uuid.Must(uuid.NewV7())
		drafts = append(drafts, outbox.Draft{ID: id, At: runClock.Add(time.Duration(i-n) * time.Minute), New: true, Summary: "1 fastener", Record: &pb.DeliveredRecord{
			Record: &pb.DeliveredRecord_Tightening{Tightening: &pb.Tightening{
				Name: "tightenings/" + id.String(), Joint: "sites/ASH/towers/T/cells/C/joints/J1", Fasteners: 1, Lot: "lots/L",
				Treatment: pb.Treatment_TREATMENT_NONE, Entry: &pb.Entry{OccurTime: timestamppb.New(runClock), Person: "people/ab", Note: note, Offline: true},
			}},
		}})
	}
	if _, err := box.Keep(drafts...); err != nil {
		t.Fatal(err)
	}
	return box, map[string]string{envFolder: folder, envPerson: "ab"}
}

func counts(t *testing.T, box *outbox.Outbox, want outbox.Count) {
	t.Helper()
	if c, err := box.Count(); err != nil || c != want {
		t.Errorf("count %+v, %v; expected %+v", c, err, want)
	}
}

func TestSendGoesOnWhereTheLineBroke(t *testing.T) {
	// Two thousand bytes each: about thirty to a batch.
	box, env := waitingHere(t, 100, strings.Repeat("n", 2000))
	s := &taking{answer: takenOf, clock: runClock, breakAfter: 2}
	address := s.start(t)
	code, out, errOut := run(t, address, env, "send")
	first := s.batches[0] + s.batches[1]
	if code != exitUnavailable || len(s.batches) != 3 || !strings.Contains(out, "sent "+entriesText(first)) ||
		!strings.Contains(errOut, waitingText(100-first)) {
		t.Fatalf("code %d, batches %v\n%s%s", code, s.batches, out, errOut)
	}
	counts(t, box, outbox.Count{Waiting: 100 - first})
	s.breakAfter, s.batches = 0, nil
	if code, out, errOut := run(t, address, env, "send"); code != exitDone || !strings.Contains(out, "sent "+entriesText(100-first)+": ") {
		t.Errorf("code %d\n%s%s", code, out, errOut)
	}
	counts(t, box, outbox.Count{})
}

// A delivery that went well is a whole call at the server, not one that was left.
func TestADeliveryIsEndedByBothSides(t *testing.T) {
	_, env := waitingHere(t, 3, "")
	s := &taking{answer: takenOf, clock: runClock, ended: make(chan error, 1)}
	if code, out, errOut := run(t, s.start(t), env, "send"); code != exitDone {
		t.Fatalf("code %d\n%s%s", code, out, errOut)
	}
	if err := <-s.ended; !errors.Is(err, io.EOF) {
		t.Errorf("the server saw %v; expected the end of what is sent", err)
	}
}

// Each with the sentence that a person reads; the entries stay.
func TestSendSaysWhyItCouldNot(t *testing.T) {
	for name, c := range map[string]struct {
		server func(t *testing.T) string
		code   int
		says   string
	}{
		"an older server": {(*taking)(nil).start, exitUnavailable, "can't take in what a device kept: it is of an older version"},
		"no server":       {func(*testing.T) string { return "127.0.0.1:9" }, exitUnavailable, "the server at 127.0.0.1:9 can't be reached"},
		"a token that has expired": {func(t *testing.T) string {
			return refusing(t, status.Error(codes.Unauthenticated, "the bearer token is not the one that this server expects"))
		}, exitDenied, "give a token that holds with --token-file or trackctl setup, then trackctl send"},
	} {
		t.Run(name, func(t *testing.T) {
			box, env := waitingHere(t, 3, "")
			code, out, errOut := run(t, c.server(t), env, "send")
			if code != c.code || out != "" || !strings.Contains(errOut, c.says) || !strings.Contains(errOut, "3 entries stay on this device, waiting to be sent") {
				t.Errorf("code %d\n%s%s", code, out, errOut)
			}
			counts(t, box, outbox.Count{Waiting: 3})
		})
	}
}

// refusing serves deliveries that end with the error.
func refusing(t *testing.T, with error) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer(grpc.UnknownServiceHandler(func(any, grpc.ServerStream) error { return with }))
	done := make(chan error, 1)
	go func() { done <- server.Serve(l) }()
	t.Cleanup(func() {
		server.Stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return l.Addr().String()
}

func TestAWrongClockIsSaid(t *testing.T) {
	for name, c := range map[string]struct {
		server time.Time
		says   string
	}{
		"a day ahead":     {runClock.Add(-24 * time.Hour), "this device's clock is 24h0m0s ahead of the server's: set it"},
		"a day behind":    {runClock.Add(24 * time.Hour), "this device's clock is 24h0m0s behind the server's: set it"},
		"six minutes":     {runClock.Add(-6 * time.Minute), "6m0s ahead of"},
		"within five":     {runClock.Add(5 * time.Minute), ""},
		"as the server's": {runClock, ""},
	} {
		t.Run(name, func(t *testing.T) {
			box, env := waitingHere(t, 1, "")
			code, out, errOut := run(t, (&taking{answer: takenOf, clock: c.server}).start(t), env, "send")
			flat := strings.Join(strings.Fields(out), " ")
			if code != exitDone || errOut != "" || !strings.Contains(flat, c.says) || c.says == "" && strings.Contains(flat, "clock") {
				t.Errorf("code %d\n%s%s", code, out, errOut)
			}
			if off := box.ClockAhead(); (off == 0) != (c.says == "") || off != 0 && off != runClock.Sub(c.server) {
				t.Errorf("noted on the device: %s", off)
			}
			// Whether carried data have an entry is told by the server's clock.
			entries, err := box.Entries()
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range entries {
				if !e.StateAt.Equal(c.server) {
					t.Errorf("delivered at %s, expected %s", e.StateAt, c.server)
				}
			}
		})
	}
}

func TestWhatTheServerCantDecideNowGoesOnWaiting(t *testing.T) {
	box, env := waitingHere(t, 3, "")
	n := 0
	s := &taking{clock: runClock, answer: func(r record) *pb.Outcome {
		o := takenOf(r)
		switch n++; n {
		case 2:
			o.State, o.Refusal = pb.Outcome_STATE_REFUSED, &pb.Refusal{Reason: pb.ErrorReason_ERROR_REASON_CONFLICT, Message: "try again"}
		case 3:
			o.State, o.Refusal = pb.Outcome_STATE_REFUSED, &pb.Refusal{Reason: pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE, Message: "lot \"L\" is not known"}
		}
		return o
	}}
	code, out, errOut := run(t, s.start(t), env, "send", "-o", "json")
	if code != exitData || !strings.Contains(out, `{"sent": 2, "taken": 1, "already_known": 0, "refused": 1, "waiting": 1, "refused_in_all": 1, "clock_ahead_s": 0}`) {
		t.Errorf("code %d\n%s%s", code, out, errOut)
	}
	counts(t, box, outbox.Count{Waiting: 1, Refused: 1})
}

func TestOneSendsForAFolder(t *testing.T) {
	box, env := waitingHere(t, 1, "")
	release, alone, err := box.LockSending()
	if err != nil || !alone {
		t.Fatal(alone, err)
	}
	defer release()
	s := &taking{answer: takenOf, clock: runClock}
	code, _, errOut := run(t, s.start(t), env, "send")
	if code != exitTryAgain || !strings.Contains(errOut, "another trackctl on this device is sending already") || len(s.batches) != 0 {
		t.Errorf("code %d, batches %v\n%s", code, s.batches, errOut)
	}
}

// send --wait goes on by itself when the server comes back, and ends when it is
// interrupted.
func TestSendWaits(t *testing.T) {
	box, env := waitingHere(t, 2, "")
	ctx, cancel := context.WithCancel(t.Context())
	var out, errOut strings.Builder
	a := &app{in: strings.NewReader(""), err: &errOut, getenv: func(n string) string { return env[n] }, now: time.Now, newID: uuid.NewV7}
	ended := make(chan int, 1)
	go func() { ended <- a.run(ctx, []string{"--server", "127.0.0.1:9", "send", "--wait"}, &out) }()
	select {
	case code := <-ended:
		t.Fatalf("it ended with %d\n%s", code, errOut.String())
	case <-time.After(200 * time.Millisecond):
	}
	cancel()
	if code := <-ended; code != exitInterrupted || !strings.Contains(errOut.String(), "2 entries stay on this device") {
		t.Errorf("code %d\n%s%s", code, out.String(), errOut.String())
	}
	counts(t, box, outbox.Count{Waiting: 2})
}

// An entry that can't be written is not said to be kept.
func TestAnEntryThatCantBeKept(t *testing.T) {
	folder := t.TempDir()
	// A file stands where the folder of the outbox should be.
	if err := os.WriteFile(filepath.Join(folder, "outbox"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := run(t, "127.0.0.1:9", map[string]string{envFolder: folder, envPerson: "ab"}, "--offline-only",
		"tighten", "ash/t/c/j1", "1", "--lot", "L", "--treatment", "none")
	if code != exitCantWrite || out != "" || !strings.HasPrefix(errOut, "trackctl: not kept: ") {
		t.Errorf("code %d\n%s%s", code, out, errOut)
	}
}
