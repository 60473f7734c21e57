package rules_test

import (
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// The lowest temperature is 4.4 °C, 40 °F, of air and surface (common practice,
// no source).
func TestSealCold(t *testing.T) {
	dry := func(air, surface float64) func(*rules.Facts) {
		return func(f *rules.Facts) {
			sealing(f).AirCelsius, sealing(f).SurfaceCelsius, sealing(f).HumidityPercent = number(air), number(surface), number(20)
		}
	}
	run(t, "seal-cold", []scene{
		{name: "both on the limit", facts: sealed, change: dry(4.4, 4.4)},
		{name: "40 °F", facts: sealed, change: dry((40-32)*5/9.0, (40-32)*5/9.0)},
		{name: "surface just under", facts: sealed, change: dry(10, 4.399), severity: "hold", figure: 4.399, limit: 4.4, says: "surface was at 4.399 °C"},
		{name: "air just under", facts: sealed, change: dry(4.399, 10), severity: "hold", figure: 4.399, limit: 4.4, says: "air was at"},
		{name: "the colder one is told", facts: sealed, change: dry(-2, 1), severity: "hold", figure: -2, limit: 4.4},
		{name: "only the air measured", facts: sealed, change: func(f *rules.Facts) { dry(3, 0)(f); sealing(f).SurfaceCelsius = nil }, severity: "hold", figure: 3},
		{name: "nothing measured", facts: sealed, change: func(f *rules.Facts) { sealing(f).AirCelsius, sealing(f).SurfaceCelsius = nil, nil }},
		{name: "the specification permits colder", facts: sealed, change: func(f *rules.Facts) {
			dry(-4, -4)(f)
			f.Specification.MinimumSurfaceCelsius = number(-5)
		}},
		{name: "the specification asks for warmer", facts: sealed, change: func(f *rules.Facts) {
			dry(9.9, 10)(f)
			f.Specification.MinimumSurfaceCelsius = number(10)
		}, severity: "hold", figure: 9.9, limit: 10},
		{name: "so does the maker", facts: sealed, change: func(f *rules.Facts) {
			dry(9, 9)(f)
			f.Specification.MinimumSurfaceCelsius, f.Batch.MinimumCelsius = number(4.4), number(10)
		}, severity: "hold", figure: 9, limit: 10},
		{name: "the maker permits colder, the specification does not", facts: sealed, change: func(f *rules.Facts) {
			dry(9, 9)(f)
			f.Specification.MinimumSurfaceCelsius, f.Batch.MinimumCelsius = number(10), number(-10)
		}, severity: "hold", figure: 9, limit: 10},
		{name: "the maker alone permits colder", facts: sealed, change: func(f *rules.Facts) {
			dry(-4, -4)(f)
			f.Batch.MinimumCelsius = number(-10)
		}},
		{name: "specification and batch not known", facts: sealed, change: func(f *rules.Facts) {
			dry(4.3, 4.3)(f)
			f.Specification, f.Batch = nil, nil
		}, severity: "hold", limit: 4.4},
	})
}

// Dew points of the coefficients of WMO-No. 8 (Sonntag 1990), reference, section
// I: 25 °C and 60 % 16.693, 30 °C and 55 % 19.972, 5 °C and 85 % 2.686, 10 °C and
// 90 % 8.434 °C (recomputed in the reference; 30/55 and 22/78 agree with published
// values, seen). The margin of 3 °C is guidance of ISO 8502-4, from memory.
func TestSealDew(t *testing.T) {
	weather := func(air, humidity, surface float64) func(*rules.Facts) {
		return func(f *rules.Facts) {
			sealing(f).AirCelsius, sealing(f).HumidityPercent, sealing(f).SurfaceCelsius = number(air), number(humidity), number(surface)
		}
	}
	run(t, "seal-dew", []scene{
		// "air 10 °C, RH 90, steel 11 °C: Td 8.43, margin 2.57 < 3, no-go although 10 ≥ 4.4".
		{name: "the worked example", facts: sealed, change: weather(10, 90, 11), severity: "hold", figure: 2.566, limit: 3, says: "2.57 °C over the dew point of 8.43 °C"},
		{name: "25 °C and 60 %, just under", facts: sealed, change: weather(25, 60, 19.690), severity: "hold", figure: 2.997},
		{name: "25 °C and 60 %, just over", facts: sealed, change: weather(25, 60, 19.696)},
		{name: "30 °C and 55 %, just under", facts: sealed, change: weather(30, 55, 22.969), severity: "hold", figure: 2.997},
		{name: "30 °C and 55 %, just over", facts: sealed, change: weather(30, 55, 22.975)},
		{name: "5 °C and 85 %, just under", facts: sealed, change: weather(5, 85, 5.683), severity: "hold", figure: 2.997},
		{name: "5 °C and 85 %, just over", facts: sealed, change: weather(5, 85, 5.689)},
		// At 100 % the air's own temperature is the dew point.
		{name: "saturated, on the limit", facts: sealed, change: weather(12, 100, 15)},
		{name: "saturated, just under", facts: sealed, change: weather(12, 100, 14.999), severity: "hold", figure: 2.999, limit: 3},
		{name: "surface not measured", facts: sealed, change: func(f *rules.Facts) { weather(10, 99, 0)(f); sealing(f).SurfaceCelsius = nil }},
		{name: "air not measured", facts: sealed, change: func(f *rules.Facts) { weather(10, 99, 10)(f); sealing(f).AirCelsius = nil }},
		{name: "humidity not measured", facts: sealed, change: func(f *rules.Facts) { weather(10, 99, 10)(f); sealing(f).HumidityPercent = nil }},
		{name: "a humidity that can't be", facts: sealed, change: weather(10, 0, 5)},
	})
}

// One hour from cleaning (common practice, no source).
func TestSealStaleClean(t *testing.T) {
	cleaned := func(before time.Duration) func(*rules.Facts) {
		return func(f *rules.Facts) { sealing(f).CleanTime = sealing(f).OccurTime.Add(-before) }
	}
	run(t, "seal-stale-clean", []scene{
		{name: "an hour", facts: sealed, change: cleaned(time.Hour)},
		{name: "a second more", facts: sealed, change: cleaned(time.Hour + time.Second), severity: "warn", figure: 1.000278, limit: 1, says: "1.0003 h after cleaning"},
		{name: "three hours", facts: sealed, change: cleaned(3 * time.Hour), severity: "warn", figure: 3},
		{name: "cleaning not known", facts: sealed, change: func(f *rules.Facts) { sealing(f).CleanTime = time.Time{} }},
	})
}

func TestSealWidth(t *testing.T) {
	width := func(v float64) func(*rules.Facts) { return func(f *rules.Facts) { sealing(f).WidthMillimetres = v } }
	run(t, "seal-width", []scene{
		{name: "as specified", facts: sealed, change: width(25.4)},
		{name: "wider", facts: sealed, change: width(30)},
		{name: "narrower", facts: sealed, change: width(25.3), severity: "warn", figure: 25.3, limit: 25.4},
		{name: "not measured", facts: sealed, change: width(0)},
		{name: "none specified", facts: sealed, change: func(f *rules.Facts) { width(1)(f); f.Specification.SealWidthMillimetres = 0 }},
		{name: "specification not known", facts: sealed, change: func(f *rules.Facts) { width(1)(f); f.Specification = nil }},
	})
}

func TestSealSplice(t *testing.T) {
	splice := func(v ledger.Splice) func(*rules.Facts) { return func(f *rules.Facts) { sealing(f).Splice = v } }
	run(t, "seal-splice", []scene{
		{name: "none", facts: sealed, change: splice(ledger.SpliceNone)},
		{name: "at a corner", facts: sealed, change: splice(ledger.SpliceCorner)},
		{name: "in mid-run", facts: sealed, change: splice(ledger.SpliceMidRun), severity: "hold", says: "mid-run"},
		{name: "not said", facts: sealed, change: splice(0)},
	})
}

// The last day of shelf life ends at midnight at the site: Adelaide is 9 h 30 min
// ahead of UTC in its winter.
func TestBatchExpired(t *testing.T) {
	used := func(when, last string) func(*rules.Facts) {
		return func(f *rules.Facts) {
			f.Record.Head().OccurTime, f.Batch.ExpireDate = at(t, when), last
			f.Location = zone(t, "Australia/Adelaide")
		}
	}
	run(t, "batch-expired", []scene{
		{name: "the last minute", facts: sealed, change: used("2026-06-15T14:29:59Z", "2026-06-15")},
		{name: "the day after begins", facts: sealed, change: used("2026-06-15T14:30:00Z", "2026-06-15"), severity: "hold", figure: 1, says: "used on 2026-06-16, 1 day after"},
		{name: "compound in a tightening", facts: tightened, change: used("2026-08-01T03:00:00Z", "2026-07-31"), severity: "hold", figure: 1},
		{name: "no zone known: the record's own offset", facts: sealed, change: func(f *rules.Facts) {
			used("2026-06-15T14:30:00Z", "2026-06-15")(f)
			f.Location, sealing(f).OffsetMinutes = nil, 570
		}, severity: "hold"},
		{name: "no shelf life", facts: sealed, change: used("2036-01-01T00:00:00Z", "")},
		{name: "batch not known", facts: sealed, change: func(f *rules.Facts) { used("2036-01-01T00:00:00Z", "2026-06-15")(f); f.Batch = nil }},
		{name: "no batch named", facts: sealed, change: func(f *rules.Facts) { used("2036-01-01T00:00:00Z", "2026-06-15")(f); sealing(f).Batch = "" }},
	})
}

func TestBatchKind(t *testing.T) {
	kind := func(k ledger.ConsumableKind) func(*rules.Facts) { return func(f *rules.Facts) { f.Batch.Kind = k } }
	run(t, "batch-kind", []scene{
		{name: "anti-seize", facts: tightened},
		{name: "sealant on threads", facts: tightened, change: kind(ledger.ConsumableGunGradeSealant), severity: "warn", says: "which is gun-grade-sealant"},
		{name: "locking compound is a conflict instead", facts: tightened, change: kind(ledger.ConsumableThreadLocking)},
		{name: "sealant for locking compound", facts: tightened, change: func(f *rules.Facts) {
			kind(ledger.ConsumableGunGradeSealant)(f)
			treat(f, ledger.TreatmentThreadLocking)
		}, severity: "warn"},
		{name: "a batch and no treatment", facts: tightened, change: func(f *rules.Facts) { tightening(f).Treatment = ledger.TreatmentNone }, severity: "warn"},
		{name: "lubricant", facts: tightened, change: func(f *rules.Facts) {
			kind(ledger.ConsumableLubricant)(f)
			tightening(f).Treatment = ledger.TreatmentOtherLubricant
		}},
		{name: "strip", facts: sealed},
		{name: "gun-grade for strip", facts: sealed, change: kind(ledger.ConsumableGunGradeSealant), severity: "warn"},
		{name: "gun grade in other words", facts: sealed, change: func(f *rules.Facts) {
			kind(ledger.ConsumableGunGradeSealant)(f)
			sealing(f).Sealant = "Gun grade sealant"
		}},
		{name: "another sealant", facts: sealed, change: func(f *rules.Facts) { sealing(f).Sealant = "foam tape" }},
		{name: "solvent for a sealant", facts: sealed, change: func(f *rules.Facts) {
			kind(ledger.ConsumableSolvent)(f)
			sealing(f).Sealant = "foam tape"
		}, severity: "warn"},
		{name: "batch not known", facts: sealed, change: func(f *rules.Facts) { f.Batch = nil }},
	})
}
