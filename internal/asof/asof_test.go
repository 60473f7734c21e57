package asof

import (
	"context"
	"testing"
	"time"
)

func TestMostIsBoundByTheServer(t *testing.T) {
	for _, c := range []struct {
		reading     *Reading
		limit, want time.Duration
	}{
		{nil, time.Minute, 0},
		{New(0), time.Minute, 0},
		{New(Default), time.Minute, time.Minute},
		{New(time.Second), time.Minute, time.Second},
		{New(time.Hour), time.Minute, time.Minute},
		{New(time.Hour), 0, 0},
	} {
		if got := c.reading.Most(c.limit); got != c.want {
			t.Errorf("%+v under %v: %v; expected %v", c.reading, c.limit, got, c.want)
		}
	}
}

func TestTheOldestStateCounts(t *testing.T) {
	r := New(Default)
	if at, ok := r.AsOf(); ok {
		t.Errorf("read from the state of %v before anything was read", at)
	}
	now := time.Date(2026, 3, 2, 15, 4, 5, 0, time.UTC)
	for _, at := range []time.Time{now, now.Add(-time.Minute), now.Add(time.Minute)} {
		r.Used(at)
	}
	if at, ok := r.AsOf(); !ok || !at.Equal(now.Add(-time.Minute)) {
		t.Errorf("as of %v, %t; expected the oldest of three", at, ok)
	}
	if From(context.Background()) != nil || From(With(context.Background(), r)) != r {
		t.Error("the context does not carry the reading")
	}
}
