package store_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// TestStateMachine lets chance write to a store and to the model at once: things
// registered, records of all kinds sent, resent, altered, batched and corrected, holds
// released once and twice, the store closed and opened again. Every answer must be the
// model's, and so must the figures and the states of joints in the end, also for who sees
// one site.
func TestStateMachine(t *testing.T) {
	t.Parallel()
	letChance(t, story{
		begin: func(m *machine, rt *rapid.T) {
			if evenly(rt, 4, "already registered") > 0 {
				m.registerAll(rt)
			}
		},
		actions: func(m *machine) map[string]func(*rapid.T) {
			return map[string]func(*rapid.T){
				"register":      m.register,
				"revise":        m.revise,
				"move a tool":   m.moveTool,
				"record":        m.recordNew,
				"record again":  m.recordAgain,
				"correct":       m.correct,
				"release twice": m.releaseTwice,
				"open again":    m.compareCold,
				"other server":  m.change,
				"compare":       m.compare,
			}
		},
		end: func(m *machine, rt *rapid.T) {
			m.releaseTwice(rt) // whatever chance did, each time
			m.compare(rt)
		},
	})
}

// register sends one to three things of the fleet of one kind, some of them
// altered or spoilt.
func (m *machine) register(rt *rapid.T) {
	f, ctx := storetest.NewFleet(), context.Background()
	odd := func() bool { return evenly(rt, 5, "odd") == 0 }
	n := rapid.IntRange(1, 3).Draw(rt, "n")
	var want []answer
	switch kind := rapid.SampledFrom([]string{"lots", "tools", "people", "joints"}).Draw(rt, "kind"); kind {
	case "lots":
		var items []ledger.Lot
		for range n {
			lot := rapid.SampledFrom(f.Lots).Draw(rt, "lot")
			if odd() {
				lot.Heat = rapid.SampledFrom([]string{"H-1", "spoilt\x00"}).Draw(rt, "heat")
			}
			items = append(items, lot)
			want = append(want, registerThing(m.model.lots, lot.Number, lot, len(lot.Validate()) == 0, true))
		}
		outcomes, err := m.s.RegisterLots(ctx, items, store.Change{})
		m.agree(rt, kind, outcomes, err, want)
	case "tools":
		var items []ledger.Tool
		for range n {
			tool := rapid.SampledFrom(f.Tools).Draw(rt, "tool")
			if odd() {
				tool.HomeSite = "RVX"
			}
			items = append(items, tool)
			want = append(want, registerThing(m.model.tools, tool.Serial, tool, true, tool.HomeSite != "RVX"))
		}
		outcomes, err := m.s.RegisterTools(ctx, items, store.Change{})
		m.agree(rt, kind, outcomes, err, want)
	case "people":
		var items []ledger.Person
		for range n {
			person := rapid.SampledFrom(f.People).Draw(rt, "person")
			items = append(items, person)
			want = append(want, registerThing(m.model.people, person.ID, person, true, true))
		}
		outcomes, err := m.s.RegisterPeople(ctx, items, store.Change{})
		m.agree(rt, kind, outcomes, err, want)
	case "joints":
		var items []ledger.Joint
		for range n {
			joint := rapid.SampledFrom(machineJoints()).Draw(rt, "joint")
			if odd() {
				joint.Fasteners = rapid.IntRange(0, 1).Draw(rt, "fasteners")
			}
			items = append(items, joint)
			want = append(want, registerThing(m.model.joints, joint.Place, joint, len(joint.Validate()) == 0, true))
		}
		outcomes, err := m.s.RegisterJoints(ctx, items, store.Change{})
		m.agree(rt, kind, outcomes, err, want)
	}
}

// revise makes a new revision of a specification.
func (m *machine) revise(rt *rapid.T) {
	code := rapid.SampledFrom([]string{storetest.Stainless, storetest.Galvanized, storetest.Seam}).Draw(rt, "specification")
	old := len(m.model.revisions[code]) + 1
	got, err := m.s.UpdateSpecification(context.Background(), code, old, store.Change{}, func(s *ledger.Specification) error {
		s.TorqueNewtonMetres++
		return nil
	})
	if err != nil || got.Version != old+1 {
		rt.Fatalf("revision %d, %v; the model says %d", got.Version, err, old+1)
	}
	m.model.revisions[code] = append(m.model.revisions[code], got.UpdateTime)
}

// moveTool sends a tool home to the other site.
func (m *machine) moveTool(rt *rapid.T) {
	serial := rapid.SampledFrom([]string{storetest.DenverWrench, storetest.KolkataWrench, storetest.ImpactWrench}).Draw(rt, "tool")
	site := rapid.SampledFrom([]string{storetest.Denver, storetest.Kolkata}).Draw(rt, "site")
	_, err := m.s.UpdateTool(context.Background(), serial, 0, store.Change{}, func(t *ledger.Tool) error { t.HomeSite = site; return nil })
	tool, known := m.model.tools[serial]
	if known != (err == nil) {
		rt.Fatalf("moving %s: %v; the model knows it: %t", serial, err, known)
	}
	if known {
		tool.HomeSite = site
		m.model.tools[serial] = tool
	}
}

// send sends a batch, or asks only what would become of it, and keeps in the model what
// it says is taken.
func (m *machine) send(rt *rapid.T, batch []ledger.Record) {
	m.sendAs(rt, batch, store.Change{ValidateOnly: evenly(rt, 6, "validate only") == 0})
}

func (m *machine) sendAs(rt *rapid.T, batch []ledger.Record, change store.Change) {
	model := m.model
	if change.ValidateOnly {
		model = m.model.clone()
	}
	model.batches++
	want := mapped(batch, model.take)
	outcomes, err := m.s.Record(context.Background(), resentAll(batch), change)
	m.agree(rt, "records", outcomes, err, want)
	m.sent = append(m.sent, batch...)
}

func (m *machine) recordNew(rt *rapid.T) {
	batch := make([]ledger.Record, rapid.IntRange(1, 5).Draw(rt, "n"))
	for i := range batch {
		batch[i] = m.draws(rt)
	}
	m.send(rt, batch)
}

// recordAgain sends a batch of what was sent before, some of it altered or under
// another kind, among new records.
func (m *machine) recordAgain(rt *rapid.T) {
	if len(m.sent) == 0 {
		rt.Skip("nothing was sent yet")
	}
	var batch []ledger.Record
	for range rapid.IntRange(1, 5).Draw(rt, "n") {
		r := resent(rapid.SampledFrom(m.sent).Draw(rt, "sent before"))
		switch evenly(rt, 4, "how") {
		case 0:
			r.Head().Note += "!"
		case 1:
			id := r.Head().ID
			r = m.draws(rt)
			r.Head().ID = id
		}
		batch = append(batch, r)
	}
	m.send(rt, batch)
}

// correct corrects something that was sent, kept or not, with a replacement or
// without.
func (m *machine) correct(rt *rapid.T) {
	if len(m.sent) == 0 {
		rt.Skip("nothing was sent yet")
	}
	target := rapid.SampledFrom(m.sent).Draw(rt, "corrected")
	c := &ledger.Correction{Entry: m.entry(rt), Corrects: target.Head().ID, Reason: "it was typed wrong"}
	switch evenly(rt, 4, "replacement") {
	case 0: // withdrawn
	case 1:
		c.With = m.draws(rt) // of another kind, perhaps
		if k := c.With.RecordKind(); k == ledger.KindHold || k == ledger.KindDisposition {
			c.With = nil // they replace nothing
		}
	default:
		if _, again := target.(*ledger.Correction); again {
			break
		}
		c.With = resent(target)
		c.With.Head().ID, c.With.Head().OccurTime = m.id(), m.moment(rt)
	}
	if c.With != nil {
		c.Replacement = c.With.Head().ID
	}
	m.send(rt, []ledger.Record{c})
}

// compare holds the store's figures to the model's.
func (m *machine) compare(rt *rapid.T) {
	ctx := context.Background()
	report, err := m.s.Verify(ctx)
	if err != nil || !report.OK() {
		rt.Fatalf("verify: %+v, %v", report, err)
	}
	lengths, err := lengthsWithoutAutomaticHolds(m.s, report)
	if err != nil {
		rt.Fatal(err)
	}
	want := map[string]int64{storetest.Denver: 0, storetest.Kolkata: 0}
	for _, k := range m.model.kept {
		want[k.site]++
		m.compareRecord(rt, k)
	}
	if diff := cmp.Diff(want, lengths); diff != "" {
		rt.Fatalf("lengths of the chains (-model +store):\n%s", diff)
	}
	m.compareStates(rt)
	m.compareSeen(rt)
	counting := m.model.counting()
	for _, by := range [][]analysis.Grouping{{analysis.BySite, analysis.ByMonth}, {analysis.ByLot, analysis.ByTreatment}, {analysis.ByTool}} {
		q := analysis.CountQuery{GroupBy: by}
		got, err := m.s.Counts(ctx, q)
		got = slices.DeleteFunc(got, func(c analysis.Count) bool { return c.Tightened == 0 && c.Incidents == [16]int64{} })
		if diff := cmp.Diff(referenceCounts(counting, q, storetest.NewFleet()), got, given); err != nil || diff != "" {
			rt.Fatalf("counts by %v, %v (-model +store):\n%s", by, err, diff)
		}
	}
	for number := range m.model.lots {
		got, err := m.s.LotStock(ctx, number)
		got = slices.DeleteFunc(got, func(s ledger.LotStock) bool { return s == ledger.LotStock{Site: s.Site} })
		if diff := cmp.Diff(m.model.stock(number), got, given); err != nil || diff != "" {
			rt.Fatalf("stock of %s, %v (-model +store):\n%s", number, err, diff)
		}
	}
}

func (m *machine) compareRecord(rt *rapid.T, k *modelRecord) {
	got, err := m.s.FindRecord(context.Background(), k.record.RecordKind(), k.record.Head().ID)
	if err != nil {
		rt.Fatalf("%s: %v", ledger.RecordResource(k.record), err)
	}
	want := resent(k.record)
	if c, ok := want.(*ledger.Correction); ok {
		c.With = nil // it stands for itself
	}
	if diff := cmp.Diff(want, resent(got)); diff != "" {
		rt.Fatalf("%s (-model +store):\n%s", ledger.RecordResource(got), diff)
	}
	specification := ledger.SpecificationRef{}
	switch r := got.(type) {
	case *ledger.Sealing:
		specification = r.Specification
	case *ledger.Hold:
		if r.ReleasedBy != k.releasedBy {
			rt.Fatalf("%s is released by %s; the model says %s", ledger.RecordResource(got), r.ReleasedBy, k.releasedBy)
		}
	case *ledger.Tightening:
		specification = r.Specification
	case *ledger.Incident:
		specification = r.Specification
	}
	if head := got.Head(); specification != k.specification || head.CorrectedBy != k.correctedBy || got.SiteCode() != k.site {
		rt.Fatalf("%s at %s under %v, corrected by %s; the model says %s, %v, %s", ledger.RecordResource(got),
			got.SiteCode(), specification, head.CorrectedBy, k.site, k.specification, k.correctedBy)
	}
}

// id makes an id of version 7 that is the same when a run is repeated.
func (m *machine) id() uuid.UUID {
	m.clock++
	id := uuid.UUID{0x01, 0x9c, 6: 0x70, 8: 0x80}
	id[14], id[15] = byte(m.clock>>8), byte(m.clock)
	return id
}

// moment is another one at each call: the present, or one of the past in no order.
func (m *machine) moment(rt *rapid.T) time.Time {
	if evenly(rt, 4, "present") == 0 {
		now := ledger.Microseconds(time.Now())
		if !now.After(m.latest) {
			now = m.latest.Add(time.Microsecond)
		}
		m.latest = now
		return now
	}
	m.clock++
	hours := evenly(rt, 60*24, "hours")
	return storetest.Occurred.Add(time.Duration(hours)*time.Hour + time.Duration(m.clock)*time.Microsecond)
}
