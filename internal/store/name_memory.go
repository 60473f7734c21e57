package store

import (
	lru "github.com/hashicorp/golang-lru/v2"

	"jointledger/internal/recent"
)

// nameMemory remembers the keys of names. A name never changes and nothing is ever
// deleted, so what was committed once stays true, in other servers' hands too. There are
// very many, nearly all of them short, and those are kept without a pointer.
type nameMemory struct {
	short *recent.Cache[shortName, int]
	long  *lru.Cache[nameKey, int]
}

// shortName is a name of few bytes, with its noun and the key of its parent.
type shortName struct {
	parent       int64
	noun, length uint8
	text         [22]byte
}

// The names remembered. Half of them are always there: more than the joints that two
// hundred sites of three crews, with twenty joints each, work on in a day.
const (
	rememberedNames     = 40_000
	rememberedLongNames = 5_000
)

func newNameMemory() *nameMemory {
	return &nameMemory{recent.New[shortName, int](rememberedNames), memory[nameKey, int](rememberedLongNames)}
}

// nounNumbers are what stands for a noun's collection.
var nounNumbers = func() map[string]uint8 {
	numbers := map[string]uint8{}
	for i, n := range []noun{siteNoun, towerNoun, cellNoun, jointNoun, specNoun, lotNoun, toolNoun, personNoun, alarmRuleNoun} {
		numbers[n.collection] = uint8(i)
	}
	return numbers
}()

// short gives a key without pointers; false when the name is too long for one.
func (k nameKey) short() (s shortName, ok bool) {
	number, known := nounNumbers[k.collection]
	if len(k.name) > len(s.text) || !known {
		return s, false
	}
	s.parent, s.noun, s.length = int64(k.parent), number, uint8(len(k.name))
	copy(s.text[:], k.name)
	return s, true
}

func (m *nameMemory) get(k nameKey) (int, bool) {
	if s, ok := k.short(); ok {
		return m.short.Get(s)
	}
	return m.long.Get(k)
}

func (m *nameMemory) add(k nameKey, id int) {
	if s, ok := k.short(); ok {
		m.short.Add(s, id)
	} else {
		m.long.Add(k, id)
	}
}

func (m *nameMemory) forget() {
	m.short.Purge()
	m.long.Purge()
}
