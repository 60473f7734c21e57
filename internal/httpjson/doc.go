// Package httpjson answers the calls of the API as JSON over HTTP, in the Connect
// protocol and with streams as lines of JSON, from the same services and through the
// same interceptors as gRPC.
package httpjson
