package rules_test

import (
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

func TestLotHeld(t *testing.T) {
	run(t, "lot-held", []scene{
		{name: "released", facts: tightened},
		// The state is that of now, which says nothing about the time of the record.
		{name: "quarantined now", facts: tightened, change: func(f *rules.Facts) { f.Lot.State = ledger.LotQuarantined }},
		{name: "an open hold", facts: tightened, change: func(f *rules.Facts) { f.LotHeld = true }, severity: "hold", says: "on hold"},
		{name: "an open hold, lot not known", facts: tightened, change: func(f *rules.Facts) { f.LotHeld, f.Lot = true, nil }, severity: "hold"},
		{name: "gone over again", facts: tightened, change: func(f *rules.Facts) {
			f.LotHeld, tightening(f).Pass = true, ledger.PassRetightening
		}, severity: "hold"},
		{name: "a fastener that failed", facts: galled, change: func(f *rules.Facts) { f.LotHeld = true }, severity: "hold"},
		{name: "an incident that drove none", facts: galled, change: func(f *rules.Facts) {
			f.LotHeld, f.Record.(*ledger.Incident).Kind = true, ledger.CoatingDamage
		}},
		{name: "used up", facts: tightened, change: func(f *rules.Facts) { f.Lot.State = ledger.LotUsedUp }},
		{name: "a sealing", facts: sealed, change: func(f *rules.Facts) { f.LotHeld = true }},
	})
}

func TestLotNotHere(t *testing.T) {
	run(t, "lot-not-here", []scene{
		{name: "received", facts: tightened},
		{name: "never received", facts: tightened, change: func(f *rules.Facts) { f.LotReceivedHere = false }, severity: "warn", says: "site RVB"},
		{name: "a fastener that failed", facts: galled, change: func(f *rules.Facts) { f.LotReceivedHere = false }, severity: "warn"},
		{name: "stock not known", facts: tightened, change: func(f *rules.Facts) { f.LotStockKnown, f.LotReceivedHere = false, false }},
	})
}

func TestLotOverdrawn(t *testing.T) {
	left := func(n int64) func(*rules.Facts) { return func(f *rules.Facts) { f.LotOnHandBefore = n } }
	run(t, "lot-overdrawn", []scene{
		{name: "the last ones", facts: tightened, change: left(12)},
		{name: "one more than there were", facts: tightened, change: left(11), severity: "warn", figure: 12, limit: 11, says: "12 fasteners of lot L1"},
		{name: "overdrawn already", facts: tightened, change: left(-40), severity: "warn", figure: 12, says: "only 0"},
		{name: "fasteners that failed", facts: galled, change: left(1), severity: "warn", figure: 2, limit: 1},
		{name: "gone over again", facts: tightened, change: func(f *rules.Facts) { left(0)(f); tightening(f).Pass = ledger.PassFinal }},
		{name: "never received: reported as that", facts: tightened, change: func(f *rules.Facts) { left(0)(f); f.LotReceivedHere = false }},
		{name: "stock not known", facts: tightened, change: func(f *rules.Facts) { left(0)(f); f.LotStockKnown = false }},
	})
}

func TestCountOverJoint(t *testing.T) {
	driven := func(n int) func(*rules.Facts) { return func(f *rules.Facts) { tightening(f).Fasteners = n } }
	run(t, "count-over-joint", []scene{
		{name: "as many as it has", facts: tightened, change: driven(12)},
		{name: "one more", facts: tightened, change: driven(13), severity: "warn", figure: 13, limit: 12, says: "13 fasteners were recorded as tightened at once in joint RVB/CT1/C1/J001, which has 12."},
		{name: "gone over again", facts: tightened, change: func(f *rules.Facts) { driven(24)(f); tightening(f).Pass = ledger.PassRetightening }},
		{name: "a final pass", facts: tightened, change: func(f *rules.Facts) { driven(24)(f); tightening(f).Pass = ledger.PassFinal }},
		{name: "fasteners that failed", facts: galled, change: func(f *rules.Facts) { f.Record.(*ledger.Incident).Fasteners = 40 }},
		{name: "joint not known", facts: tightened, change: func(f *rules.Facts) { driven(13)(f); f.Joint = nil }},
	})
}

func TestFastenerSubstituted(t *testing.T) {
	lot := func(change func(*ledger.Fastener)) func(*rules.Facts) {
		return func(f *rules.Facts) { change(&f.Lot.Fastener) }
	}
	run(t, "fastener-substituted", []scene{
		{name: "as specified", facts: tightened},
		{name: "another thread", facts: tightened, change: lot(func(b *ledger.Fastener) { b.Thread = "M12" }), severity: "hold", says: "thread M12 instead of M10"},
		// ISO 261: M10 alone means the coarse pitch, 1.5 mm.
		{name: "the same thread in other words", facts: tightened, change: lot(func(b *ledger.Fastener) { b.Thread = "m10 x 1.5" })},
		{name: "a fine pitch", facts: tightened, change: lot(func(b *ledger.Fastener) { b.Thread = "M10x1.25" }), severity: "hold"},
		{name: "a thread of no table", facts: tightened, change: func(f *rules.Facts) {
			f.Specification.Fastener.Thread, f.Lot.Fastener.Thread = "ST 4.8", "st4.8"
		}},
		{name: "longer", facts: tightened, change: lot(func(b *ledger.Fastener) { b.LengthMillimetres = 35 }), severity: "hold", says: "length 35 mm instead of 30 mm"},
		// 1-1/4 in = 31.75 mm exactly.
		{name: "a rounded inch length", facts: tightened, change: func(f *rules.Facts) {
			f.Specification.Fastener.LengthMillimetres, f.Lot.Fastener.LengthMillimetres = 31.75, 31.8
		}},
		{name: "another material", facts: tightened, change: lot(func(b *ledger.Fastener) { b.Material = ledger.Stainless316 }), severity: "hold", says: "316 instead of 304"},
		{name: "another class", facts: tightened, change: lot(func(b *ledger.Fastener) { b.PropertyClass = "A2-80" }), severity: "hold"},
		{name: "the same class in other words", facts: tightened, change: lot(func(b *ledger.Fastener) { b.PropertyClass = "a2 70" })},
		{name: "another coating", facts: tightened, change: lot(func(b *ledger.Fastener) { b.Coating = "wax" }), severity: "hold"},
		{name: "another head", facts: tightened, change: lot(func(b *ledger.Fastener) { b.Head = "hex" }), severity: "hold"},
		{name: "properties left open", facts: tightened, change: lot(func(b *ledger.Fastener) {
			b.LengthMillimetres, b.PropertyClass, b.Coating, b.Head = 0, "", "", ""
		})},
		{name: "approved", facts: tightened, change: func(f *rules.Facts) { substitute(f, 0) }, severity: "note", says: "needs one washer more"},
		{name: "approved for something else", facts: tightened, change: func(f *rules.Facts) {
			substitute(f, 0)
			f.Lot.Fastener.LengthMillimetres = 40
		}, severity: "hold", says: "no substitution is approved"},
		{name: "approved for another specification", facts: tightened, change: func(f *rules.Facts) {
			substitute(f, 0)
			f.Substitutions[0].Specification = "S2"
		}, severity: "hold"},
		{name: "not approved by anybody", facts: tightened, change: func(f *rules.Facts) {
			substitute(f, 0)
			f.Substitutions[0].ApprovedBy = ""
		}, severity: "hold"},
		{name: "lot not known", facts: tightened, change: func(f *rules.Facts) { f.Lot = nil }},
		{name: "specification not known", facts: tightened, change: func(f *rules.Facts) { f.Specification = nil }},
	})
}
