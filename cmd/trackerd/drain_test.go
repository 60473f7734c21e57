package main

import (
	"net"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// A server that is asked to stop tells health checks first, goes on as long as it was
// told to, ends watches, and exits with status 0.
func TestDrain(t *testing.T) {
	t.Parallel()
	p := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--stop-delay", "3s")
	conn := connect(t, p.addr, nil)
	health, err := healthpb.NewHealthClient(conn).Watch(t.Context(), &healthpb.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	state := func() healthpb.HealthCheckResponse_ServingStatus {
		t.Helper()
		r, err := health.Recv()
		if err != nil {
			t.Fatal(err)
		}
		return r.Status
	}
	if s := state(); s != healthpb.HealthCheckResponse_SERVING {
		t.Fatalf("%s at first", s)
	}
	watch, err := pb.NewAlarmServiceClient(conn).WatchAlarms(t.Context(), &pb.WatchAlarmsRequest{OnlyNew: true})
	if err != nil {
		t.Fatal(err)
	}
	watchEnded := make(chan error, 1)
	go func() {
		for {
			if _, err := watch.Recv(); err != nil {
				watchEnded <- err
				return
			}
		}
	}()
	p.signal(syscall.SIGTERM)
	if s := state(); s != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Fatalf("%s once it is stopping", s)
	}
	// It answers still, also a client that comes only now.
	if _, err := pb.NewStructureServiceClient(connect(t, p.addr, nil)).ListSites(t.Context(), &pb.ListSitesRequest{}); err != nil {
		t.Errorf("while it is being left alone: %v", err)
	}
	if err := p.ended(); err != nil {
		t.Errorf("%v; %s", err, p.log)
	}
	if err := <-watchEnded; status.Code(err) != codes.Unavailable {
		t.Errorf("the watch ended with %v", err)
	}
	for _, line := range []string{"health checks say no, calls are still answered", "stopping: finishing what was accepted", "stopped"} {
		if !strings.Contains(p.log.String(), line) {
			t.Errorf("%q is missing in %s", line, p.log)
		}
	}
}

// What does not end by itself does not keep the server for ever: here a stream that its
// client leaves open.
func TestDrainCutsOffWhatDoesNotEnd(t *testing.T) {
	t.Parallel()
	p := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--stop-time", "1s")
	open, err := reflectionpb.NewServerReflectionClient(connect(t, p.addr, nil)).ServerReflectionInfo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := open.Send(&reflectionpb.ServerReflectionRequest{MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{}}); err != nil {
		t.Fatal(err)
	}
	if _, err := open.Recv(); err != nil {
		t.Fatal(err)
	}
	p.signal(syscall.SIGTERM)
	if err := p.ended(); err != nil {
		t.Errorf("%v; %s", err, p.log)
	}
	if _, err := open.Recv(); err == nil {
		t.Error("the stream goes on without its server")
	}
}

// A connection on which no call comes is closed after the time for a handshake, and the
// server answers others all the while.
func TestASlowConnectionIsClosed(t *testing.T) {
	t.Parallel()
	p := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	var slow []net.Conn
	for i := range 64 {
		c, err := net.Dial("tcp", p.addr)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		// Nothing at all, part of the preface, a header that never ends.
		begun := []string{"", "PRI * HTTP/2.0\r\n", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\x00\xff\xff\x01"}[i%3]
		if _, err := c.Write([]byte(begun)); err != nil {
			t.Fatal(err)
		}
		slow = append(slow, c)
	}
	if _, err := pb.NewStructureServiceClient(connect(t, p.addr, nil)).ListSites(t.Context(), &pb.ListSitesRequest{}); err != nil {
		t.Error(err)
	}
	for i, c := range slow {
		if err := c.SetReadDeadline(time.Now().Add(patience)); err != nil {
			t.Fatal(err)
		}
		for buffer := make([]byte, 4096); ; {
			_, err := c.Read(buffer)
			if nerr, ok := err.(net.Error); ok && nerr.Timeout() { //nolint:errorlint // net's own
				t.Fatalf("connection %d is still open", i)
			}
			if err != nil {
				break
			}
		}
	}
}
