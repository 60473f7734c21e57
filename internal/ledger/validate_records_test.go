package ledger_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// sound gives a copy each time, for tests that change what it points at.
func sound[T any](record func() *T) func() T { return func() T { return *record() } }

// entryRules are what every record is held to besides its own content.
func entryRules[T any](head func(*T) *ledger.Entry, personRequired bool) []rule[T] {
	set := func(change func(*ledger.Entry)) func(*T) { return func(v *T) { change(head(v)) } }
	person := only("entry.person")
	if !personRequired {
		person = nil
	}
	return []rule[T]{
		{"no id", set(func(e *ledger.Entry) { e.ID = uuid.Nil }), only("name")},
		{"an id of version 4", set(func(e *ledger.Entry) { e.ID[6] = 0x4d }), only("name")},
		{"an id of another variant", set(func(e *ledger.Entry) { e.ID[8] = 0xcb }), only("name")},
		{"no time", set(func(e *ledger.Entry) { e.OccurTime = time.Time{} }), only("entry.occur_time")},
		{"before 1970", set(func(e *ledger.Entry) { e.OccurTime = time.Unix(0, -1) }), only("entry.occur_time")},
		{"the first moment", set(func(e *ledger.Entry) { e.OccurTime = time.Unix(0, 0).In(time.FixedZone("", -3600)) }), nil},
		{"the last moment", set(func(e *ledger.Entry) { e.OccurTime = time.Date(3000, 1, 1, 0, 59, 59, 0, time.FixedZone("", 3600)) }), nil},
		{"after it", set(func(e *ledger.Entry) { e.OccurTime = time.Date(3000, 1, 1, 0, 0, 0, 0, time.UTC) }), only("entry.occur_time")},
		{"the widest offset", set(func(e *ledger.Entry) { e.OffsetMinutes = -1080 }), nil},
		{"a wider one", set(func(e *ledger.Entry) { e.OffsetMinutes = 1081 }), only("entry.utc_offset_minutes")},
		{"nobody", set(func(e *ledger.Entry) { e.Person = "" }), person},
		{"a name for an id", set(func(e *ledger.Entry) { e.Person = "A. Reyes" }), only("entry.person")},
		{"all at once", set(func(e *ledger.Entry) {
			*e = ledger.Entry{OffsetMinutes: 9999, Person: "?", Device: "\x00", Note: "\x00"}
		}), only("name", "entry.occur_time", "entry.utc_offset_minutes", "entry.person", "entry.device", "entry.note")},
	}
}

func entryTexts[T any](head func(*T) *ledger.Entry) []textField[T] {
	return []textField[T]{
		{"entry.device", func(v *T) *string { return &head(v).Device }, 64, false, false},
		{"entry.note", func(v *T) *string { return &head(v).Note }, 2000, false, true},
	}
}

func TestTighteningRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Tightening
	validate, head := (*T).Validate, (*T).Head
	checkRules(t, sound(tightening), validate, slices.Concat(entryRules(head, true), []rule[T]{
		{"no joint", func(r *T) { r.Joint = ledger.Place{} }, only("joint")},
		{"a cell", func(r *T) { r.Joint = r.Joint.Parent() }, only("joint")},
		{"any joint", func(r *T) { r.Joint.Joint = "-" }, only("joint")},
		{"a hole in the place", func(r *T) { r.Joint.Tower = "" }, only("joint")},
		{"no lot", func(r *T) { r.Lot = "" }, only("lot")},
		{"a lot with a space", func(r *T) { r.Lot = "M10 316" }, only("lot")},
		{"no treatment", func(r *T) { r.Treatment = 0 }, only("treatment")},
		{"an unknown treatment", func(r *T) { r.Treatment = 6 }, only("treatment")},
		{"no tool", func(r *T) { r.Tool = "" }, nil},
		{"a tool that is none", func(r *T) { r.Tool = "tools/TW" }, only("tool")},
		{"no torque", func(r *T) { r.TorqueNewtonMetres = nil }, nil},
		{"minus zero", func(r *T) { r.TorqueNewtonMetres = ptr(math.Copysign(0, -1)) }, nil},
		{"no fasteners", func(r *T) { r.Fasteners = 0 }, only("fasteners")},
		{"the most fasteners", func(r *T) { r.Fasteners = ledger.MaxFasteners }, nil},
		{"more", func(r *T) { r.Fasteners = ledger.MaxFasteners + 1 }, only("fasteners")},
		{"no pass", func(r *T) { r.Pass = 0 }, only("pass")},
		{"no method", func(r *T) { r.Method = 0 }, only("driving_method")},
		{"nothing at all", func(r *T) { *r = T{TorqueNewtonMetres: ptr(-1.0)} },
			only("joint", "lot", "treatment", "torque_newton_metres", "fasteners", "pass", "driving_method", "name", "entry.occur_time", "entry.person")},
	}))
	checkRules(t, sound(tightening), validate, outOfRange("torque_newton_metres", func(r *T) *float64 { return r.TorqueNewtonMetres }, 0, 100_000, true))
	checkTexts(t, sound(tightening), validate, append(entryTexts(head),
		textField[T]{"torque_as_typed", func(r *T) *string { return &r.TorqueAsTyped }, 32, false, false}))
}

func TestIncidentRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Incident
	validate, head := (*T).Validate, (*T).Head
	leak := func() T {
		r := *incident()
		r.Kind = ledger.Leak
		return r
	}
	checkRules(t, sound(incident), validate, slices.Concat(entryRules(head, true), []rule[T]{
		{"no kind", func(r *T) { r.Kind = 0 }, only("kind")},
		{"an unknown kind", func(r *T) { r.Kind = 13 }, only("kind")},
		{"a failure at no joint", func(r *T) { r.Joint = ledger.Place{} }, only("joint")},
		{"at a cell", func(r *T) { r.Joint = r.Joint.Parent() }, only("joint")},
		{"the joint says the site", func(r *T) { r.Site = "" }, nil},
		{"at two sites", func(r *T) { r.Site = "KVR" }, only("site")},
		{"a failure of nothing", func(r *T) { r.Fasteners = 0 }, only("fasteners")},
		{"below nothing", func(r *T) { r.Fasteners = -1 }, only("fasteners")},
		{"a failure of no lot", func(r *T) { r.Lot = "" }, only("lot")},
		{"a failure under no treatment", func(r *T) { r.Treatment = 0 }, only("treatment")},
		{"a failure by no method", func(r *T) { r.Method = 0 }, only("driving_method")},
		{"nothing at all", func(r *T) { *r = T{} }, only("kind", "site", "name", "entry.occur_time", "entry.person")},
		{"a failure and nothing else", func(r *T) { *r = T{Kind: ledger.BrokenFastener, Entry: r.Entry} }, only("joint", "fasteners", "lot", "treatment", "driving_method")},
	}))
	checkRules(t, leak, validate, []rule[T]{
		{"at no joint", func(r *T) { r.Joint = ledger.Place{} }, nil},
		{"nowhere", func(r *T) { r.Joint, r.Site = ledger.Place{}, "" }, only("site")},
		{"of nothing that was driven", func(r *T) { r.Fasteners, r.Lot, r.Treatment, r.Method, r.Tool = 0, "", 0, 0, "" }, nil},
		{"an unknown treatment all the same", func(r *T) { r.Treatment = 99 }, only("treatment")},
		{"a bad lot all the same", func(r *T) { r.Lot = "!" }, only("lot")},
		{"a dropped tool that is not named", func(r *T) { r.Kind, r.Tool = ledger.DroppedTool, "" }, only("tool")},
		{"a near miss without a tool", func(r *T) { r.Kind, r.Tool = ledger.NearMiss, "" }, nil},
	})
	checkTexts(t, sound(incident), validate, append(entryTexts(head),
		textField[T]{"noticed", func(r *T) *string { return &r.Noticed }, 100, false, false},
		textField[T]{"action", func(r *T) *string { return &r.Action }, 200, false, false}))
}

func TestCalibrationRules(t *testing.T) {
	t.Parallel()
	type T = ledger.Calibration
	validate, head := (*T).Validate, (*T).Head
	checkRules(t, sound(calibration), validate, slices.Concat(entryRules(head, false), []rule[T]{
		{"no tool", func(r *T) { r.Tool = "" }, only("tool")},
		{"no laboratory, no certificate", func(r *T) { r.Laboratory, r.Certificate = "", "" }, nil},
		{"no points", func(r *T) { r.Points = nil }, only("points")},
		{"too many points", func(r *T) { r.Points = manyPoints(101) }, only("points")},
		{"just as many", func(r *T) { r.Points = manyPoints(100) }, nil},
		{"no phase", func(r *T) { r.Points[1].Phase = 0 }, only("points[1].phase")},
		{"no readings", func(r *T) { r.Points[0].ReadingsNewtonMetres = nil }, only("points[0].readings_newton_metres")},
		{"too many readings", func(r *T) { r.Points[0].ReadingsNewtonMetres = make([]float64, 101) }, only("points[0].readings_newton_metres")},
		{"a reading that is none", func(r *T) { r.Points[0].ReadingsNewtonMetres[1] = math.NaN() }, only("points[0].readings_newton_metres[1]")},
		{"a reading below zero", func(r *T) { r.Points[1].ReadingsNewtonMetres[0] = -0.1 }, only("points[1].readings_newton_metres[0]")},
		{"no uncertainty", func(r *T) { r.Points[0].ExpandedUncertaintyNewtonMetres, r.Points[0].CoverageFactor = 0, 0 }, nil},
		{"one point twice", func(r *T) { r.Points[1] = r.Points[0] }, only("points[1].target_newton_metres")},
		{"one target in two phases", func(r *T) { r.Points[1].TargetNewtonMetres = r.Points[0].TargetNewtonMetres }, nil},
		{"nothing at all", func(r *T) { *r = T{Points: make([]ledger.CalibrationPoint, 1)} },
			only("tool", "points[0].phase", "points[0].target_newton_metres", "points[0].readings_newton_metres", "name", "entry.occur_time")},
	}))
	checkRules(t, sound(calibration), validate, outOfRange("points[0].target_newton_metres", func(r *T) *float64 { return &r.Points[0].TargetNewtonMetres }, 0, 100_000, false))
	checkRules(t, sound(calibration), validate, outOfRange("points[0].expanded_uncertainty_newton_metres", func(r *T) *float64 { return &r.Points[0].ExpandedUncertaintyNewtonMetres }, 0, 100_000, true))
	checkRules(t, sound(calibration), validate, outOfRange("points[0].coverage_factor", func(r *T) *float64 { return &r.Points[0].CoverageFactor }, 0, 10, true))
	checkTexts(t, sound(calibration), validate, append(entryTexts(head),
		textField[T]{"laboratory", func(r *T) *string { return &r.Laboratory }, 100, false, false},
		textField[T]{"certificate", func(r *T) *string { return &r.Certificate }, 100, false, false}))
}

func manyPoints(n int) []ledger.CalibrationPoint {
	points := make([]ledger.CalibrationPoint, n)
	for i := range points {
		points[i] = ledger.CalibrationPoint{Phase: ledger.AsFound, TargetNewtonMetres: float64(i + 1), ReadingsNewtonMetres: []float64{1}}
	}
	return points
}

func TestLotMovementRules(t *testing.T) {
	t.Parallel()
	type T = ledger.LotMovement
	validate, head := (*T).Validate, (*T).Head
	checkRules(t, sound(movement), validate, slices.Concat(entryRules(head, false), []rule[T]{
		{"no lot", func(r *T) { r.Lot = "" }, only("lot")},
		{"no site", func(r *T) { r.Site = "" }, only("site")},
		{"no kind", func(r *T) { r.Kind = 0 }, only("kind")},
		{"nothing came", func(r *T) { r.Quantity = 0 }, only("quantity")},
		{"nothing was counted", func(r *T) { r.Kind, r.Quantity = ledger.MovementCounted, 0 }, nil},
		{"less than nothing was counted", func(r *T) { r.Kind, r.Quantity = ledger.MovementCounted, -1 }, only("quantity")},
		{"the most", func(r *T) { r.Quantity = ledger.MaxQuantity }, nil},
		{"more", func(r *T) { r.Quantity = ledger.MaxQuantity + 1 }, only("quantity")},
		{"nothing at all", func(r *T) { *r = T{} }, only("lot", "site", "kind", "quantity", "name", "entry.occur_time")},
	}))
	checkTexts(t, sound(movement), validate, append(entryTexts(head),
		textField[T]{"reference", func(r *T) *string { return &r.Reference }, 100, false, false},
		textField[T]{"handled_by", func(r *T) *string { return &r.HandledBy }, 100, false, false}))
}

// TestMessagesSayWhatWasExpected reads a few messages as a person would.
func TestMessagesSayWhatWasExpected(t *testing.T) {
	t.Parallel()
	r := tightening()
	r.Joint, r.Lot, r.Treatment, r.TorqueNewtonMetres, r.Fasteners = r.Joint.Parent(), "M10/316", 0, ptr(-3.5), 0
	err := ledger.AsError(ledger.Invalid("tightening", r.Validate()))
	for _, part := range []string{
		"tightening is not valid: ",
		"joint: expected a joint such as RVB/CT2/C3/J014",
		`lot: "M10/316" may have only letters, digits, dots, underscores and hyphens`,
		"treatment: is required; expected one of none, anti-seize, thread-locking-compound, prevailing-torque-nut, other-lubricant",
		"torque_newton_metres: -3.5 is out of range; expected a number from 0 to 100000 N.m",
		"fasteners: 0 is out of range; expected a whole number from 1 to 100000",
	} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q lacks %q", err, part)
		}
	}
}
