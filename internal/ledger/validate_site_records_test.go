package ledger_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

func TestSealingRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Sealing
	validate, head := (*T).Validate, (*T).Head
	checkRules(t, sound(sealing), validate, slices.Concat(withoutTime(entryRules(head, true)), []rule[T]{
		{"a cell", func(r *T) { r.Joint = r.Joint.Parent() }, only("joint")},
		{"no batch", func(r *T) { r.Batch = "" }, nil},
		{"a batch that is none", func(r *T) { r.Batch = "PU 7" }, only("batch")},
		{"no width, no solvent, no splice", func(r *T) { r.WidthMillimetres, r.Solvent, r.Splice = 0, "", 0 }, nil},
		{"an unknown splice", func(r *T) { r.Splice = 4 }, only("splice")},
		{"no weather", func(r *T) { r.AirCelsius, r.SurfaceCelsius, r.HumidityPercent = nil, nil, nil }, nil},
		{"cleaned at that moment", func(r *T) { r.CleanTime = r.OccurTime }, nil},
		{"cleaned afterwards", func(r *T) { r.CleanTime = r.OccurTime.Add(time.Microsecond) }, only("clean_time")},
		{"nobody knows when it was cleaned", func(r *T) { r.CleanTime = time.Time{} }, nil},
		{"nobody looked at the flange", func(r *T) { r.FlangeStraight = nil }, nil},
	}))
	checkRules(t, sound(sealing), validate, outOfRange("width_millimetres", func(r *T) *float64 { return &r.WidthMillimetres }, 0, 1000, true))
	checkRules(t, sound(sealing), validate, outOfRange("air_celsius", func(r *T) *float64 { return r.AirCelsius }, -60, 80, true))
	checkRules(t, sound(sealing), validate, outOfRange("surface_celsius", func(r *T) *float64 { return r.SurfaceCelsius }, -60, 120, true))
	checkRules(t, sound(sealing), validate, outOfRange("humidity_percent", func(r *T) *float64 { return r.HumidityPercent }, 0, 100, false))
	checkTexts(t, sound(sealing), validate, append(entryTexts(head),
		textField[T]{"sealant", func(r *T) *string { return &r.Sealant }, 64, true, false},
		textField[T]{"solvent", func(r *T) *string { return &r.Solvent }, 64, false, false}))
}

// withoutTime leaves out the rules that move the time of a sealing before that of
// its cleaning.
func withoutTime[T any](rules []rule[T]) []rule[T] {
	return slices.DeleteFunc(rules, func(r rule[T]) bool {
		return slices.Contains([]string{"no time", "before 1970", "the first moment", "all at once"}, r.what)
	})
}

func TestInspectionRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Inspection
	validate, head := (*T).Validate, (*T).Head
	checkRules(t, sound(inspection), validate, slices.Concat(entryRules(head, true), []rule[T]{
		{"a cell", func(r *T) { r.Joint = r.Joint.Parent() }, only("joint")},
		{"no kind", func(r *T) { r.Kind = 0 }, only("kind")},
		{"no sample", func(r *T) { r.Sample = 0 }, nil},
		{"a sample below nothing", func(r *T) { r.Sample, r.ReadingsNewtonMetres = -1, nil }, only("sample")},
		{"readings for another sample", func(r *T) { r.Sample = 3 }, only("readings_newton_metres")},
		{"which counts in an audit alone", func(r *T) { r.Kind, r.Sample = ledger.VisualInspection, 3 }, nil},
		{"no readings", func(r *T) { r.ReadingsNewtonMetres = nil }, nil},
		{"too many readings", func(r *T) { r.Sample, r.ReadingsNewtonMetres = 0, make([]float64, 1001) }, only("readings_newton_metres")},
		{"a reading below zero", func(r *T) { r.ReadingsNewtonMetres[1] = -1 }, only("readings_newton_metres[1]")},
		{"no result", func(r *T) { r.Result = 0 }, only("result")},
		{"a tool that is none", func(r *T) { r.Tool = "/" }, only("tool")},
	}))
	checkTexts(t, sound(inspection), validate, append(entryTexts(head), textField[T]{"plan", func(r *T) *string { return &r.Plan }, 100, false, false}))
}

func TestCustodyRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Custody
	validate, head := (*T).Validate, (*T).Head
	plain := func() T {
		r := *custody()
		r.OverrideBy, r.OverrideReason = "", ""
		return r
	}
	checkRules(t, sound(custody), validate, []rule[T]{
		{"nobody let it pass", func(r *T) { r.OverrideBy = "" }, only("override_by")},
		{"for no reason", func(r *T) { r.OverrideReason = "" }, only("override_reason")},
		{"for a blank reason", func(r *T) { r.OverrideReason = " \u00a0 " }, only("override_reason")},
		{"a return needs nobody", func(r *T) { r.Kind = ledger.CustodyReturned }, only("override_by")},
	})
	checkRules(t, plain, validate, slices.Concat(entryRules(head, false), []rule[T]{
		{"no tool", func(r *T) { r.Tool = "" }, only("tool")},
		{"no kind", func(r *T) { r.Kind = 0 }, only("kind")},
		{"no site", func(r *T) { r.Site = "" }, only("site")},
		{"issued to nobody", func(r *T) { r.Holder = "" }, only("holder")},
		{"returned to nobody", func(r *T) { r.Kind, r.Holder = ledger.CustodyReturned, "" }, nil},
		{"a holder that is none", func(r *T) { r.Kind, r.Holder = ledger.CustodyReturned, "A" }, only("holder")},
	}))
	checkTexts(t, sound(custody), validate, entryTexts(head))
}

func TestHoldRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Hold
	validate, head := (*T).Validate, (*T).Head
	byPerson := func() T {
		r := *hold()
		r.Rule, r.Cause = "", uuid.Nil
		return r
	}
	checkRules(t, byPerson, validate, slices.Concat(entryRules(head, true), []rule[T]{
		{"no action", func(r *T) { r.Action, r.Decision = 0, ledger.DecisionRework }, only("action")},
		{"a cell", func(r *T) { r.Place = r.Place.Parent() }, nil},
		{"a tower", func(r *T) { r.Place = r.Place.Parent().Parent() }, only("place")},
		{"nothing", func(r *T) { r.Place = ledger.Place{} }, only("place")},
		{"a lot", func(r *T) { r.Place, r.Lot = ledger.Place{}, "L" }, nil},
		{"a tool", func(r *T) { r.Place, r.Tool = ledger.Place{}, "T" }, nil},
		{"two things", func(r *T) { r.Lot = "L" }, only("place")},
		{"at two sites", func(r *T) { r.Site = "KVR" }, only("site")},
		{"a lot nowhere", func(r *T) { r.Place, r.Lot, r.Site = ledger.Place{}, "L", "" }, only("site")},
		{"a bad lot", func(r *T) { r.Place, r.Lot = ledger.Place{}, "!" }, only("lot")},
		{"a bad tool", func(r *T) { r.Place, r.Tool = ledger.Place{}, "!" }, only("tool")},
		{"a release of nothing", func(r *T) { r.Releases = uuid.Nil }, only("releases")},
		{"a release without a decision", func(r *T) { r.Decision = 0 }, only("decision")},
		{"placed", func(r *T) { r.Action, r.Releases, r.Decision = ledger.HoldPlaced, uuid.Nil, 0 }, nil},
		{"placed and a release", func(r *T) { r.Action, r.Decision = ledger.HoldPlaced, 0 }, only("releases")},
	}))
	checkRules(t, sound(hold), validate, []rule[T]{{"a rule signs for itself", func(r *T) { r.Person = "" }, nil}})
	checkTexts(t, byPerson, validate, append(entryTexts(head), textField[T]{"reason", func(r *T) *string { return &r.Reason }, 500, true, false}))
}

func TestDecisionRules(t *testing.T) {
	t.Parallel()
	type D = ledger.Disposition
	checkRules(t, sound(disposition), (*D).Validate, slices.Concat(entryRules((*D).Head, true), []rule[D]{
		{"no incident", func(r *D) { r.Incident = uuid.Nil }, only("incident")},
		{"no decision", func(r *D) { r.Decision = 0 }, only("decision")},
		{"an unknown decision", func(r *D) { r.Decision = 5 }, only("decision")},
	}))
	checkTexts(t, sound(disposition), (*D).Validate, append(entryTexts((*D).Head), textField[D]{"reason", func(r *D) *string { return &r.Reason }, 500, true, false}))

	type S = ledger.SignOff
	checkRules(t, sound(signOff), (*S).Validate, slices.Concat(entryRules((*S).Head, true), []rule[S]{
		{"a site", func(r *S) { r.Place = r.Place.Parent() }, only("place")},
		{"nothing", func(r *S) { r.Place = ledger.Place{} }, only("place")},
		{"a cell", func(r *S) { r.Place.Cell = "C1" }, nil},
		{"a joint", func(r *S) { r.Place = joint }, nil},
		{"any tower", func(r *S) { r.Place.Tower = "-" }, only("place")},
		{"no point", func(r *S) { r.Point = 0 }, only("point")},
	}))
	checkTexts(t, sound(signOff), (*S).Validate, append(entryTexts((*S).Head), textField[S]{"title", func(r *S) *string { return &r.Title }, 200, false, false}))
}

func TestCorrectionRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Correction
	validate, head := (*T).Validate, (*T).Head
	replacing := func() T {
		r := *correction()
		r.With = tightening()
		r.With.Head().ID = r.Replacement
		return r
	}
	checkRules(t, sound(correction), validate, slices.Concat(entryRules(head, true), []rule[T]{
		{"of nothing", func(r *T) { r.Corrects = uuid.Nil }, only("corrects")},
		{"a withdrawal", func(r *T) { r.Replacement = uuid.Nil }, nil},
		{"a record for itself", func(r *T) { r.Replacement = r.Corrects }, only("replacement")},
	}))
	checkRules(t, replacing, validate, []rule[T]{
		{"another record comes with it", func(r *T) { r.With.Head().ID = id(14) }, only("replacement")},
		{"the replacement is wrong in its turn", func(r *T) { r.With.(*ledger.Tightening).Fasteners, r.With.(*ledger.Tightening).Lot = 0, "" },
			only("replacement.lot", "replacement.fasteners")},
	})
	checkTexts(t, sound(correction), validate, append(entryTexts(head), textField[T]{"reason", func(r *T) *string { return &r.Reason }, 500, true, false}))
}
