package store_test
import ("testing";"time";"fmt";"context";"os";"jointledger/internal/store/storetest";"jointledger/internal/ledger";"jointledger/internal/store")
func TestZZScale(t *testing.T) {
	ctx := context.Background()
	e := storetest.SQLite()
	if os.Getenv("PG") != "" { e = storetest.Postgres() }
	c := e.NewConfig(t)
	s := storetest.OpenFleet(t, c)
	d := &diary{t, s, storetest.Occurred}
	d.keep(storetest.NewCalibration(storetest.DenverWrench)); d.keep(storetest.NewLotMovement(storetest.StainlessLot, "RVB", func(m *ledger.LotMovement){ m.Quantity=10000000 }))
	var cells []ledger.Cell
	var joints []ledger.Joint
	for k := range 100 {
		cells = append(cells, ledger.Cell{Place: d.place(fmt.Sprintf("RVB/CT2/X%03d", k))})
		for i := range 200 { joints = append(joints, ledger.Joint{Place: d.place(fmt.Sprintf("RVB/CT2/X%03d/K%03d", k, i)), Kind: ledger.JointStructural, Critical: true, Specification: storetest.Stainless, Fasteners: 16}) }
	}
	s.RegisterCells(ctx, cells, store.Change{})
	for i := 0; i < len(joints); i += 1000 { if _, err := s.RegisterJoints(ctx, joints[i:i+1000], store.Change{}); err != nil { t.Fatal(err) } }
	at := time.Now()
	var recs []ledger.Record
	flush := func() { o, err := s.Record(ctx, recs, store.Change{}); if err != nil { t.Fatal(err) }; for _, x := range o { if x.State != store.Taken { t.Fatal(x.Err) } }; recs = nil }
	n := 0
	corr := 0
	for i, j := range joints {
		en := func() ledger.Entry { n++; return ledger.Entry{ID: storetest.NewID(), OccurTime: storetest.Occurred.Add(time.Duration(n)*time.Second), Person: storetest.DenverPerson, Offline: true} }
		for range 2 { recs = append(recs, storetest.NewTightening(j.Place.String(), func(r *ledger.Tightening) { r.Entry = en(); r.Fasteners = 8 })) }
		recs = append(recs, &ledger.Inspection{Entry: en(), Joint: j.Place, Kind: ledger.VisualInspection, Result: ledger.InspectionPass})
		if i % 10 == 0 { recs = append(recs, &ledger.Hold{Entry: en(), Action: ledger.HoldPlaced, Place: j.Place, Reason: "x"}) }
		if i % 40 == 0 { corr++; old := recs[len(recs)-2]; recs = append(recs, &ledger.Correction{Entry: en(), Corrects: old.Head().ID, Reason: "x"}) }
		if len(recs) >= 1000 { flush() }
	}
	flush()
	t.Log("records", n, "in", time.Since(at), "corrections", corr)
	if os.Getenv("IDX") != "" {
		db := storetest.Raw(t, c)
		for _, q := range []string{"CREATE UNIQUE INDEX zz1 ON corrections(corrected_id)", "CREATE UNIQUE INDEX zz2 ON corrections(replacement_id)", "CREATE UNIQUE INDEX zz3 ON holds(released_hold_id)"} { mustExec(t, db, q) }
	}
	for range 2 {
	at = time.Now()
	p, err := s.Progress(ctx, d.place("RVB")); t.Log("progress", time.Since(at), err, p.States, p.OnHold)
	at = time.Now()
	_, next, err := s.JointStates(ctx, d.place("RVB"), false, store.Page{Size: 1000}); t.Log("states page 1000", time.Since(at), err, next)
	at = time.Now()
	_, next, err = s.JointStates(ctx, d.place("RVB"), true, store.Page{Size: 100}); t.Log("remaining page 100", time.Since(at), err, next)
	at = time.Now()
	_, h, err := s.JointHistory(ctx, joints[0].Place); t.Log("history", time.Since(at), err, len(h))
	at = time.Now()
	cf, err := s.CountFindings(ctx, d.place("RVB")); t.Log("count findings", time.Since(at), err, cf)
	at = time.Now()
	ff, _, err := s.Findings(ctx, store.FindingFilter{Place: d.place("RVB/CT2")}, store.Page{Size: 1000}); t.Log("findings", time.Since(at), err, len(ff))
	at = time.Now()
	fl, err := s.FindLot(ctx, storetest.StainlessLot); t.Log("find lot", time.Since(at), err, len(fl.Joints))
	for _, pl := range []string{"RVB/CT2/X001", "RVB"} {
	at = time.Now(); k := 0
	var miss int; var first time.Duration
	err = s.Handover(ctx, d.place(pl), func(h store.HandoverHead) error { miss = len(h.Missing); first = time.Since(at); return nil }, func(store.HandoverJoint) error { k++; return nil })
	t.Log("handover", pl, "head", first, "all", time.Since(at), err, k, miss)
	}
	}
}
