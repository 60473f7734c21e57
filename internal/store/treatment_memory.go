package store

import (
	"maps"
	"slices"

	"jointledger/internal/ledger"
	"jointledger/internal/recent"
)

// treatmentMemory remembers which of two conflicting treatments the threads of a
// joint were ever given, so that a tightening need not read all those before it.
// What it knows of a site's joints holds for one place in the site's chain: where
// the head is another when the chain is locked, another server has written, and
// nothing is known of the site any more. Only the writer uses it.
type treatmentMemory struct {
	chains map[int]*rememberedChain // by site
	joints *recent.Cache[int, seenTreatments]
	// generations counts what was begun anew.
	generations int
}

// rememberedChain is the place in a site's chain up to which joints are known.
type rememberedChain struct {
	sequence   int64
	generation int
}

// seenTreatments are the conflicting treatments that a joint ever got, as bits;
// they are known while the site's generation is this one.
type seenTreatments struct {
	generation int
	bits       uint16
}

// conflicting gives for each of the two treatments that are in conflict the other.
var conflicting = map[ledger.Treatment]ledger.Treatment{
	ledger.TreatmentAntiSeize: ledger.TreatmentThreadLocking, ledger.TreatmentThreadLocking: ledger.TreatmentAntiSeize,
}

func newTreatmentMemory() *treatmentMemory {
	return &treatmentMemory{chains: map[int]*rememberedChain{}, joints: recent.New[int, seenTreatments](rememberedNames)}
}

// treatedHere is what a transaction itself has added to chains and joints.
type treatedHere struct {
	sequences map[int]int64  // by site
	bits      map[int]uint16 // by joint
	sites     map[int]int    // by joint
}

// followChains forgets what is known of sites whose chains went on without us. It
// comes after the chains are locked.
func (t *tx) followChains(chains map[int]*chainHead) {
	if t.statements == nil || t.dry {
		return
	}
	m := t.treatments
	for site, head := range chains {
		known, ok := m.chains[site]
		if sequence, own := t.treated.sequences[site]; ok && (own && sequence == head.sequence || !own && known.sequence == head.sequence) {
			continue
		}
		m.generations++
		m.chains[site] = &rememberedChain{head.sequence, m.generations}
	}
}

// seen gives the conflicting treatments that a joint ever got; false when that is
// not known.
func (t *tx) seen(site, joint int) (bits uint16, known bool) {
	if t.statements == nil || t.dry {
		return 0, false
	}
	chain, one := t.treatments.chains[site], seenTreatments{}
	if chain != nil {
		one, known = t.treatments.joints.Get(joint)
	}
	if !known || one.generation != chain.generation {
		return 0, false
	}
	return one.bits | t.treated.bits[joint], true
}

// rememberTreatments keeps what was read of joints, given with their sites, for when
// this transaction has committed.
func (t *tx) rememberTreatments(joints map[int]int, found map[int][]treated) {
	if t.statements == nil || t.dry || len(joints) == 0 {
		return
	}
	known := make(map[int]seenTreatments, len(joints))
	for joint, site := range joints {
		if chain := t.treatments.chains[site]; chain != nil {
			one := seenTreatments{generation: chain.generation}
			for _, f := range found[joint] {
				one.bits |= 1 << f.treatment
			}
			known[joint] = one
		}
	}
	t.learn(func() {
		for joint, one := range known {
			t.treatments.joints.Add(joint, one)
		}
	})
}

// wroteTreatments notes what a wave has added. It is learnt when the transaction has
// committed.
func (t *tx) wroteTreatments(rows []*staged, chains map[int]*chainHead) {
	if t.statements == nil || t.dry {
		return
	}
	if t.treated.sequences == nil {
		t.treated = treatedHere{map[int]int64{}, map[int]uint16{}, map[int]int{}}
	}
	for site, head := range chains {
		t.treated.sequences[site] = head.sequence
	}
	for _, r := range rows {
		if v, ok := r.Record.(*ledger.Tightening); ok && conflicting[v.Treatment] != 0 {
			t.treated.bits[r.keys.joint] |= 1 << v.Treatment
			t.treated.sites[r.keys.joint] = r.keys.site
		}
	}
	here := treatedHere{maps.Clone(t.treated.sequences), maps.Clone(t.treated.bits), maps.Clone(t.treated.sites)}
	t.learn(func() { t.treatments.wrote(here) })
}

// wrote moves what is known to the chains' new heads.
func (m *treatmentMemory) wrote(here treatedHere) {
	for joint, bits := range here.bits {
		chain := m.chains[here.sites[joint]]
		if one, ok := m.joints.Get(joint); ok && chain != nil && one.generation == chain.generation {
			one.bits |= bits
			m.joints.Add(joint, one)
		}
	}
	for site, sequence := range here.sequences {
		if chain := m.chains[site]; chain != nil {
			chain.sequence = sequence
		}
	}
}

// unknownTreatments gives the joints of the rows that bring one of two conflicting
// treatments and may have had the other, with their sites.
func (t *tx) unknownTreatments(rows []*staged) map[int]int {
	joints := map[int]int{}
	for _, r := range rows {
		v, ok := r.Record.(*ledger.Tightening)
		if !ok || r.keys.joint == 0 {
			continue
		}
		others := othersOf(v)
		if others == 0 {
			continue
		}
		if bits, known := t.seen(r.keys.site, r.keys.joint); !known || bits&others != 0 {
			joints[r.keys.joint] = r.keys.site
		}
	}
	return joints
}

// othersOf are the treatments, as bits, that what a tightening puts on the threads is
// in conflict with. A batch of compound tells what was put there where the treatment
// does not, and may be either.
func othersOf(v *ledger.Tightening) uint16 {
	if other := conflicting[v.Treatment]; other != 0 {
		return 1 << other
	}
	if v.CompoundBatch == "" {
		return 0
	}
	return 1<<ledger.TreatmentAntiSeize | 1<<ledger.TreatmentThreadLocking
}

// sortedKeys are the keys in rising order, for a query.
func sortedKeys(joints map[int]int) []any {
	var keys []any
	for _, k := range slices.Sorted(maps.Keys(joints)) {
		keys = append(keys, k)
	}
	return keys
}
