package rules_test

import (
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Due at the end of the local day, months clamped: reference, section G.
// Calibrated on 30 June 2025 with 12 months, the last good day is 30 June 2026,
// which in Dublin (UTC+1 in summer) ends at 23:00 UTC.
func TestCalibrationLapsed(t *testing.T) {
	when := func(text string) func(*rules.Facts) {
		return func(f *rules.Facts) { f.Record.Head().OccurTime = at(t, text) }
	}
	run(t, "tool-calibration-lapsed", []scene{
		{name: "the last second of the last day", facts: tightened, change: when("2026-06-30T22:59:59Z")},
		{name: "a fraction of the last second", facts: tightened, change: func(f *rules.Facts) {
			f.Record.Head().OccurTime = at(t, "2026-06-30T22:59:59Z").Add(999 * time.Millisecond)
		}},
		{name: "the day after begins", facts: tightened, change: when("2026-06-30T23:00:00Z"), severity: "hold", figure: 1, says: "due on 2026-06-30"},
		{name: "twelve days later", facts: tightened, change: when("2026-07-12T10:00:00Z"), severity: "hold", figure: 12, says: "12 days later"},
		{name: "an audit with it", facts: inspected, change: when("2026-07-12T10:00:00Z"), severity: "hold", figure: 12},
		{name: "an incident is no use of it", facts: galled, change: when("2026-07-12T10:00:00Z")},
		{name: "the home site's day counts", facts: tightened, change: func(f *rules.Facts) {
			when("2026-06-30T23:30:00Z")(f)
			f.HomeLocation = zone(t, "America/Chicago")
		}},
		{name: "calibrated after midnight at home", facts: tightened, change: func(f *rules.Facts) {
			f.Calibration.OccurTime = at(t, "2025-06-29T23:30:00Z") // 00:30 on the 30th in Dublin
			when("2026-06-30T12:00:00Z")(f)
		}},
		{name: "31 August and six months", facts: tightened, change: func(f *rules.Facts) {
			f.Calibration.OccurTime, f.Tool.IntervalMonths = at(t, "2025-08-31T10:00:00Z"), 6
			when("2026-02-28T12:00:00Z")(f)
		}},
		{name: "31 August and six months, a day late", facts: tightened, change: func(f *rules.Facts) {
			f.Calibration.OccurTime, f.Tool.IntervalMonths = at(t, "2025-08-31T10:00:00Z"), 6
			when("2026-03-01T00:00:00Z")(f)
		}, severity: "hold", figure: 1, says: "due on 2026-02-28"},
		{name: "one cycle left", facts: tightened, change: func(f *rules.Facts) { f.CyclesSince = 4999 }},
		{name: "cycles used up", facts: tightened, change: func(f *rules.Facts) { f.CyclesSince = 5000 }, severity: "hold", figure: 5000, limit: 5000},
		{name: "no interval", facts: tightened, change: func(f *rules.Facts) {
			f.Tool.IntervalMonths, f.Tool.IntervalCycles, f.CyclesSince = 0, 0, 1e6
			when("2036-01-01T00:00:00Z")(f)
		}},
		{name: "dropped since", facts: tightened, change: func(f *rules.Facts) { f.EventSince = true }, severity: "hold", says: "dropped"},
		{name: "dropped, but no such policy", facts: tightened, change: func(f *rules.Facts) { f.EventSince, f.Tool.DueAfterEvent = true, false }},
		{name: "tool not known", facts: tightened, change: func(f *rules.Facts) { f.EventSince, f.Tool = true, nil }},
		{name: "no tool named", facts: tightened, change: func(f *rules.Facts) { f.EventSince = true; tightening(f).Tool = "" }},
		{name: "all three at once", facts: tightened, change: func(f *rules.Facts) {
			f.EventSince, f.CyclesSince = true, 6000
			when("2026-07-01T12:00:00Z")(f)
		}, severity: "hold", figure: 1, says: "6000 of its 5000 cycles"},
	})
}

func TestCalibrationUnknown(t *testing.T) {
	run(t, "tool-calibration-unknown", []scene{
		{name: "never calibrated", facts: tightened, change: func(f *rules.Facts) { f.Calibration = nil }, severity: "hold", says: "no calibration on record"},
		{name: "never, and no interval either", facts: tightened, change: func(f *rules.Facts) {
			f.Calibration, f.Tool.IntervalMonths, f.Tool.IntervalCycles = nil, 0, 0
		}, severity: "hold"},
		{name: "an audit with it", facts: inspected, change: func(f *rules.Facts) { f.Calibration = nil }, severity: "hold"},
		{name: "tool not known", facts: tightened, change: func(f *rules.Facts) { f.Calibration, f.Tool = nil, nil }, severity: "hold", says: "not known"},
		{name: "no tool named", facts: tightened, change: func(f *rules.Facts) { f.Calibration = nil; tightening(f).Tool = "" }},
		{name: "an impact wrench", facts: tightened, change: func(f *rules.Facts) {
			f.Calibration, f.Tool = nil, &ledger.Tool{Serial: "W1", Kind: ledger.ToolImpactWrench}
		}},
		{name: "an impact wrench with an interval", facts: tightened, change: func(f *rules.Facts) {
			f.Calibration, f.Tool = nil, &ledger.Tool{Serial: "W1", Kind: ledger.ToolImpactWrench, IntervalMonths: 6}
		}, severity: "hold"},
	})
}

// ISO 6789-1:2017, type II class A above 10 N·m: ±4 % of the reference reading,
// so at 100 N·m readings from 96.154 to 104.167 pass; 104.1 passes with −3.94 %,
// 96.1 fails with +4.06 %: reference, section F.
func TestCalibrationFailed(t *testing.T) {
	reading := func(phase ledger.CalibrationPhase, values ...float64) func(*rules.Facts) {
		return func(f *rules.Facts) {
			f.Tool.MaximumNewtonMetres = 100
			f.Calibration.Points = []ledger.CalibrationPoint{{Phase: phase, TargetNewtonMetres: 100, ReadingsNewtonMetres: values}}
		}
	}
	run(t, "tool-calibration-failed", []scene{
		{name: "on the limit", facts: tightened, change: reading(ledger.AsLeft, 100/1.04, 100/0.96)},
		{name: "104.1 passes", facts: tightened, change: reading(ledger.AsLeft, 100, 104.1)},
		{name: "96.1 fails", facts: tightened, change: reading(ledger.AsLeft, 100, 96.1), severity: "hold", figure: 4.0583, limit: 4, says: "4.06 % against 4 %"},
		{name: "over-delivers", facts: tightened, change: reading(ledger.AsLeft, 104.3), severity: "hold", figure: -4.1227, limit: -4},
		{name: "every reading counts, not the mean", facts: tightened, change: reading(ledger.AsLeft, 96, 104, 100, 100, 100), severity: "hold", figure: 4.1667, limit: 4},
		{name: "the worst of several", facts: tightened, change: reading(ledger.AsLeft, 95, 90, 96), severity: "hold", figure: 11.1111, limit: 4},
		{name: "not adjusted, so as found counts", facts: tightened, change: reading(ledger.AsFound, 90), severity: "hold", figure: 11.1111, says: "as found"},
		{name: "adjusted and good since", facts: tightened, change: func(f *rules.Facts) {
			reading(ledger.AsFound, 90)(f)
			f.Calibration.Points = append(f.Calibration.Points, ledger.CalibrationPoint{Phase: ledger.AsLeft, TargetNewtonMetres: 100, ReadingsNewtonMetres: []float64{100}})
		}},
		{name: "gave no torque", facts: tightened, change: reading(ledger.AsLeft, 100, 0), severity: "hold", says: "no torque at all"},
		{name: "up to 10 N·m the limit is 6 %", facts: tightened, change: func(f *rules.Facts) {
			reading(ledger.AsLeft, 95)(f) // +5.26 %
			f.Tool.MaximumNewtonMetres = 10
		}},
		{name: "a torsion bar has 6 % too", facts: tightened, change: func(f *rules.Facts) { reading(ledger.AsLeft, 95)(f); f.Tool.TypeClass = "I-A" }},
		{name: "no type and class", facts: tightened, change: func(f *rules.Facts) { reading(ledger.AsLeft, 50)(f); f.Tool.TypeClass = "" }},
		{name: "no maximum", facts: tightened, change: func(f *rules.Facts) { reading(ledger.AsLeft, 50)(f); f.Tool.MaximumNewtonMetres = 0 }},
		{name: "never calibrated", facts: tightened, change: func(f *rules.Facts) { f.Calibration = nil }},
	})
}

// The verdict that was kept holds, under its own rule, whatever the readings say
// under another.
func TestCalibrationFailedByTheKeptVerdict(t *testing.T) {
	kept := func(v ledger.CalibrationVerdict) func(*rules.Facts) {
		return func(f *rules.Facts) {
			f.Calibration.Points = []ledger.CalibrationPoint{{Phase: ledger.AsLeft, TargetNewtonMetres: 100, ReadingsNewtonMetres: []float64{100, 96.6}}}
			f.Calibration.Verdict = &v
		}
	}
	worst := 3.52
	run(t, "tool-calibration-failed", []scene{
		{name: "guarded away", facts: tightened, change: kept(ledger.CalibrationVerdict{Rule: ledger.RuleManagedGuardBand, Edition: "2017", LimitPercent: 4, AsLeft: ledger.VerdictFail, WorstAsLeftPercent: &worst}),
			severity: "hold", figure: 3.52, limit: 4, says: "fail under managed guard band"},
		{name: "inside but not by the guard band", facts: tightened, change: kept(ledger.CalibrationVerdict{Rule: ledger.RuleGuardBand, LimitPercent: 4, AsLeft: ledger.VerdictConditionalPass, WorstAsLeftPercent: &worst})},
		{name: "outside by less than the guard band", facts: tightened, change: kept(ledger.CalibrationVerdict{Rule: ledger.RuleGuardBand, LimitPercent: 4, AsLeft: ledger.VerdictConditionalFail, WorstAsLeftPercent: &worst}),
			severity: "hold", figure: 3.52, limit: 4, says: "conditional fail under guard band"},
		{name: "adjusted", facts: tightened, change: kept(ledger.CalibrationVerdict{Rule: ledger.RuleSimpleAcceptance, LimitPercent: 4, AsFound: ledger.VerdictFail, AsLeft: ledger.VerdictPass, WorstAsFoundPercent: &worst})},
		{name: "not adjusted", facts: tightened, change: kept(ledger.CalibrationVerdict{Rule: ledger.RuleSimpleAcceptance, LimitPercent: 4, AsFound: ledger.VerdictFail, WorstAsFoundPercent: &worst}), severity: "hold", figure: 3.52, limit: 4, says: "as found"},
		{name: "no torque", facts: tightened, change: kept(ledger.CalibrationVerdict{Rule: ledger.RuleSimpleAcceptance, LimitPercent: 4, AsLeft: ledger.VerdictFail}), severity: "hold", says: "no torque at all"},
	})
}

func TestToolHeld(t *testing.T) {
	run(t, "tool-held", []scene{
		{name: "on hold", facts: tightened, change: func(f *rules.Facts) { f.ToolHeld = true }, severity: "hold", says: "on 2026-05-12"},
		{name: "audited with it", facts: inspected, change: func(f *rules.Facts) { f.ToolHeld = true }, severity: "hold"},
		{name: "no tool named", facts: tightened, change: func(f *rules.Facts) { f.ToolHeld = true; tightening(f).Tool = "" }},
		{name: "not held", facts: tightened},
	})
}

// 20 to 100 % of the maximum (common practice, no source), and never below the
// lowest mark: a wrench of 8 to 40 N·m.
func TestToolRange(t *testing.T) {
	torque := func(v float64) func(*rules.Facts) {
		return func(f *rules.Facts) { tightening(f).TorqueNewtonMetres = number(v) }
	}
	run(t, "tool-range", []scene{
		{name: "20 % of the maximum", facts: tightened, change: torque(8)},
		{name: "just under", facts: tightened, change: torque(7.999), severity: "hold", figure: 7.999, limit: 8, says: "7.999"},
		{name: "the maximum", facts: tightened, change: torque(40)},
		{name: "just over", facts: tightened, change: torque(40.001), severity: "hold", figure: 40.001, limit: 40},
		{name: "a rounding error over", facts: tightened, change: torque(40 * (1 + 1e-12))},
		{name: "a lowest mark above 20 %", facts: tightened, change: func(f *rules.Facts) { f.Tool.MinimumNewtonMetres = 12; torque(11.9)(f) }, severity: "hold", limit: 12},
		{name: "marks below 20 % don't count", facts: tightened, change: func(f *rules.Facts) { f.Tool.MinimumNewtonMetres = 4; torque(5)(f) }, severity: "hold", limit: 8},
		{name: "torque not known", facts: tightened, change: func(f *rules.Facts) { tightening(f).TorqueNewtonMetres = nil }},
		{name: "no maximum", facts: tightened, change: func(f *rules.Facts) { f.Tool.MaximumNewtonMetres = 0; torque(500)(f) }},
		{name: "tool not known", facts: tightened, change: func(f *rules.Facts) { f.Tool = nil; torque(500)(f) }},
		{name: "an impact wrench has no scale", facts: tightened, change: func(f *rules.Facts) { f.Tool.Kind = ledger.ToolImpactWrench; torque(500)(f) }},
		{name: "audit readings are found, not chosen", facts: inspected, change: func(f *rules.Facts) {
			f.Record.(*ledger.Inspection).ReadingsNewtonMetres = []float64{1, 500}
		}},
	})
}

func TestToolElsewhere(t *testing.T) {
	custody := func(kind ledger.CustodyKind, site, holder string) func(*rules.Facts) {
		return func(f *rules.Facts) { f.Custody.Kind, f.Custody.Site, f.Custody.Holder = kind, site, holder }
	}
	run(t, "tool-elsewhere", []scene{
		{name: "issued to the person here", facts: tightened},
		{name: "another site", facts: tightened, change: custody(ledger.CustodyReceived, "PCL", "crib"), severity: "warn", says: "site PCL since 2026-05-01"},
		{name: "issued to another person", facts: tightened, change: custody(ledger.CustodyIssued, "RVB", "cd"), severity: "warn", says: "cd has held it"},
		{name: "another site and person", facts: tightened, change: custody(ledger.CustodyIssued, "PCL", "cd"), severity: "warn", says: "PCL since 2026-05-01 and cd has held"},
		{name: "dropped by another person", facts: tightened, change: custody(ledger.CustodyDropped, "RVB", "cd"), severity: "warn"},
		{name: "in the crib of the site", facts: tightened, change: custody(ledger.CustodyReceived, "RVB", "crib")},
		{name: "handed in at the crib of the site", facts: tightened, change: custody(ledger.CustodyReturned, "RVB", "crib")},
		{name: "sent off", facts: tightened, change: custody(ledger.CustodySent, "RVB", ""), severity: "warn", says: "sent off"},
		{name: "lost", facts: tightened, change: custody(ledger.CustodyLost, "RVB", ""), severity: "warn", says: "lost"},
		{name: "audited elsewhere", facts: inspected, change: custody(ledger.CustodyReceived, "PCL", ""), severity: "warn"},
		{name: "custody not known", facts: tightened, change: func(f *rules.Facts) { f.Custody = nil }},
		{name: "no tool named", facts: tightened, change: func(f *rules.Facts) { custody(ledger.CustodyLost, "PCL", "")(f); tightening(f).Tool = "" }},
	})
}

// Every reason is said; a name and why make a note of it.
func TestToolLentUnfit(t *testing.T) {
	issued := func(changes ...func(*rules.Facts)) func(*rules.Facts) {
		return func(f *rules.Facts) {
			f.Record = &ledger.Custody{
				Entry: ledger.Entry{OccurTime: tightening(f).OccurTime}, Tool: "TW-1", Kind: ledger.CustodyIssued, Site: "RVB", Holder: "cd",
			}
			f.Unfit = []string{"on hold since 2026-05-01", "calibration past due since 2026-05-02"}
			for _, change := range changes {
				change(f)
			}
		}
	}
	custody := func(f *rules.Facts) *ledger.Custody { return f.Record.(*ledger.Custody) }
	run(t, "tool-lent-unfit", []scene{
		{name: "two reasons", facts: tightened, change: issued(), severity: "warn", says: "on hold since 2026-05-01; calibration past due"},
		{name: "let pass", facts: tightened, change: issued(func(f *rules.Facts) {
			custody(f).OverrideBy, custody(f).OverrideReason = "ql", "marking out only."
		}), severity: "note", says: "ql let it pass: marking out only."},
		{name: "fit", facts: tightened, change: issued(func(f *rules.Facts) { f.Unfit = nil })},
		{name: "taken back", facts: tightened, change: issued(func(f *rules.Facts) { custody(f).Kind = ledger.CustodyReturned })},
	})
}

// What came before is missing, whatever it was; what is in turn is no finding.
func TestToolOutOfTurn(t *testing.T) {
	change := func(kind ledger.CustodyKind, site string, before *ledger.Custody) func(*rules.Facts) {
		return func(f *rules.Facts) {
			f.Record = &ledger.Custody{Entry: ledger.Entry{OccurTime: tightening(f).OccurTime}, Tool: f.Tool.Serial, Kind: kind, Site: site}
			f.Tool.HomeSite, f.Custody = "RVB", before
		}
	}
	was := func(kind ledger.CustodyKind, site, holder string) *ledger.Custody {
		return &ledger.Custody{Entry: ledger.Entry{OccurTime: time.Date(2026, 2, 20, 9, 0, 0, 0, time.UTC)}, Kind: kind, Site: site, Holder: holder}
	}
	received, returned := ledger.CustodyReceived, ledger.CustodyReturned
	run(t, "tool-out-of-turn", []scene{
		{name: "came as it was sent", facts: tightened, change: change(received, "PCL", was(ledger.CustodySent, "RVB", ""))},
		{name: "found again", facts: tightened, change: change(received, "PCL", was(ledger.CustodyLost, "RVB", ""))},
		{name: "new, to its home", facts: tightened, change: change(received, "RVB", nil)},
		{name: "never sent off", facts: tightened, change: change(received, "PCL", nil), severity: "warn", says: "received at site PCL"},
		{name: "received twice", facts: tightened, change: change(received, "PCL", was(received, "PCL", "")), severity: "warn", says: "has lain in the crib of site PCL since 2026-02-20"},
		{name: "lent elsewhere", facts: tightened, change: change(received, "PCL", was(ledger.CustodyIssued, "RVB", "cd")), severity: "warn", says: "has been with cd at site RVB since 2026-02-20"},
		{name: "taken back", facts: tightened, change: change(returned, "RVB", was(ledger.CustodyIssued, "RVB", "cd"))},
		{name: "dropped by its holder", facts: tightened, change: change(returned, "RVB", was(ledger.CustodyDropped, "RVB", "cd"))},
		{name: "lost and found", facts: tightened, change: change(returned, "RVB", was(ledger.CustodyLost, "RVB", ""))},
		{name: "taken back twice", facts: tightened, change: change(returned, "RVB", was(returned, "RVB", "")), severity: "warn", says: "nothing says that anybody had it"},
		{name: "on its way", facts: tightened, change: change(returned, "RVB", was(ledger.CustodySent, "PCL", "")), severity: "warn", says: "on its way from site PCL"},
		{name: "never lent", facts: tightened, change: change(returned, "RVB", nil), severity: "warn", says: "has never moved from its home site RVB"},
		{name: "sent off", facts: tightened, change: change(ledger.CustodySent, "RVB", nil)},
	})
}
