package store_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// occupy keeps the store's writer busy until release is called: a change of a
// site whose edit waits.
func occupy(t *testing.T, s *store.Store) (release func()) {
	t.Helper()
	entered, leave, done := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	var once sync.Once
	go func() {
		_, err := s.UpdateSite(context.Background(), storetest.Denver, 0, store.Change{}, func(*ledger.Site) error {
			once.Do(func() { close(entered) })
			<-leave
			return nil
		})
		done <- err
	}()
	<-entered
	return func() {
		close(leave)
		if err := <-done; err != nil {
			t.Errorf("the change that kept the writer busy: %v", err)
		}
	}
}

func testCancelledWhileWaiting(t *testing.T, e storetest.Engine) {
	s := storetest.OpenFleet(t, e.NewConfig(t))
	ctx, cancel := context.WithCancel(context.Background())
	release := occupy(t, s)
	waiting, never := oneOfEach(), oneOfEach()
	failed := make(chan error, 3)
	go func() {
		_, err := s.Record(ctx, waiting, store.Change{})
		failed <- err
	}()
	go func() {
		_, err := s.RegisterLots(ctx, []ledger.Lot{lotKind.fresh(0)}, store.Change{})
		failed <- err
	}()
	go func() {
		_, err := s.UpdateLot(ctx, storetest.StainlessLot, 0, store.Change{}, func(l *ledger.Lot) error { l.Heat = "H-1"; return nil })
		failed <- err
	}()
	time.Sleep(50 * time.Millisecond) // so that they wait in the queue
	cancel()
	for range cap(failed) {
		select {
		case err := <-failed:
			if !errors.Is(err, context.Canceled) {
				t.Errorf("got %v; expected the context's error", err)
			}
		case <-time.After(10 * time.Second):
			t.Fatal("a cancelled caller is kept waiting")
		}
	}
	if _, err := s.Record(ctx, never, store.Change{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v; expected the context's error", err)
	}
	release()

	t.Log("what waited in vain was not kept, and is taken when it is sent again")
	storetest.Record(t, s, append(resentAll(waiting), resentAll(never)...)...)
	outcomes, err := s.RegisterLots(context.Background(), []ledger.Lot{lotKind.fresh(0)}, store.Change{})
	wantStates(t, outcomes, err, store.Taken)
	if lot, err := s.Lot(context.Background(), storetest.StainlessLot); err != nil || lot.Version != 1 {
		t.Errorf("lot %+v, %v; expected it unchanged", lot, err)
	}
	soundReport(t, s)

	t.Log("a caller that goes away while its change is made: either may have happened, and the store is sound")
	going, goAway := context.WithCancel(context.Background())
	_, err = s.UpdateLot(going, storetest.StainlessLot, 0, store.Change{}, func(l *ledger.Lot) error {
		goAway()
		time.Sleep(20 * time.Millisecond) // the caller is gone by now and does as it likes
		l.Heat = "H-2"
		return nil
	})
	if err != nil && !errors.Is(err, context.Canceled) {
		t.Errorf("got %v; expected the context's error or none", err)
	}
	if lot, err := s.UpdateLot(context.Background(), storetest.StainlessLot, 0, store.Change{}, func(l *ledger.Lot) error { l.Heat = "H-2"; return nil }); err != nil || lot.Heat != "H-2" || lot.Version != 2 {
		t.Errorf("lot %+v, %v; expected the change made once", lot, err)
	}

	for what, read := range map[string]func() error{
		"a record": func() error { _, err := s.FindRecord(ctx, ledger.KindTightening, waiting[2].Head().ID); return err },
		"a site":   func() error { _, err := s.Site(ctx, storetest.Denver); return err },
		"counts":   func() error { _, err := s.Counts(ctx, analysis.CountQuery{}); return err },
		"verify":   func() error { _, err := s.Verify(ctx); return err },
	} {
		if err := read(); !errors.Is(err, context.Canceled) {
			t.Errorf("reading %s for a caller that is gone: %v; expected the context's error", what, err)
		}
	}
}

// testChangeThatPanics has one caller's edit panic while others wait.
func testChangeThatPanics(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	release := occupy(t, s)
	panicked, kept := make(chan error, 1), make(chan error, 1)
	records := oneOfEach()
	go func() {
		_, err := s.UpdateLot(ctx, storetest.StainlessLot, 0, store.Change{}, func(*ledger.Lot) error { panic("an edit gone wrong") })
		panicked <- err
	}()
	go func() {
		_, err := s.Record(ctx, records, store.Change{})
		kept <- err
	}()
	time.Sleep(50 * time.Millisecond) // so that both are in one group
	release()
	wantError(t, <-panicked, ledger.KindInternal, ledger.ReasonInternal, "internal error")
	if err := <-kept; err != nil {
		t.Errorf("its neighbour failed: %v", err)
	}
	storedRecords(t, s, records)
	storetest.Record(t, s, oneOfEach()...)
	soundReport(t, s)
}

// testCloseWhileWriting closes the store under its writers: what was acknowledged
// is there when it is opened again.
func testCloseWhileWriting(t *testing.T, e storetest.Engine) {
	c := e.NewConfig(t)
	s, err := store.Open(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	storetest.NewFleet().Register(t, s)
	var group sync.WaitGroup
	var mu sync.Mutex
	var acknowledged []ledger.Record
	many := make(chan struct{})
	for range 16 {
		group.Go(func() {
			for {
				records := oneOfEach()
				_, err := s.Record(context.Background(), records, store.Change{})
				if err != nil {
					wantError(t, err, ledger.KindUnavailable, ledger.ReasonStoreUnavailable)
					return
				}
				mu.Lock()
				before := len(acknowledged)
				acknowledged = append(acknowledged, records...)
				if before < 400 && len(acknowledged) >= 400 {
					close(many)
				}
				mu.Unlock()
			}
		})
	}
	<-many
	if err := s.Close(); err != nil {
		t.Errorf("closing: %v", err)
	}
	group.Wait()
	s = storetest.Open(t, c)
	storedRecords(t, s, acknowledged)
	if n := chainLength(t, s, storetest.Denver); n != int64(len(acknowledged)) {
		t.Errorf("%d records in the chain; %d were acknowledged", n, len(acknowledged))
	}
}

func testClosedStore(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s, err := store.Open(ctx, e.NewConfig(t))
	if err != nil {
		t.Fatal(err)
	}
	storetest.NewFleet().Register(t, s)
	for range 2 {
		if err := s.Close(); err != nil {
			t.Errorf("closing: %v", err)
		}
	}
	for what, use := range map[string]func() error{
		"recording":  func() error { _, err := s.Record(ctx, oneOfEach(), store.Change{}); return err },
		"validating": func() error { _, err := s.Record(ctx, oneOfEach(), store.Change{ValidateOnly: true}); return err },
		"registering": func() error {
			_, err := s.RegisterLots(ctx, []ledger.Lot{lotKind.fresh(0)}, store.Change{})
			return err
		},
		"changing": func() error {
			_, err := s.UpdateLot(ctx, storetest.StainlessLot, 0, store.Change{}, func(*ledger.Lot) error { return nil })
			return err
		},
		"reading":   func() error { _, err := s.Site(ctx, storetest.Denver); return err },
		"listing":   func() error { _, _, err := s.Sites(ctx, store.SiteFilter{}, store.Page{Size: 1}); return err },
		"counting":  func() error { _, err := s.Counts(ctx, analysis.CountQuery{}); return err },
		"verifying": func() error { _, err := s.Verify(ctx); return err },
		"asking":    func() error { return s.Ping(ctx) },
	} {
		t.Run(what, func(t *testing.T) {
			wantError(t, use(), ledger.KindUnavailable, ledger.ReasonStoreUnavailable, "shutting down")
		})
	}
}
