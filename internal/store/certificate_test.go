package store_test

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// TestTwoServersTakeACertificateOnce sends one certificate, typed in two ways, for
// tools of two sites to two servers at once: their chains do not meet, so that only
// the certificate itself keeps them apart.
func TestTwoServersTakeACertificateOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		servers := []*store.Store{storetest.OpenFleet(t, c), storetest.Open(t, c)}
		for round := range 20 {
			var wg sync.WaitGroup
			states := make([]store.OutcomeState, 2)
			for i, s := range servers {
				tool, laboratory, number := storetest.DenverWrench, "Fell Metrology", fmt.Sprintf("FM-%d", round)
				if i == 1 {
					tool, laboratory, number = storetest.KolkataWrench, "FELL METROLOGY", fmt.Sprintf("fm - %d", round)
				}
				wg.Go(func() {
					outcomes, err := s.Record(context.Background(), []ledger.Record{
						storetest.NewCalibration(tool, func(r *ledger.Calibration) { r.Laboratory, r.Certificate = laboratory, number }),
					}, store.Change{})
					if err != nil {
						t.Error(err)
						return
					}
					states[i] = outcomes[0].State
				})
			}
			wg.Wait()
			if states[0]+states[1] != store.Taken+store.Refused || states[0] == states[1] {
				t.Fatalf("round %d: %v; expected one taken and one refused", round, states)
			}
		}
	})
}
