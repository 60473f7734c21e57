package outbox

import "github.com/google/uuid"

const (
	// compactAbove is how long the file may become before what is settled is dropped
	// from it: 1 MiB is read in a few milliseconds.
	compactAbove = 1 << 20
	// journal is how many settled entries stay, so that the last ones can be undone
	// and count where the carried data does not know them yet.
	journal = 1000
)

// compact writes the file anew without what was settled long ago, once it has become
// long and at least half of it can go.
func (f *file) compact() error {
	if f.head.length < f.box.compactAbove {
		return nil
	}
	have, err := f.load()
	if err != nil {
		return err
	}
	data, err := f.content()
	if err != nil {
		return err
	}
	frames, gaps := scan(data, headSize)
	if len(gaps) > 0 {
		return nil // the next reading mends it
	}
	drop := longSettled(have)
	var stay []frame
	length := headSize
	for _, fr := range frames {
		if e, err := readEvent(fr.payload); err == nil && drop[e.id] {
			continue
		}
		stay, length = append(stay, fr), length+fr.end-fr.at
	}
	if length > len(data)/2 {
		return nil
	}
	f.data = data
	// What was read stays true: the entries that were dropped are gone from the file
	// alone.
	return f.rewrite(stay)
}

// longSettled are the settled entries but the last ones.
func longSettled(have *entries) map[uuid.UUID]bool {
	drop := map[uuid.UUID]bool{}
	settled := 0
	for i := len(have.list) - 1; i >= 0; i-- {
		if e := have.list[i]; e.State.Settled() {
			if settled++; settled > journal {
				drop[e.ID] = true
			}
		}
	}
	return drop
}
