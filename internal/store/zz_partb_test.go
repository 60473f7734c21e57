package store_test
import ("testing";"time";"fmt";"context";"jointledger/internal/store/storetest";"jointledger/internal/ledger";"jointledger/internal/store")
func TestZZHolds(t *testing.T) {
	ctx := context.Background()
	d := newDiary(t, storetest.SQLite())
	var more []ledger.Joint
	for i := range 700 { more = append(more, ledger.Joint{Place: d.place(fmt.Sprintf("RVB/CT2/C1/K%04d", i)), Kind: ledger.JointMechanical, Specification: storetest.Galvanized, Fasteners: 2}) }
	d.s.RegisterJoints(ctx, more, store.Change{})
	var work []ledger.Record
	for _, j := range more { work = append(work, &ledger.Hold{Entry: ledger.Entry{ID: storetest.NewID(), OccurTime: storetest.Occurred, Person: storetest.DenverPerson}, Action: ledger.HoldPlaced, Place: j.Place, Reason: "x"}) }
	at := time.Now()
	storetest.Record(t, d.s, work...)
	t.Log("record", time.Since(at)); at = time.Now()
	_, _ , err := d.s.JointStates(ctx, d.place("RVB"), false, store.Page{Size: 1000})
	t.Log("states", time.Since(at), err); at = time.Now()
	d.s.Progress(ctx, d.place("RVB"))
	t.Log("progress", time.Since(at), err); at = time.Now()
	d.s.Records(ctx, store.RecordFilter{Kind: ledger.KindHold}, store.Page{Size: 1000})
	t.Log("records", time.Since(at), err)
	at = time.Now()
	d.s.OpenHolds(ctx, store.HoldFilter{Site: "RVB"})
	t.Log("open", time.Since(at), err)
}
