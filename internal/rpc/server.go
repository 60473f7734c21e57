package rpc

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection"

	"jointledger/internal/access"
)

// Config is what a server is made of.
type Config struct {
	// Authenticate says who calls; it must be given.
	Authenticate Authenticate
	// AskAgain is how often it is asked again during a stream; every five seconds when 0.
	AskAgain time.Duration
	// Audit is told of refusals and of calls that say who may do what; nil for nobody.
	// It must not wait.
	Audit func(context.Context, AuditEvent)
	// Logger takes the access log and the causes of internal errors;
	// slog.Default when nil.
	Logger *slog.Logger
	// Observer is told of every call; nil for none.
	Observer Observer
	// Quota bounds what one principal may ask for.
	Quota Quota
	// Options are the transport's: its credentials, and what follows traces.
	Options []grpc.ServerOption
	// Register adds the services.
	Register func(grpc.ServiceRegistrar)
}

// Server is a gRPC server with its interceptors, health and reflection.
type Server struct {
	grpc   *grpc.Server
	health *health.Server
	// methods are those that it has, and whether each is a stream; whole before the
	// first call.
	methods map[string]bool
	// actions are what the API's definition says that each method takes.
	actions map[string]access.Action
	// ending is closed when the server stops.
	ending    chan struct{}
	endingOne sync.Once
}

// NewServer builds a server; tests use no other way. Every service is reported
// as serving from the start. It is an error when nobody is asked who they are, and
// when the API's definition names no action for a method: what nobody was thought
// fit for is for nobody.
func NewServer(c Config) (*Server, error) {
	if c.Authenticate == nil {
		return nil, errors.New("a server must be told how callers say who they are")
	}
	if c.Logger == nil {
		c.Logger = slog.Default()
	}
	s := &Server{health: health.NewServer(), ending: make(chan struct{})}
	known := func(method string) bool { _, ok := s.methods[method]; return ok }
	var err error
	var unary []grpc.UnaryServerInterceptor
	var stream []grpc.StreamServerInterceptor
	action := func(method string) access.Action { return s.actions[method] }
	for _, i := range interceptors(c, known, action) {
		unary, stream = append(unary, i.unary), append(stream, i.stream)
	}
	stream = append(stream, s.endHealthWatches)
	s.grpc = grpc.NewServer(append(transport(s.longest),
		append(c.Options, grpc.ChainUnaryInterceptor(unary...), grpc.ChainStreamInterceptor(stream...))...)...)
	c.Register(s.grpc)
	healthpb.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	s.methods = methods(s.grpc)
	if s.actions, err = actions(s.methods); err != nil {
		s.grpc.Stop() // its workers
		return nil, err
	}
	s.SetServing(true)
	return s, nil
}

// actions reads the action of each of the API's methods from its definition.
func actions(methods map[string]bool) (map[string]access.Action, error) {
	found := make(map[string]access.Action, len(methods))
	var missing []error
	for m := range methods {
		if !strings.HasPrefix(m, ourServices) {
			continue
		}
		a, err := access.ActionOf(m)
		if err != nil {
			missing = append(missing, err)
		}
		found[m] = a
	}
	return found, errors.Join(missing...)
}

// Serve answers calls on the listener until Stop; it returns nil then, also when
// Stop came first: a signal may arrive before the listener is served.
func (s *Server) Serve(l net.Listener) error {
	if err := s.grpc.Serve(l); !errors.Is(err, grpc.ErrServerStopped) {
		return err
	}
	return nil
}

// SetServing sets what the health service says of the server and of each of its
// services.
func (s *Server) SetServing(serving bool) {
	state := healthpb.HealthCheckResponse_NOT_SERVING
	if serving {
		state = healthpb.HealthCheckResponse_SERVING
	}
	s.health.SetServingStatus("", state)
	for name := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(name, state)
	}
}

// Stop tells health checks that the server is going, takes no new calls and
// finishes those it has. When ctx ends first, the rest are cut off. It returns
// when no handler runs any more, so that what they use can be closed.
func (s *Server) Stop(ctx context.Context) {
	// After this no SetServing brings it back.
	s.health.Shutdown()
	s.endingOne.Do(func() { close(s.ending) })
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.grpc.GracefulStop()
	}()
	select {
	case <-done:
	case <-ctx.Done():
		s.grpc.Stop()
		<-done
	}
}

// endHealthWatches ends those who watch the server's health when it stops: they have
// been told, and would keep it from stopping for as long as they want.
func (s *Server) endHealthWatches(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if !strings.HasPrefix(info.FullMethod, healthService) {
		return handler(srv, ss)
	}
	ctx, cancel := context.WithCancel(ss.Context())
	defer cancel()
	told := make(chan struct{})
	defer close(told)
	go func() {
		select {
		case <-s.ending:
			// The state is sent by the handler, which is waiting for it already.
			time.AfterFunc(healthTold, cancel)
		case <-told:
		}
	}()
	return handler(srv, streamWithContext{ss, ctx})
}

// healthTold is how long after the change of state a health watch goes on, so that it
// is sent.
const healthTold = 100 * time.Millisecond
