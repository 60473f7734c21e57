package rpc

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
)

// Config is what a server is made of.
type Config struct {
	// Token is the bearer token to ask for; empty to ask for none.
	Token string
	// Logger takes the access log and the causes of internal errors;
	// slog.Default when nil.
	Logger *slog.Logger
	// Register adds the services.
	Register func(grpc.ServiceRegistrar)
}

// Server is a gRPC server with its interceptors, health and reflection.
type Server struct {
	grpc   *grpc.Server
	health *health.Server
}

// NewServer builds a server; tests use no other way. Every service is reported
// as serving from the start.
func NewServer(c Config) *Server {
	if c.Logger == nil {
		c.Logger = slog.Default()
	}
	var unary []grpc.UnaryServerInterceptor
	var stream []grpc.StreamServerInterceptor
	for _, i := range interceptors(c) {
		unary, stream = append(unary, i.unary), append(stream, i.stream)
	}
	s := &Server{health: health.NewServer()}
	s.grpc = grpc.NewServer(
		grpc.ChainUnaryInterceptor(unary...),
		grpc.ChainStreamInterceptor(stream...),
		grpc.MaxRecvMsgSize(maxMessageBytes),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
		// A client that lost its signal is noticed within two minutes.
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: 90 * time.Second, Timeout: 20 * time.Second}),
	)
	c.Register(s.grpc)
	healthpb.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	s.SetServing(true)
	return s
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
