package rules_test

import (
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

func TestPersonUnqualified(t *testing.T) {
	holds := func(q ...ledger.Qualification) func(*rules.Facts) {
		return func(f *rules.Facts) { f.Person.Qualifications = q }
	}
	run(t, "person-unqualified", []scene{
		{name: "current", facts: tightened},
		// The record is of 12 May in Dublin.
		{name: "the last day", facts: tightened, change: holds(ledger.Qualification{Task: "bolting", ExpireDate: "2026-05-12"})},
		{name: "the day after", facts: tightened, change: holds(ledger.Qualification{Task: "bolting", ExpireDate: "2026-05-11"}), severity: "warn", figure: 1, says: "ended on 2026-05-11"},
		{name: "the last day ends at the site", facts: tightened, change: func(f *rules.Facts) {
			holds(ledger.Qualification{Task: "bolting", ExpireDate: "2026-05-12"})(f)
			f.Record.Head().OccurTime = at(t, "2026-05-12T23:00:00Z") // 00:00 on the 13th in Dublin
		}, severity: "warn", figure: 1},
		{name: "no expiry", facts: tightened, change: holds(ledger.Qualification{Task: "Bolting"})},
		{name: "renewed", facts: tightened, change: holds(ledger.Qualification{Task: "bolting", ExpireDate: "2026-01-31"}, ledger.Qualification{Task: "bolting", ExpireDate: "2027-01-31"})},
		{name: "the later of two lapsed is told", facts: tightened, change: holds(ledger.Qualification{Task: "bolting", ExpireDate: "2026-04-30"}, ledger.Qualification{Task: "bolting", ExpireDate: "2025-04-30"}), severity: "warn", figure: 12},
		{name: "none", facts: tightened, change: holds(), severity: "warn", says: "no qualification for bolting"},
		{name: "another task", facts: tightened, change: holds(ledger.Qualification{Task: "sealing"}), severity: "warn"},
		{name: "sealing by a bolter", facts: sealed},
		{name: "sealing by a sealer", facts: sealed, change: holds(ledger.Qualification{Task: "sealing"})},
		{name: "sealing by neither", facts: sealed, change: holds(ledger.Qualification{Task: "rigging"}), severity: "warn", says: "sealing or bolting"},
		{name: "an inspector without any on file", facts: inspected, change: holds()},
		{name: "an inspector whose own has lapsed", facts: inspected, change: holds(ledger.Qualification{Task: "inspection", ExpireDate: "2026-05-11"}), severity: "warn", figure: 1},
		{name: "an incident asks for none", facts: galled, change: holds()},
		{name: "person not known", facts: tightened, change: func(f *rules.Facts) { f.Person = nil }},
	})
}

// Five minutes ahead, a day behind: the project's own choice.
func TestClock(t *testing.T) {
	arrives := func(after time.Duration) func(*rules.Facts) {
		return func(f *rules.Facts) { f.ReceiveTime = f.Record.Head().OccurTime.Add(after) }
	}
	run(t, "clock", []scene{
		{name: "five minutes ahead", facts: tightened, change: arrives(-5 * time.Minute)},
		{name: "a second more", facts: tightened, change: arrives(-5*time.Minute - time.Second), severity: "warn", figure: 5.01667, limit: 5, says: "after it was taken in"},
		{name: "ahead with an offline mark", facts: tightened, change: func(f *rules.Facts) { arrives(-time.Hour)(f); f.Offline = true }, severity: "warn", figure: 60},
		{name: "a day behind", facts: tightened, change: arrives(24 * time.Hour)},
		{name: "a minute more", facts: tightened, change: arrives(24*time.Hour + time.Minute), severity: "warn", figure: 24.01667, limit: 24, says: "no offline mark"},
		{name: "behind with an offline mark", facts: tightened, change: func(f *rules.Facts) { arrives(300 * time.Hour)(f); f.Offline = true }},
		{name: "a sealing behind", facts: sealed, change: arrives(25 * time.Hour), severity: "warn"},
		{name: "a certificate comes days later", facts: tightened, change: func(f *rules.Facts) {
			f.Record = &ledger.Calibration{Entry: *f.Record.Head(), Tool: "W1"}
			arrives(300 * time.Hour)(f)
		}},
		{name: "a certificate from the future", facts: tightened, change: func(f *rules.Facts) {
			f.Record = &ledger.Calibration{Entry: *f.Record.Head(), Tool: "W1"}
			arrives(-time.Hour)(f)
		}, severity: "warn", figure: 60},
		{name: "arrival not known", facts: tightened, change: func(f *rules.Facts) { f.ReceiveTime = time.Time{} }},
	})
}
