package rpc

import (
	"context"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/tap"
)

// What a connection may take of the server, so that a client that is slow, gone or
// ill-meaning costs little.
const (
	// handshakeTime is how long a connection may take until its first call.
	handshakeTime = 10 * time.Second
	// maxStreams is how many calls one connection may have under way.
	maxStreams = 256
	// keptWorkers is how many goroutines stay for the calls to come, whose stacks have
	// grown already to what a call needs; calls beyond them get new ones.
	keptWorkers = 96
	// streamWindow and connectionWindow are what a client may send before the server has
	// read it. They are fixed: to estimate them costs pings in every call, and these are
	// enough for a line of 40 Mbit/s with a fifth of a second to and fro.
	streamWindow, connectionWindow = 1 << 20, 1 << 20
	// writeBuffer is what a connection gathers before it writes: an answer is seldom larger,
	// and each connection that writes has one.
	writeBuffer = 8 << 10
	// maxHeaderBytes holds a token of OpenID Connect with many groups.
	maxHeaderBytes = 32 << 10
	// A client that lost its signal is noticed within two minutes.
	pingAfter, pingWait = 90 * time.Second, 20 * time.Second
	// leastPing is how often a client may ping.
	leastPing = 10 * time.Second
	// A connection that nobody uses is closed; so is one that has lasted long, so that
	// clients spread anew over several servers, and its calls have time to end. A watch
	// goes on at another connection.
	idleTime, connectionAge, ageGrace = 15 * time.Minute, 2 * time.Hour, 15 * time.Minute
	// longestUnary and longestStream bound a call whatever deadline its client gives,
	// from its first byte on: also one whose request comes in drops.
	longestUnary, longestStream = 15 * time.Minute, 2 * time.Hour
)

// transport are the options of the transport that always hold.
func transport(longest func(ctx context.Context, method string) time.Duration) []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.MaxRecvMsgSize(maxMessageBytes),
		grpc.MaxHeaderListSize(maxHeaderBytes),
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.NumStreamWorkers(keptWorkers),
		grpc.WriteBufferSize(writeBuffer),
		grpc.StaticStreamWindowSize(streamWindow),
		grpc.StaticConnWindowSize(connectionWindow),
		grpc.ConnectionTimeout(handshakeTime),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: leastPing, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{
			Time: pingAfter, Timeout: pingWait,
			MaxConnectionIdle: idleTime, MaxConnectionAge: connectionAge, MaxConnectionAgeGrace: ageGrace,
		}),
		grpc.UnknownServiceHandler(unknownService),
		grpc.InTapHandle(func(ctx context.Context, call *tap.Info) (context.Context, error) {
			// Here the request is not read yet; before the interceptors it is.
			if limit := longest(ctx, call.FullMethodName); limit > 0 {
				bounded, cancel := context.WithTimeout(ctx, limit)
				_ = cancel // the end of the call, which ends ctx, frees it
				return bounded, nil
			}
			return ctx, nil
		}),
	}
}

// longest is how long a call may last at all; 0 for as long as its client wants.
func (s *Server) longest(ctx context.Context, method string) time.Duration {
	_, given := ctx.Deadline()
	return s.Longest(method, given)
}

// Longest is how long a call of a method may last at all, with a deadline of its client
// or without one; 0 for as long as its client wants.
func (s *Server) Longest(method string, given bool) time.Duration {
	stream := s.methods[method]
	switch {
	case method == watchAlarms, stream && !strings.HasPrefix(method, ourServices):
		return 0
	case !given && stream:
		return streamDeadline
	case !given:
		return defaultDeadline
	case stream:
		return longestStream
	}
	return longestUnary
}
