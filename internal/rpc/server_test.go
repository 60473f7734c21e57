package rpc_test

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	"jointledger/internal/access"
	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

func TestRequestIDComesBack(t *testing.T) {
	f := serve(t, "", answer("people/a"))
	for _, c := range []struct {
		sent string
		kept bool
	}{{"my-call-1", true}, {"", false}, {"with space", false}, {strings.Repeat("x", 65), false}} {
		ctx := context.Background()
		if c.sent != "" {
			ctx = metadata.AppendToOutgoingContext(ctx, "x-request-id", c.sent)
		}
		var header metadata.MD
		if _, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{}, grpc.Header(&header)); err != nil {
			t.Fatal(err)
		}
		got := header.Get("x-request-id")
		if len(got) != 1 || (got[0] == c.sent) != c.kept || !c.kept && len(got[0]) != 36 {
			t.Errorf("sent %q, got %q", c.sent, got)
		}
		if !strings.Contains(f.log.String(), "request_id="+got[0]) {
			t.Errorf("%q is not in the log", got)
		}
	}
}

func TestAuthentication(t *testing.T) {
	var seen *access.Principal
	get := func(ctx context.Context, _ *pb.GetPersonRequest) (*pb.Person, error) {
		seen, _ = access.From(ctx)
		return &pb.Person{}, nil
	}
	f := serve(t, "", get)
	if _, err := f.people.GetPerson(context.Background(), &pb.GetPersonRequest{}); err != nil || seen != access.Local {
		t.Errorf("no token asked for: %v, principal %+v", err, seen)
	}

	f = serve(t, "s3cret-token", get)
	for _, c := range []struct {
		headers []string
		ok      bool
	}{
		{nil, false},
		{[]string{"Bearer s3cret-token"}, true},
		{[]string{"bearer s3cret-token"}, true},
		{[]string{"Bearer s3cret-toke"}, false},
		{[]string{"Bearer "}, false},
		{[]string{"s3cret-token"}, false},
		{[]string{"Basic s3cret-token"}, false},
		{[]string{"Bearer wrong", "Bearer s3cret-token"}, false},
	} {
		seen = nil
		ctx := context.Background()
		for _, h := range c.headers {
			ctx = metadata.AppendToOutgoingContext(ctx, "authorization", h)
		}
		_, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{})
		switch {
		case c.ok && (err != nil || seen != bearer):
			t.Errorf("%q: %v, principal %+v", c.headers, err, seen)
		case !c.ok && (status.Code(err) != codes.Unauthenticated || !strings.Contains(render(err), "reason jointledger/UNAUTHENTICATED")):
			t.Errorf("%q: %s", c.headers, render(err))
		case !c.ok && seen != nil:
			t.Errorf("%q: the handler ran", c.headers)
		}
		if strings.Contains(f.log.String(), "s3cret") {
			t.Fatal("the token is in the log")
		}
	}
}

func TestHealthIsOpenAndReflectionIsNot(t *testing.T) {
	f := serve(t, "s3cret-token", answer(""))
	health := healthpb.NewHealthClient(f.conn)
	for _, service := range []string{"", "jointledger.v1.PersonService"} {
		r, err := health.Check(context.Background(), &healthpb.HealthCheckRequest{Service: service})
		if err != nil || r.Status != healthpb.HealthCheckResponse_SERVING {
			t.Errorf("%q: %v %v", service, r, err)
		}
	}
	if _, err := health.Check(context.Background(), &healthpb.HealthCheckRequest{Service: "nobody"}); status.Code(err) != codes.NotFound {
		t.Errorf("a service that is not there: %v", err)
	}
	f.server.SetServing(false)
	if r, err := health.Check(context.Background(), &healthpb.HealthCheckRequest{}); err != nil || r.Status != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Errorf("not serving: %v %v", r, err)
	}

	services := func(ctx context.Context) (string, error) {
		s, err := reflectionpb.NewServerReflectionClient(f.conn).ServerReflectionInfo(ctx)
		if err != nil {
			return "", err
		}
		if err := s.Send(&reflectionpb.ServerReflectionRequest{MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{}}); err != nil && !errors.Is(err, io.EOF) {
			return "", err
		}
		// A stream that was refused at once answers the send with EOF; the status
		// comes with what is received.
		r, err := s.Recv()
		if err != nil {
			return "", err
		}
		return r.String(), s.CloseSend()
	}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if _, err := services(ctx); status.Code(err) != codes.Unauthenticated {
		t.Errorf("reflection without the token: %v", err)
	}
	got, err := services(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer s3cret-token"))
	if err != nil || !strings.Contains(got, "jointledger.v1.PersonService") {
		t.Errorf("reflection: %s %v", got, err)
	}
}

func TestTooLargeARequestNamesTheLimit(t *testing.T) {
	f := serve(t, "", answer(""))
	_, err := f.people.GetPerson(context.Background(), &pb.GetPersonRequest{Name: strings.Repeat("x", 17<<20)})
	got := render(err)
	for _, part := range []string{"ResourceExhausted: the request has 178257", "16 MiB", "reason jointledger/LIMIT_EXCEEDED", "quota request"} {
		if !strings.Contains(got, part) {
			t.Errorf("%q is missing in %.300s", part, got)
		}
	}
	// Far above, the transport itself refuses before reading it.
	if _, err := f.people.GetPerson(context.Background(), &pb.GetPersonRequest{Name: strings.Repeat("x", 40<<20)}); status.Code(err) != codes.ResourceExhausted {
		t.Errorf("%.200v", err)
	}
}

func TestACallWithoutADeadlineGetsOne(t *testing.T) {
	var left time.Duration
	f := serve(t, "", func(ctx context.Context, _ *pb.GetPersonRequest) (*pb.Person, error) {
		d, ok := ctx.Deadline()
		if !ok {
			return nil, status.Error(codes.Internal, "no deadline")
		}
		left = time.Until(d)
		return &pb.Person{}, nil
	})
	if _, err := f.people.GetPerson(context.Background(), &pb.GetPersonRequest{}); err != nil || left > time.Minute || left < 50*time.Second {
		t.Errorf("%v left, %v", left, err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Minute)
	defer cancel()
	if _, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{}); err != nil || left < 9*time.Minute {
		t.Errorf("the client's own: %v left, %v", left, err)
	}
}

func TestStopFinishesWhatWasAccepted(t *testing.T) {
	began, release := make(chan struct{}), make(chan struct{})
	f := serve(t, "", func(ctx context.Context, _ *pb.GetPersonRequest) (*pb.Person, error) {
		close(began)
		select {
		case <-release:
			return &pb.Person{Name: "people/kept"}, nil
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	})
	got := make(chan error, 1)
	go func() {
		p, err := f.people.GetPerson(context.Background(), &pb.GetPersonRequest{})
		if err == nil && p.Name != "people/kept" {
			err = status.Errorf(codes.Unknown, "got %v", p)
		}
		got <- err
	}()
	<-began
	stopped := make(chan struct{})
	go func() { f.server.Stop(context.Background()); close(stopped) }()
	select {
	case <-stopped:
		t.Fatal("stopped before the call was done")
	case <-time.After(50 * time.Millisecond):
	}
	close(release)
	if err := <-got; err != nil {
		t.Error(err)
	}
	<-stopped
}

func TestStopCutsOffWhatDoesNotEnd(t *testing.T) {
	began := make(chan struct{})
	var handlerEnded bool
	f := serve(t, "", func(ctx context.Context, _ *pb.GetPersonRequest) (*pb.Person, error) {
		close(began)
		<-ctx.Done()
		handlerEnded = true
		return nil, ctx.Err()
	})
	got := make(chan error, 1)
	go func() {
		_, err := f.people.GetPerson(context.Background(), &pb.GetPersonRequest{})
		got <- err
	}()
	<-began
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	f.server.Stop(ctx)
	if !handlerEnded {
		t.Error("Stop returned while a handler was running")
	}
	if err := <-got; err == nil {
		t.Error("the call was cut off, and yet answered")
	}
}

// A signal may come before the listener is served: that is no failure.
func TestStopBeforeServe(t *testing.T) {
	s, err := rpc.NewServer(rpc.Config{Authenticate: rpc.EverybodyIsLocal, Register: func(grpc.ServiceRegistrar) {}})
	if err != nil {
		t.Fatal(err)
	}
	l := bufconn.Listen(1 << 10)
	s.Stop(t.Context())
	if err := s.Serve(l); err != nil {
		t.Errorf("%v; a stop is no failure of the listener", err)
	}
}

// Who watches the server's health is told that it stops, and does not keep it.
func TestStopEndsHealthWatches(t *testing.T) {
	f := serve(t, "", answer(""))
	w, err := healthpb.NewHealthClient(f.conn).Watch(t.Context(), &healthpb.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if r, err := w.Recv(); err != nil || r.Status != healthpb.HealthCheckResponse_SERVING {
		t.Fatalf("%v %v", r, err)
	}
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		f.server.Stop(context.Background())
	}()
	if r, err := w.Recv(); err != nil || r.Status != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Errorf("%v %v; expected to be told", r, err)
	}
	if r, err := w.Recv(); err == nil {
		t.Errorf("the watch goes on: %v", r)
	}
	<-stopped
}
