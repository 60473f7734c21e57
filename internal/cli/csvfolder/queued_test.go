package csvfolder

import (
	"context"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	pb "jointledger/proto/jointledger/v1"
)

// queueing is a server that takes tightenings and answers for a batch that it keeps only
// when the next has come, or will not come.
type queueing struct {
	pb.UnimplementedAssemblyServiceServer
	tells bool // says when a batch is in its queue
	fails bool // the first that it should keep
	mu    sync.Mutex
	kept  []string // the first of each batch, in the order in which they came
	early []bool   // the batch after came before this was answered
	next  []chan struct{}
}

// patience is how long a batch waits for the next one, which must not come in vain.
const patience = 100 * time.Millisecond

func (q *queueing) RecordTightenings(ctx context.Context, r *pb.RecordTighteningsRequest) (*pb.RecordTighteningsResponse, error) {
	answer := &pb.RecordTighteningsResponse{}
	for _, m := range r.Tightenings {
		answer.Outcomes = append(answer.Outcomes, &pb.Outcome{Name: m.Name, State: pb.Outcome_STATE_TAKEN})
	}
	if r.ValidateOnly {
		return answer, nil
	}
	q.mu.Lock()
	n := len(q.kept)
	q.kept, q.early, q.next = append(q.kept, r.Tightenings[0].Name), append(q.early, false), append(q.next, make(chan struct{}))
	if n > 0 {
		close(q.next[n-1])
	}
	next := q.next[n]
	q.mu.Unlock()
	if q.fails {
		return nil, status.Error(codes.Unavailable, "the database does not answer")
	}
	wait := patience
	if q.tells && len(metadata.ValueFromIncomingContext(ctx, pb.QueuedHeader)) > 0 {
		wait *= 100
		if err := grpc.SendHeader(ctx, metadata.Pairs(pb.QueuedHeader, "yes")); err != nil {
			return nil, err
		}
	}
	if len(r.Tightenings) < batchMembers {
		return answer, nil // the last
	}
	select {
	case <-next:
		q.mu.Lock()
		q.early[n] = true
		q.mu.Unlock()
	case <-time.After(wait):
	}
	return answer, nil
}

// The next batch is sent when the one before is in the server's queue, and to a server
// that does not say so, when it was answered.
func TestTheNextBatchFollowsOneThatIsQueued(t *testing.T) {
	t.Parallel()
	for _, tells := range []bool{true, false} {
		t.Run(fmt.Sprintf("tells=%v", tells), func(t *testing.T) {
			t.Parallel()
			file, want := threeBatches()
			q := &queueing{tells: tells}
			conn := serveQueue(t, q)
			reports, err := Take(t.Context(), write(t, map[string]string{"tightenings.csv": file}), conn, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if got := summary(reports); len(got) != 1 || got[0] != "tightenings.csv 2010 0 0 taken" {
				t.Errorf("%q", got)
			}
			if fmt.Sprint(q.kept) != fmt.Sprint(want) {
				t.Errorf("batches came as %q; expected %q", q.kept, want)
			}
			if got := fmt.Sprint(q.early[:2]); got != fmt.Sprint([]bool{tells, tells}) {
				t.Errorf("the next came before the answer: %v; expected %v", got, tells)
			}
		})
	}
}

// After a batch that failed none is sent.
func TestNoBatchFollowsOneThatFailed(t *testing.T) {
	t.Parallel()
	file, want := threeBatches()
	q := &queueing{fails: true}
	_, err := Take(t.Context(), write(t, map[string]string{"tightenings.csv": file}), serveQueue(t, q), Options{})
	if status.Code(err) != codes.Unavailable {
		t.Errorf("%v; expected UNAVAILABLE", err)
	}
	if fmt.Sprint(q.kept) != fmt.Sprint(want[:1]) {
		t.Errorf("%d batches were sent; expected the one that failed", len(q.kept))
	}
}

// threeBatches is a file of two full batches and a short one, with the first name of each.
func threeBatches() (file string, firsts []string) {
	var b strings.Builder
	b.WriteString("id,site,tower,cell,joint,at,person,lot,treatment,batch,tool,torque_n_m,fasteners,pass,method\n")
	for i := range 2*batchMembers + 10 {
		id := fmt.Sprintf("019cad6f-a0e0-7d33-b5f5-%012x", i)
		if i%batchMembers == 0 {
			firsts = append(firsts, "tightenings/"+id)
		}
		fmt.Fprintf(&b, "%s,ASH,CT1,C1,J1,2026-03-02T07:25:00+01:00,ab,L1,anti-seize,B1,T1,32,11,first,hand\n", id)
	}
	return b.String(), firsts
}

// serveQueue gives a connection to a server until the test ends.
func serveQueue(t *testing.T, q *queueing) *grpc.ClientConn {
	t.Helper()
	listener := bufconn.Listen(1 << 20)
	server := grpc.NewServer()
	pb.RegisterAssemblyServiceServer(server, q)
	go server.Serve(listener) // it ends with Stop
	t.Cleanup(server.Stop)
	conn, err := grpc.NewClient("passthrough:///queueing", grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithStatsHandler(QueueWatch{}),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}
