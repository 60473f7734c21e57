package rpc

import (
	"log/slog"
	"slices"
	"testing"
)

// The order is part of what the server promises; interceptor.go says why.
func TestInterceptorOrder(t *testing.T) {
	var got []string
	for _, i := range interceptors(Config{Logger: slog.New(slog.DiscardHandler)}, nil, nil) {
		got = append(got, i.name)
	}
	want := []string{"request-id", "access-log", "measurement", "deadline", "recovery", "error-mapping", "api-version", "audit", "authentication", "quota", "authorisation", "request-size", "staleness"}
	if !slices.Equal(got, want) {
		t.Errorf("interceptors are %v; expected %v", got, want)
	}
}
