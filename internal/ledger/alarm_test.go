package ledger_test

import (
	"math"
	"slices"
	"testing"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

func alarmRule() ledger.AlarmRule {
	return ledger.AlarmRule{Code: "GALL-LOT", Description: "galling of a lot", Grouping: ledger.AlarmByLot, Kinds: []ledger.IncidentKind{ledger.Galling, ledger.Seized},
		Test: ledger.AlarmCUSUM, InControl: 0.002, OutOfControl: 0.008, RunLength: 25_000, Active: true}
}

func TestAlarmRuleRules(t *testing.T) {
	t.Parallel()
	type T = ledger.AlarmRule
	validate := func(r *T) []ledger.FieldError { return r.Validate() }
	trial := func(r *T) { r.Test, r.RunLength, r.Alpha, r.Beta = ledger.AlarmSPRT, 0, 0.01, 0.1 }
	checkRules(t, alarmRule, validate, []rule[T]{
		{"no code", func(r *T) { r.Code = "" }, only("name")},
		{"no grouping", func(r *T) { r.Grouping = 0 }, only("grouping")},
		{"an unknown grouping", func(r *T) { r.Grouping = 3 }, only("grouping")},
		{"no kinds", func(r *T) { r.Kinds = nil }, only("incident_kinds")},
		{"a kind without attempts", func(r *T) { r.Kinds = []ledger.IncidentKind{ledger.Leak} }, only("incident_kinds")},
		{"a kind twice", func(r *T) { r.Kinds = []ledger.IncidentKind{ledger.Galling, ledger.Galling} }, only("incident_kinds")},
		{"no test", func(r *T) { r.Test = 0 }, only("test")},
		{"a rate of nothing", func(r *T) { r.InControl = 0 }, only("in_control_rate")},
		{"a rate that is no number", func(r *T) { r.OutOfControl = math.NaN() }, only("out_of_control_rate")},
		{"everything fails", func(r *T) { r.OutOfControl = 1 }, only("out_of_control_rate")},
		{"no rise", func(r *T) { r.OutOfControl = r.InControl }, only("out_of_control_rate")},
		{"no run length", func(r *T) { r.RunLength = 0 }, only("run_length_attempts")},
		{"risks of a cusum", func(r *T) { r.Alpha = 0.01 }, only("alpha")},
		{"a trial", trial, nil},
		{"a trial with a run length", func(r *T) { trial(r); r.RunLength = 100 }, only("run_length_attempts")},
		{"a trial without risks", func(r *T) { trial(r); r.Alpha, r.Beta = 0, 0.6 }, only("alpha", "beta")},
	})
	checkTexts(t, alarmRule, validate, []textField[T]{{"description", func(r *T) *string { return &r.Description }, 200, false, false}})
}

func TestAlarmRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Alarm
	validate, head := (*T).Validate, (*T).Head
	checkRules(t, sound(alarm), validate, slices.Concat(entryRules(head, false), []rule[T]{
		{"no rule", func(r *T) { r.Rule = "" }, only("rule")},
		{"no site", func(r *T) { r.Site = "" }, only("site")},
		{"of a site", func(r *T) { r.Lot = "" }, nil},
		{"a lot that is none", func(r *T) { r.Lot = "M 10" }, only("lot")},
		{"no test", func(r *T) { r.Test = 0 }, only("test")},
		{"no statistic", func(r *T) { r.Statistic = 0 }, only("statistic")},
		{"no threshold", func(r *T) { r.Threshold = math.Inf(1) }, only("threshold")},
		{"no failures", func(r *T) { r.Failures = 0 }, only("failures")},
		{"more failures than attempts", func(r *T) { r.Attempts = 5 }, only("failures")},
		{"no cause", func(r *T) { r.Cause = uuid.Nil }, only("cause")},
	}))
	checkTexts(t, sound(alarm), validate, append(entryTexts(head), textField[T]{"sentence", func(r *T) *string { return &r.Sentence }, 500, true, false}))
}
