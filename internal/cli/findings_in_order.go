package cli

import (
	"time"

	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// inOneGo is from how many records on the entries before them are read once for all: to
// look for what bears on each costs less while there are few.
const inOneGo = 32

// finder gives what the rules find on a record that was entered at a moment.
type finder func(r record, domain ledger.Record, entered time.Time) ([]rules.Finding, error)

// oneByOne finds for each record by itself what bears on it.
func (b *entriesBefore) oneByOne(p *pack.Pack) finder {
	return func(r record, domain ledger.Record, entered time.Time) ([]rules.Finding, error) {
		return findingsBy(p, domain, b.before(r), entered)
	}
}

// inOrder judges many records, which are to come in the order in which they were kept:
// what stands before one is carried on to the next.
func (b *entriesBefore) inOrder(p *pack.Pack) finder {
	site := p.Site().Code
	var ahead *known.Ahead
	at := 0 // up to where the entries are taken in
	one := b.oneByOne(p)
	return func(r record, domain ledger.Record, entered time.Time) ([]rules.Finding, error) {
		if domain.SiteCode() != site || !known.Carries(domain) {
			return one(r, domain, entered)
		}
		end := b.placeOf(r)
		if ahead != nil && !b.take(ahead, at, end) {
			ahead = nil
		}
		if ahead == nil {
			ahead = known.NewAhead(p, site, b.upTo(end))
		}
		at = end
		found, err := known.Findings(ahead, domain, nil, entered)
		return withoutUnknownTool(p, domain, found), err
	}
}

// take lets the source know the entries from one place up to another; false when one of
// them can't be carried on.
func (b *entriesBefore) take(ahead *known.Ahead, from, to int) bool {
	for _, e := range b.entries[from:to] {
		if !b.news(e) {
			continue
		}
		r := b.domain(e)
		if r == nil {
			continue // told by pending
		}
		if !known.Carries(r) {
			return false
		}
		ahead.Take(r)
	}
	return true
}

// upTo are all entries that count up to a place.
func (b *entriesBefore) upTo(end int) (before []ledger.Record) {
	for _, e := range b.entries[:end] {
		if b.news(e) {
			if r := b.domain(e); r != nil {
				before = append(before, r)
			}
		}
	}
	return before
}
