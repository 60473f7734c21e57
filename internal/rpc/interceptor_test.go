package rpc

import (
	"log/slog"
	"slices"
	"testing"
)

// The order is part of what the server promises; interceptor.go says why.
func TestInterceptorOrder(t *testing.T) {
	var got []string
	for _, i := range interceptors(Config{Logger: slog.New(slog.DiscardHandler)}) {
		got = append(got, i.name)
	}
	want := []string{"request-id", "access-log", "deadline", "recovery", "error-mapping", "authentication", "request-size"}
	if !slices.Equal(got, want) {
		t.Errorf("interceptors are %v; expected %v", got, want)
	}
}
