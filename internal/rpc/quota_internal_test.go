package rpc

import (
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"jointledger/internal/ledger"
)

// counted is a quota with a clock of its own.
type counted struct {
	*quotas
	clock time.Time
}

func newCounted(q Quota) *counted {
	c := &counted{clock: time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)}
	c.quotas = &quotas{Quota: q, now: func() time.Time { return c.clock }, use: map[string]*use{}}
	return c
}

// admitted makes n calls that end at once, and counts those that were let in.
func (c *counted) admitted(principal string, n int) (in int) {
	for range n {
		if done, err := c.admit(principal, false); err == nil {
			in++
			done()
		}
	}
	return in
}

// A token bucket lets in its burst and then its rate: burst + rate × time, whatever is
// asked.
func TestRateOfAPrincipal(t *testing.T) {
	c := newCounted(Quota{Rate: 10, Burst: 5})
	if n := c.admitted("ann", 100); n != 5 {
		t.Errorf("%d at once; expected the burst, 5", n)
	}
	total := 0
	for range 50 { // five seconds, asked all the while
		c.clock = c.clock.Add(100 * time.Millisecond)
		total += c.admitted("ann", 7)
	}
	if total != 50 {
		t.Errorf("%d in five seconds at 10 a second; expected 50", total)
	}
	if n := c.admitted("ben", 100); n != 5 {
		t.Errorf("another principal got %d; expected a burst of its own, 5", n)
	}
	// Who is refused loses nothing by having asked.
	c.clock = c.clock.Add(100 * time.Millisecond)
	if n := c.admitted("ben", 100); n != 1 {
		t.Errorf("%d after a tenth of a second; expected 1", n)
	}
}

func TestWhoWaitsAsToldIsLetIn(t *testing.T) {
	c := newCounted(Quota{Rate: 3, Burst: 1})
	for range 20 {
		if n := c.admitted("ann", 1); n != 1 {
			t.Fatal("not let in after the wait that was named")
		}
		_, err := c.admit("ann", false)
		var later *retryLater
		if !errors.As(err, &later) || later.after <= 0 || later.after > time.Second || later.subject != "principal:ann" {
			t.Fatalf("%+v", err)
		}
		if e := ledger.AsError(err); e.Kind != ledger.KindLimit || e.Reason != ledger.ReasonLimitExceeded {
			t.Fatalf("%+v", e)
		}
		c.clock = c.clock.Add(later.after)
	}
}

func TestConcurrencyOfAPrincipal(t *testing.T) {
	c := newCounted(Quota{Concurrent: 2})
	var done []func()
	for _, watch := range []bool{false, true} { // watches are counted apart
		for range 2 {
			d, err := c.admit("ann", watch)
			if err != nil {
				t.Fatal(err)
			}
			done = append(done, d)
		}
		if _, err := c.admit("ann", watch); err == nil {
			t.Errorf("watch %t: a third was let in", watch)
		}
	}
	if _, err := c.admit("ben", false); err != nil {
		t.Errorf("another principal: %v", err)
	}
	done[0]()
	if _, err := c.admit("ann", false); err != nil {
		t.Errorf("after one ended: %v", err)
	}
	if _, err := c.admit("ann", true); err == nil {
		t.Error("the end of a call let a watch in")
	}
}

func TestNoBoundIsNone(t *testing.T) {
	c := newCounted(Quota{})
	for range 5000 {
		if _, err := c.admit("ann", false); err != nil {
			t.Fatal(err)
		}
	}
}

// The book of principals does not grow without end, and forgets nobody who is counted.
func TestIdlePrincipalsAreForgotten(t *testing.T) {
	c := newCounted(Quota{Rate: 1, Burst: 2, Concurrent: 1})
	keep, err := c.admit("busy", false)
	if err != nil {
		t.Fatal(err)
	}
	c.admitted("spent", 2)
	for i := range 3 * mostIdle {
		c.admitted(fmt.Sprint("idle", i), 1)
		if i%100 == 0 {
			c.clock = c.clock.Add(time.Minute)
			c.admitted("spent", 2)
		}
	}
	if n := len(c.use); n > mostIdle+1 {
		t.Errorf("%d are remembered; expected at most %d", n, mostIdle+1)
	}
	if _, err := c.admit("busy", false); err == nil {
		t.Error("a call under way was forgotten")
	}
	keep()
}

func TestCountsComeOutEven(t *testing.T) {
	c := newCounted(Quota{Rate: 1e6, Burst: 1e6, Concurrent: 4})
	var wait sync.WaitGroup
	for range 16 {
		wait.Go(func() {
			for range 500 {
				if done, err := c.admit("ann", false); err == nil {
					done()
				}
			}
		})
	}
	wait.Wait()
	if n := c.use["ann"].calls; n != 0 {
		t.Errorf("%d calls are counted as under way when none is", n)
	}
}
