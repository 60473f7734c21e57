package main

import (
	"context"
	"os"
	"os/signal"
	"sync"
	"syscall"
)

// interruptible is a context that ends when the program is interrupted. It listens for
// that from the moment on which anything asks it for its end: until then an interrupt
// ends the program at once, as it does any other, with the same exit code. To listen
// takes threads, for which an entry must not wait on its way to the disk; there it asks
// nothing, since a write is not waited for but done.
type interruptible struct {
	context.Context
	listening func() context.Context
}

// untilInterrupted makes the context. What it began to listen to ends with the program.
func untilInterrupted() context.Context {
	c := interruptible{Context: context.Background()}
	c.listening = sync.OnceValue(func() context.Context {
		ctx, _ := signal.NotifyContext(c.Context, os.Interrupt, syscall.SIGTERM)
		return ctx
	})
	return c
}

// Done is closed at an interrupt.
func (c interruptible) Done() <-chan struct{} { return c.listening().Done() }

// Err is [context.Canceled] after an interrupt.
func (c interruptible) Err() error { return c.listening().Err() }

// Value lets contexts made of this one find what they end with.
func (c interruptible) Value(key any) any { return c.listening().Value(key) }
