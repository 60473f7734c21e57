package store

import (
	"context"

	lru "github.com/hashicorp/golang-lru/v2"

	"jointledger/internal/ledger"
	"jointledger/internal/recent"
)

// registerMemory remembers what the rules read and records seldom change, for as
// long as the register's epoch stands (ent/schema/register_epoch.go): to ask for
// it anew in each commit costs a round trip for each kind of it. Only the writer
// uses it, which is one goroutine.
type registerMemory struct {
	epoch         int64
	joints        *recent.Cache[int, jointFacts]
	revisions     *lru.Cache[int, []revisionInForce] // by specification
	lots          *lru.Cache[int, lotFacts]
	tools         *lru.Cache[int, toolRegister]
	people        *lru.Cache[int, *ledger.Person]
	batches       *lru.Cache[string, *ledger.Batch]
	substitutions *lru.Cache[string, []ledger.Substitution]
}

func newRegisterMemory() *registerMemory {
	return &registerMemory{
		epoch: -1, joints: recent.New[int, jointFacts](rememberedNames), revisions: memory[int, []revisionInForce](1000),
		lots: memory[int, lotFacts](5000), tools: memory[int, toolRegister](2000), people: memory[int, *ledger.Person](5000),
		batches: memory[string, *ledger.Batch](2000), substitutions: memory[string, []ledger.Substitution](1000),
	}
}

// at forgets what was read at another epoch.
func (m *registerMemory) at(epoch int64) {
	if m.epoch == epoch {
		return
	}
	*m = *newRegisterMemory()
	m.epoch = epoch
}

// remembers says whether this transaction may use the memory: it has read the
// epoch, after the chains were locked, and has changed nothing that is in it.
func (t *tx) remembers() bool { return t.statements != nil && t.epochKnown && !t.registerChanged }

// readEpoch tells the memory which epoch the transaction sees.
func (t *tx) readEpoch(epoch int64) {
	if t.statements == nil || t.epochKnown {
		return
	}
	t.epochKnown, t.epoch = true, epoch
	t.register.at(epoch)
	for _, a := range t.ahead {
		t.recallAhead(a)
	}
}

// touchRegister notes that this transaction changes what others remember.
func (t *tx) touchRegister() { t.registerChanged = true }

// moveEpoch counts the register's epoch up when the transaction has changed what
// others remember. It is the last statement before the commit, so that servers
// wait for one another here for as short as can be, and in the same order.
func (t *tx) moveEpoch(ctx context.Context) error {
	if !t.registerChanged {
		return nil
	}
	return t.exec(ctx, "UPDATE register_epoch SET epoch = epoch + 1 WHERE id = 1")
}

// remembering is a memory of either kind.
type remembering[K comparable, V any] interface {
	Get(key K) (V, bool)
	Add(key K, value V) bool
}

// recall gives what is known under keys: from the memory, and the rest by read.
// Absence is remembered too, as a zero value.
func recall[K comparable, V any, C remembering[K, V]](t *tx, from func(*registerMemory) C, keys []any, read func(missing []any) (map[K]V, error)) (map[K]V, error) {
	if !t.remembers() {
		return read(keys)
	}
	known := make(map[K]V, len(keys))
	var missing []any
	for _, k := range keys {
		if v, ok := from(t.register).Get(k.(K)); ok {
			known[k.(K)] = v
		} else {
			missing = append(missing, k)
		}
	}
	if len(missing) == 0 {
		return known, nil
	}
	found, err := read(missing)
	if err != nil {
		return nil, err
	}
	epoch := t.epoch
	t.learn(func() {
		if t.register.epoch != epoch {
			return
		}
		for _, k := range missing {
			from(t.register).Add(k.(K), found[k.(K)])
		}
	})
	for k, v := range found {
		known[k] = v
	}
	return known, nil
}

// changesRegister says whether a record changes what is remembered of a lot or a
// tool.
func changesRegister(r ledger.Record) bool {
	switch r := r.(type) {
	case *ledger.Calibration, *ledger.Custody, *ledger.Correction, *ledger.ToolCheck:
		return true
	case *ledger.Hold:
		return r.Lot != "" || r.Tool != ""
	case *ledger.Incident:
		return r.Kind == ledger.DroppedTool
	}
	return false
}
