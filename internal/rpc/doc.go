// Package rpc is the server's outer wall: it builds the gRPC server with its
// interceptors, turns domain errors into statuses, and makes page tokens. It
// knows no resource and no store.
package rpc
