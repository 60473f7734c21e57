package recent_test

import (
	"sync"
	"testing"

	"pgregory.net/rapid"

	"jointledger/internal/recent"
)

// Whatever is done with it, it gives the last value of a key or none, keeps within its
// size, and has the half of its size that were used last.
func TestItKeepsWhatWasUsedLast(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(2, 12).Draw(t, "size")
		c := recent.New[int, int](size)
		last := map[int]int{}
		var used []int // the newest at the end
		use := func(key int) {
			for i, k := range used {
				if k == key {
					used = append(used[:i], used[i+1:]...)
					break
				}
			}
			used = append(used, key)
		}
		for n := range rapid.IntRange(1, 80).Draw(t, "steps") {
			key := rapid.IntRange(0, 20).Draw(t, "key")
			switch rapid.IntRange(0, 9).Draw(t, "step") {
			case 0, 1, 2, 3, 4:
				c.Add(key, n)
				last[key] = n
				use(key)
			case 5:
				if rapid.IntRange(0, 5).Draw(t, "purge") == 0 {
					c.Purge()
					clear(last)
					used = nil
				}
			default:
				got, ok := c.Get(key)
				want, added := last[key]
				if ok && (!added || got != want) {
					t.Fatalf("%d gives %d; expected %d, added %v", key, got, want, added)
				}
				if ok {
					use(key)
				}
			}
			if c.Len() > size {
				t.Fatalf("%d entries in a size of %d", c.Len(), size)
			}
		}
		for _, key := range used[max(0, len(used)-size/2):] {
			if got, ok := c.Get(key); !ok || got != last[key] {
				t.Fatalf("%d was used lately and gives %d, %v; expected %d", key, got, ok, last[key])
			}
		}
	})
}

func TestManyAtOnce(t *testing.T) {
	c := recent.New[int, int](100)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for n := range 2000 {
				c.Add(n%150, n%150)
				if v, ok := c.Get(n % 77); ok && v != n%77 {
					t.Errorf("%d gives %d", n%77, v)
				}
			}
		})
	}
	wg.Wait()
}
