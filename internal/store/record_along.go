package store

import "github.com/google/uuid"

// along is what is asked for a wave of records along with the lock on the chains, since
// the questions need nothing but what the records name.
type along struct {
	// known are the keys of those that are kept already, by id.
	known map[uuid.UUID]recordKey
	// stocks are the running sums of their lots, at all sites; counted is when these were
	// last counted by hand, where they were, and moved says of which lots movements are on
	// record. The chains are locked, so that nobody counts at the records' sites meanwhile.
	stocks  map[lotSite]*stockFacts
	counted map[lotSite]int64
	moved   map[int]bool
	// joints are what rules want to know of joints that seemed not to be remembered.
	joints map[int]jointFacts
	// treated are the conflicting treatments of the joints treatedOf.
	treated   map[int][]treated
	treatedOf map[int]bool
}

// mostAlong is up to how many records of a wave what the rules want is asked along. Of a
// longer one those that are kept already are left out first, as of an import that is made
// again; a round trip is little there.
const mostAlong = 64

// askAlong begins a wave's along anew and gives the questions that fill it. What is
// remembered is not asked; whether it still holds turns out only under the lock, and what
// does not is asked then.
func (t *tx) askAlong(rows []*staged) []question {
	t.along = along{
		known: map[uuid.UUID]recordKey{}, stocks: map[lotSite]*stockFacts{}, counted: map[lotSite]int64{}, moved: map[int]bool{},
		joints: map[int]jointFacts{}, treated: map[int][]treated{}, treatedOf: map[int]bool{},
	}
	all := allRows(rows)
	ids := make([]uuid.UUID, len(all))
	for i, r := range all {
		ids[i] = r.Head().ID
	}
	// The epoch of the register comes with the ids: what is read after it is not older.
	questions := append(t.knownKeys(ids), t.stocksOf(keysOf(all, func(r *staged) int { return r.lot }))...)
	if t.pipe == nil || t.unjudged || len(all) > mostAlong {
		return questions
	}
	questions = append(questions, jointQuestions(t.unknownJoints(all), t.along.joints)...)
	treatments := t.unknownTreatments(all)
	for joint := range treatments {
		t.along.treatedOf[joint] = true
	}
	return append(questions, treatmentQuestions(treatments, t.along.treated)...)
}

// unknownJoints are the rows' joints of which nothing is remembered, at whatever epoch, nor
// was looked up ahead; all of them where the memory can't be used.
func (t *tx) unknownJoints(rows []*staged) (unknown []any) {
	for _, joint := range keysOf(rows, func(r *staged) int { return r.keys.joint }) {
		if _, known := t.register.joints.Get(joint.(int)); t.registerChanged || !known && !t.lookedUpAhead(joint.(int)) {
			unknown = append(unknown, joint)
		}
	}
	return unknown
}

func (t *tx) lookedUpAhead(joint int) bool {
	for _, a := range t.ahead {
		if a != nil {
			if _, ok := a.joints[joint]; ok {
				return true
			}
		}
	}
	return false
}
