package rules

import (
	"math"
	"slices"
	"sync"

	"jointledger/internal/ledger"
)

// Rule is one row of the rules table.
type Rule struct {
	Code       string
	Severities []Severity // those that its findings can have
	// Limit is the limit with its number and its source.
	Limit string
	// Sentence says when it fires.
	Sentence string
	// Kinds are the records that it judges.
	Kinds []ledger.RecordKind

	// check gives what the record breaks. The registry fills in the code, and the
	// severity of a rule that has only one.
	check func(*Facts) []Finding
}

var (
	tightenings = []ledger.RecordKind{ledger.KindTightening}
	toolUses    = []ledger.RecordKind{ledger.KindTightening, ledger.KindInspection}
	attempts    = []ledger.RecordKind{ledger.KindTightening, ledger.KindIncident}
	sealings    = []ledger.RecordKind{ledger.KindSealing}
	inspections = []ledger.RecordKind{ledger.KindInspection}
	custodies   = []ledger.RecordKind{ledger.KindCustody}
	consumers   = []ledger.RecordKind{ledger.KindTightening, ledger.KindSealing}
)

// table and byKind are made when a record is first judged: a program that judges none
// need not wait for them.
var table = sync.OnceValue(func() []Rule {
	return slices.Concat(toolRules(), torqueRules(), treatmentRules(), lotRules(), sealRules(), peopleRules())
})

// byKind are the rules that judge a kind of record, in the order of the table.
var byKind = sync.OnceValue(func() *[math.MaxUint8 + 1][]Rule {
	m := new([math.MaxUint8 + 1][]Rule)
	for _, r := range table() {
		for _, k := range r.Kinds {
			m[k] = append(m[k], r)
		}
	}
	return m
})

// Table is the whole rules table, in its fixed order.
func Table() []Rule {
	t := slices.Clone(table())
	for i := range t {
		t[i].Severities, t[i].Kinds = slices.Clone(t[i].Severities), slices.Clone(t[i].Kinds)
	}
	return t
}

// Find looks up a rule by its code.
func Find(code string) (Rule, bool) {
	for _, r := range Table() {
		if r.Code == code {
			return r, true
		}
	}
	return Rule{}, false
}

// Check gives every rule that the record breaks, in the order of the table.
// Facts without a record break none.
func Check(f Facts) []Finding {
	if f.Record == nil {
		return nil
	}
	var all []Finding
	for _, r := range byKind()[f.Record.RecordKind()] {
		for _, finding := range r.check(&f) {
			finding.Rule = r.Code
			if finding.Severity == 0 {
				finding.Severity = r.Severities[0]
			}
			all = append(all, finding)
		}
	}
	return all
}
