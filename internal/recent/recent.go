package recent

import "sync"

// Cache remembers entries in two generations: what is used is in the younger, and when
// that is full, the older is forgotten and the younger becomes it. So the last half of
// its size that were used are always there. It may be used by many at once.
type Cache[K comparable, V any] struct {
	mu             sync.Mutex
	half           int
	younger, older map[K]V
}

// New gives a cache of at most size entries; of two for a size below.
func New[K comparable, V any](size int) *Cache[K, V] {
	return &Cache[K, V]{half: max(1, size/2), younger: map[K]V{}, older: map[K]V{}}
}

// Get gives what is remembered under a key, and takes it for used.
func (c *Cache[K, V]) Get(key K) (value V, ok bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if value, ok = c.younger[key]; ok {
		return value, true
	}
	if value, ok = c.older[key]; ok {
		c.add(key, value)
	}
	return value, ok
}

// Add remembers a value under a key in place of another, and says whether entries were
// forgotten for it.
func (c *Cache[K, V]) Add(key K, value V) (forgot bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.add(key, value)
}

func (c *Cache[K, V]) add(key K, value V) (forgot bool) {
	if _, there := c.younger[key]; !there && len(c.younger) >= c.half {
		forgot = len(c.older) > 0
		c.younger, c.older = c.older, c.younger
		clear(c.younger)
	}
	c.younger[key] = value
	// An older value must not come back once the younger generation has gone.
	delete(c.older, key)
	return forgot
}

// Purge forgets everything.
func (c *Cache[K, V]) Purge() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.younger, c.older = map[K]V{}, map[K]V{}
}

// Len is how many entries there are.
func (c *Cache[K, V]) Len() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.younger) + len(c.older)
}
