package main

import (
	"math/rand/v2"
	"testing"
)

// Two that draw the same numbers are not given the same address, though nobody listens there.
func TestNoAddressIsGivenTwice(t *testing.T) {
	given := map[string]bool{}
	for range 2 {
		draw := rand.New(rand.NewPCG(1, 2))
		for range 5 {
			address, err := freeAddress(draw)
			if err != nil {
				t.Fatal(err)
			}
			if given[address] {
				t.Errorf("%s is given twice", address)
			}
			given[address] = true
		}
	}
}
