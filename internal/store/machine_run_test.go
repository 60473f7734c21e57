package store_test

import (
	"context"
	"database/sql"
	"flag"
	"testing"
	"time"

	"pgregory.net/rapid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// story is what chance may do with a machine: how it begins, what may come in any order, and
// what ends it.
type story struct {
	begin   func(*machine, *rapid.T)
	actions func(*machine) map[string]func(*rapid.T)
	end     func(*machine, *rapid.T)
}

// mostSteps bounds a story, whose length chance draws.
var mostSteps = map[string]int{storetest.SQLite().Name: 60, storetest.Postgres().Name: 15}

// letChance has chance tell a story many times, each with a database of its own. On
// PostgreSQL, where everything takes longer, it is a third as many times and shorter, with
// two servers. A failure names the seed that repeats it.
func letChance(t *testing.T, told story) {
	t.Helper()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		times, failed := 0, false
		rapid.Check(t, func(rt *rapid.T) {
			if times++; e.Name == storetest.Postgres().Name && times%3 != 1 && !failed {
				return
			}
			whole := false
			defer func() { failed = failed || !whole }() // then each time counts, to make it shorter
			m := newMachine(t, rt, e)
			defer m.closeAll(rt)
			told.begin(m, rt)
			actions, steps := told.actions(m), 0
			for name, action := range actions {
				actions[name] = func(rt *rapid.T) {
					if steps++; steps <= mostSteps[e.Name] {
						action(rt)
					}
				}
			}
			rt.Repeat(actions)
			told.end(m, rt)
			whole = true
		})
	})
}

// fewChecks makes rapid run as many checks as fit beside the other tests, unless
// the command line says otherwise (-rapid.checks, rapid's own default is 100).
func fewChecks() {
	if err := flag.Lookup("rapid.checks").Value.Set("5"); err != nil {
		panic(err)
	}
}

type machine struct {
	t      *testing.T
	config store.Config
	// s is the server that is asked; other is another at the same database, nil where
	// there may be one only.
	s, other *store.Store
	model    *model
	// draws makes the records of the story.
	draws func(*rapid.T) ledger.Record
	// raw is the database itself, where a story looks into it.
	raw *sql.DB
	// tools are those that a story of tools is about.
	tools []string
	// sent are records that were sent before, kept or not.
	sent []ledger.Record
	// clock makes every id and every moment of the past another one, latest every
	// present one.
	clock  int
	latest time.Time
}

func newMachine(t *testing.T, rt *rapid.T, e storetest.Engine) *machine {
	m := &machine{t: t, config: e.NewConfig(t), model: newModel()}
	m.draws = m.draw
	m.open(rt)
	ctx, f := context.Background(), storetest.NewFleet()
	for _, err := range []error{
		second(m.s.RegisterSites(ctx, f.Sites, store.Change{})),
		second(m.s.RegisterSpecifications(ctx, f.Specifications, store.Change{})),
		second(m.s.RegisterTowers(ctx, f.Towers, store.Change{})),
		second(m.s.RegisterCells(ctx, f.Cells, store.Change{})),
	} {
		if err != nil {
			rt.Fatal(err)
		}
	}
	if e.Name == storetest.Postgres().Name {
		m.other = m.s
		m.open(rt)
	}
	return m
}

// registerAll begins with everything registered that records name.
func (m *machine) registerAll(rt *rapid.T) {
	ctx, f := context.Background(), storetest.NewFleet()
	for _, err := range []error{
		second(m.s.RegisterLots(ctx, f.Lots, store.Change{})), second(m.s.RegisterTools(ctx, f.Tools, store.Change{})),
		second(m.s.RegisterPeople(ctx, f.People, store.Change{})), second(m.s.RegisterJoints(ctx, machineJoints(), store.Change{})),
	} {
		if err != nil {
			rt.Fatal(err)
		}
	}
	for _, lot := range f.Lots {
		m.model.lots[lot.Number] = lot
	}
	for _, tool := range f.Tools {
		m.model.tools[tool.Serial] = tool
	}
	for _, person := range f.People {
		m.model.people[person.ID] = person
	}
	for _, joint := range machineJoints() {
		m.model.joints[joint.Place] = joint
	}
}

func second[T any](_ T, err error) error { return err }

func (m *machine) open(rt *rapid.T) {
	var err error
	if m.s, err = store.Open(context.Background(), m.config); err != nil {
		rt.Fatal(err)
	}
}

func (m *machine) close(rt *rapid.T) {
	if err := m.s.Close(); err != nil {
		rt.Error(err)
	}
}

func (m *machine) closeAll(rt *rapid.T) {
	m.close(rt)
	if m.other != nil {
		m.s = m.other
		m.close(rt)
	}
}

// change goes on with the other server, where two may be at one database.
func (m *machine) change(rt *rapid.T) {
	if m.other == nil {
		rt.Skip("one server to a database")
	}
	m.s, m.other = m.other, m.s
}

// agree compares the store's answers with the model's.
func (m *machine) agree(rt *rapid.T, what string, outcomes []store.Outcome, err error, want []answer) {
	rt.Helper()
	if err != nil || len(outcomes) != len(want) {
		rt.Fatalf("%s: %d outcomes, %v; expected %d", what, len(outcomes), err, len(want))
	}
	for i, o := range outcomes {
		got := answer{state: o.State}
		if o.Err != nil {
			got.reason = o.Err.Reason
		}
		if got != want[i] {
			rt.Fatalf("%s, member %d: %v (%v); the model says %v", what, i, got, o.Err, want[i])
		}
	}
}
