package rpc_test

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"jointledger/internal/access"
	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

// byHeader takes the caller's word for who it is.
func byHeader(ctx context.Context) (*access.Principal, error) {
	name := metadata.ValueFromIncomingContext(ctx, "who")
	if len(name) != 1 {
		return nil, rpc.Unauthenticated("say who")
	}
	return &access.Principal{Name: name[0], Grants: access.Local.Grants}, nil
}

func as(ctx context.Context, name string) context.Context {
	return metadata.AppendToOutgoingContext(ctx, "who", name)
}

func TestAQuotaIsRefusedWithALimitAndATime(t *testing.T) {
	f := serveConfig(t, rpc.Config{Authenticate: byHeader, Quota: rpc.Quota{Rate: 0.001, Burst: 2}}, answer("people/a"), nil)
	for i := range 3 {
		_, err := f.people.GetPerson(as(t.Context(), "ann"), &pb.GetPersonRequest{})
		if i < 2 {
			if err != nil {
				t.Fatal(err)
			}
			continue
		}
		got := render(err)
		for _, part := range []string{
			"ResourceExhausted: ann asks more often than 0.001 times a second, 2 at once",
			"reason jointledger/LIMIT_EXCEEDED", "quota principal:ann: ann asks more often", "retry 16m",
		} {
			if !strings.Contains(got, part) {
				t.Errorf("%q is missing in %s", part, got)
			}
		}
	}
	if _, err := f.people.GetPerson(as(t.Context(), "ben"), &pb.GetPersonRequest{}); err != nil {
		t.Errorf("another principal: %v", err)
	}
	// Nobody's calls are nobody's quota: they are refused before.
	for range 5 {
		if _, err := f.people.GetPerson(t.Context(), &pb.GetPersonRequest{}); status.Code(err) != codes.Unauthenticated {
			t.Errorf("without a name: %v", err)
		}
	}
	if !strings.Contains(f.log.String(), "principal=ann") {
		t.Errorf("the log does not say who: %s", f.log)
	}
}

func TestTooManyCallsAtATime(t *testing.T) {
	began, release := make(chan struct{}, 3), make(chan struct{})
	f := serveConfig(t, rpc.Config{Authenticate: byHeader, Quota: rpc.Quota{Concurrent: 3}}, func(ctx context.Context, _ *pb.GetPersonRequest) (*pb.Person, error) {
		began <- struct{}{}
		<-release
		return &pb.Person{}, nil
	}, nil)
	var wait sync.WaitGroup
	for range 3 {
		wait.Go(func() {
			if _, err := f.people.GetPerson(as(t.Context(), "ann"), &pb.GetPersonRequest{}); err != nil {
				t.Error(err)
			}
		})
	}
	for range 3 {
		<-began
	}
	_, err := f.people.GetPerson(as(t.Context(), "ann"), &pb.GetPersonRequest{})
	if got := render(err); !strings.Contains(got, "ann has 3 calls under way, and at most 3 are allowed at a time") || !strings.Contains(got, "retry 1s") {
		t.Errorf("the fourth: %s", got)
	}
	close(release)
	wait.Wait()
	// The status is sent a moment before the call is counted out.
	for deadline := time.Now().Add(10 * time.Second); ; {
		_, err := f.people.GetPerson(as(t.Context(), "ann"), &pb.GetPersonRequest{})
		if err == nil {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("after the others ended: %v", err)
		}
	}
}
