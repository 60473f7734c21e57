package store_test

import (
	"encoding/binary"
	"io"
	"net"
	"net/url"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
)

// answerCounter passes on what a PostgreSQL and its clients say, and counts the times that
// the server is ready for the next query, which ends each round trip ("ReadyForQuery",
// PostgreSQL documentation, Message Formats).
type answerCounter struct {
	listener net.Listener
	to       string
	all      sync.WaitGroup
	ready    atomic.Int64
}

func countAnswers(t *testing.T, to string) *answerCounter {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &answerCounter{listener: l, to: to}
	c.all.Go(func() {
		for {
			client, err := l.Accept()
			if err != nil {
				return // closed
			}
			c.all.Go(func() { c.join(client) })
		}
	})
	t.Cleanup(func() {
		l.Close()
		c.all.Wait()
	})
	return c
}

func (c *answerCounter) join(client net.Conn) {
	defer client.Close()
	server, err := net.Dial("tcp", c.to)
	if err != nil {
		return
	}
	c.all.Go(func() {
		defer server.Close()
		io.Copy(server, client)
	})
	for {
		var head [5]byte // kind, and the length of itself and what follows
		if _, err := io.ReadFull(server, head[:]); err != nil {
			return
		}
		// Counted first: who has got it has been counted.
		if head[0] == 'Z' {
			c.ready.Add(1)
		}
		if _, err := client.Write(head[:]); err != nil {
			return
		}
		if _, err := io.CopyN(client, server, int64(binary.BigEndian.Uint32(head[1:]))-4); err != nil {
			return
		}
	}
}

// A commit of a tightening is four round trips, on a joint that is remembered or not: it is
// begun, it locks and asks, writes, and ends. Where a finding asks for a hold it is one more,
// for the holds that are open. Round trips are what a caller on PostgreSQL waits for longest.
func TestRoundTripsOfACommit(t *testing.T) {
	t.Parallel()
	c := storetest.Postgres().NewConfig(t)
	dsn, err := url.Parse(c.DSN)
	if err != nil {
		t.Fatal(err)
	}
	counter := countAnswers(t, dsn.Host)
	dsn.Host = counter.listener.Addr().String()
	c.DSN = dsn.String()
	s := storetest.OpenFleet(t, c)
	first := registerMoreJoints(t, s, 40)
	keep(t, s, storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.OccurTime = storetest.Occurred.Add(-time.Hour) }))
	minute := 0
	tightening := func(joint int) *ledger.Tightening {
		minute++
		at := minute
		return storetest.NewTightening(first[joint].Place.String(), func(r *ledger.Tightening) {
			r.OccurTime = r.OccurTime.Add(time.Duration(at) * time.Minute)
			// Each has the conflicting treatment asked for, and finds none.
			r.Treatment = ledger.TreatmentAntiSeize
		})
	}
	// By then lot, tool, person and specification are remembered, and statements prepared.
	for joint := range 4 {
		keep(t, s, tightening(joint))
	}
	for _, kind := range []struct {
		what  string
		next  func(i int) ledger.Record
		trips int64
	}{
		{"on a joint of which nothing is remembered", func(i int) ledger.Record { return tightening(4 + i) }, 4},
		{"on the same joint again", func(int) ledger.Record { return tightening(4) }, 4},
		{"that ask for a hold", func(i int) ledger.Record {
			r := tightening(20 + i)
			r.OccurTime = storetest.Occurred.Add(-2 * time.Hour) // before the calibration
			return r
		}, 5},
	} {
		var all []int64
		for i := range 12 {
			r := kind.next(i)
			before := counter.ready.Load()
			keep(t, s, r)
			all = append(all, counter.ready.Load()-before)
		}
		// What goes on beside it, for alarms and to see who leads, is seldom.
		slices.Sort(all)
		if all[len(all)/2] != kind.trips {
			t.Errorf("tightenings %s take %d round trips; expected mostly %d", kind.what, all, kind.trips)
		}
	}
}
