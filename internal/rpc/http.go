package rpc

import (
	"maps"
	"net/http"
	"slices"
)

// Handler answers calls that come by net/http, one a request, in the framing of gRPC.
// All interceptors run as for others. The bound of a call's time that a connection of
// gRPC sets before the request is read does not hold there: whoever uses it sets that
// (Longest), and ends its requests before Stop.
func (s *Server) Handler() http.Handler { return s.grpc }

// Services are the full names of the services that the server has, in order.
func (s *Server) Services() []string {
	return slices.Sorted(maps.Keys(s.grpc.GetServiceInfo()))
}
