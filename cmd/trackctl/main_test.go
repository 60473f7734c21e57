package main

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// role is the environment variable by which this binary runs as a program of a test.
const role = "TRACKCTL_TEST_ROLE"

func TestMain(m *testing.M) {
	switch os.Getenv(role) {
	case "start": // what packages do at the start is done by now
		os.Exit(0)
	case "asks":
		ctx, cancel := context.WithCancel(untilInterrupted())
		defer cancel()
		fmt.Println("ready")
		<-ctx.Done()
		fmt.Println(context.Cause(ctx) != nil, ctx.Err())
		os.Exit(7)
	case "asks nothing":
		_ = untilInterrupted()
		fmt.Println("ready")
		time.Sleep(time.Minute)
		os.Exit(7)
	}
	goleak.VerifyTestMain(m)
}
