package analysis

import (
	"slices"
	"sync"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// PolicyDefault is a due policy that applies to a kind of tool while its owner
// has no better rule, or that another jurisdiction or service asks for.
type PolicyDefault struct {
	Kind   ledger.ToolKind
	Policy ledger.Policy
	// Where says for which jurisdiction or service the row stands; empty for the
	// default.
	Where string
	// Rule says in a few words what is asked.
	Rule    string
	Sources []metrology.Source
}

// PolicyDefaults gives the whole table: the defaults of every kind, and the rows
// that stand for one jurisdiction or service only. A kind without a row, such as
// an impact wrench, which measures nothing, has no default. The maker's manual
// and the law of the place come before any row.
func PolicyDefaults() []PolicyDefault {
	rows := slices.Clone(policyDefaults())
	for i := range rows {
		rows[i].Sources = slices.Clone(rows[i].Sources)
	}
	return rows
}

// DefaultPolicies gives the default rows of a kind of tool, one an action.
func DefaultPolicies(kind ledger.ToolKind) []PolicyDefault {
	return slices.DeleteFunc(PolicyDefaults(), func(d PolicyDefault) bool { return d.Kind != kind || d.Where != "" })
}

func cfrSource(place string, mark metrology.Mark) metrology.Source {
	return metrology.Source{Title: "29 CFR", Place: place, Mark: mark}
}

func standardSource(title, place string, mark metrology.Mark) metrology.Source {
	return metrology.Source{Title: title, Place: place, Mark: mark}
}

var tradePractice = metrology.Source{Mark: metrology.Practice}

var policyDefaults = sync.OnceValue(func() []PolicyDefault {
	return slices.Concat(torqueDefaults(ledger.ToolTorqueWrench), torqueDefaults(ledger.ToolTorqueScrewdriver),
		measuringDefaults, liftingDefaults, accessDefaults)
})

func torqueDefaults(kind ledger.ToolKind) []PolicyDefault {
	d := metrology.DefaultInterval
	return []PolicyDefault{{
		Kind:    kind,
		Policy:  ledger.Policy{Action: ledger.ActionCalibration, Months: d.Months, Cycles: d.Cycles, AfterEvent: true},
		Rule:    "12 months or 5,000 cycles, whichever comes first; at once after an overload, a drop or a repair",
		Sources: []metrology.Source{d.Source},
	}}
}

// A multiplier is no tool of ISO 6789; custom treats it like the wrench behind it.
var measuringDefaults = []PolicyDefault{
	{
		Kind:    ledger.ToolTorqueMultiplier,
		Policy:  ledger.Policy{Action: ledger.ActionCalibration, Months: 12, AfterEvent: true},
		Rule:    "yearly, and at once after an overload, a drop or a repair",
		Sources: []metrology.Source{tradePractice},
	},
	{
		Kind:    ledger.ToolDialIndicator,
		Policy:  ledger.Policy{Action: ledger.ActionCalibration, Months: 12, AfterEvent: true},
		Rule:    "yearly, and after a drop",
		Sources: []metrology.Source{tradePractice},
	},
	{
		Kind:    ledger.ToolDialIndicator,
		Policy:  ledger.Policy{Action: ledger.ActionPreUseCheck, EachShift: true},
		Rule:    "against a gauge block at the start",
		Sources: []metrology.Source{tradePractice},
	},
	{
		Kind:    ledger.ToolAngleProtractor,
		Policy:  ledger.Policy{Action: ledger.ActionPreUseCheck, EachShift: true, AfterEvent: true},
		Rule:    "zero by reversal, the mean of two faces",
		Sources: []metrology.Source{tradePractice},
	},
	{
		Kind:    ledger.ToolThermoHygrometer,
		Policy:  ledger.Policy{Action: ledger.ActionCalibration, Months: 12, AfterEvent: true},
		Rule:    "yearly, and after a drop",
		Sources: []metrology.Source{tradePractice},
	},
}

var liftingDefaults = []PolicyDefault{
	{
		Kind:    ledger.ToolHoist,
		Policy:  ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true},
		Rule:    "periodic inspection, normal service: yearly; after an overload or a drop",
		Sources: []metrology.Source{standardSource("ASME B30.16", "periodic inspection", metrology.Memory), tradePractice},
	},
	{
		Kind:    ledger.ToolHoist,
		Policy:  ledger.Policy{Action: ledger.ActionPreUseCheck, Months: 1},
		Rule:    "frequent inspection, normal service: monthly",
		Sources: []metrology.Source{standardSource("ASME B30.16", "frequent inspection", metrology.Seen)},
	},
	{
		Kind: ledger.ToolHoist, Where: "heavy service",
		Policy:  ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 6, AfterEvent: true},
		Rule:    "periodic inspection, half-yearly",
		Sources: []metrology.Source{standardSource("ASME B30.16", "periodic inspection", metrology.Memory), tradePractice},
	},
	{
		Kind: ledger.ToolHoist, Where: "severe service",
		Policy:  ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 3, AfterEvent: true},
		Rule:    "periodic inspection, quarterly",
		Sources: []metrology.Source{standardSource("ASME B30.16", "periodic inspection", metrology.Memory), tradePractice},
	},
	{
		Kind: ledger.ToolHoist, Where: "heavy or severe service",
		Policy:  ledger.Policy{Action: ledger.ActionPreUseCheck, Days: 7},
		Rule:    "frequent inspection, weekly",
		Sources: []metrology.Source{standardSource("ASME B30.16", "frequent inspection", metrology.Seen)},
	},
	{
		Kind: ledger.ToolHoist, Where: "United Kingdom",
		Policy:  ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true},
		Rule:    "thorough examination every 12 months, 6 when it lifts persons; after exceptional events",
		Sources: []metrology.Source{standardSource("LOLER", "regulation 9(3)", metrology.Memory)},
	},
	{
		Kind:   ledger.ToolSling,
		Policy: ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true},
		Rule:   "thorough inspection of a chain sling at least every 12 months, of other slings yearly in normal service; after an overload or damage",
		Sources: []metrology.Source{
			cfrSource("1910.184(e)(3)", metrology.Seen), cfrSource("1926.251(b)(6)", metrology.Memory),
			standardSource("ASME B30.9", "as in WAC 296-155 table 12", metrology.Seen), tradePractice,
		},
	},
	{
		Kind:    ledger.ToolSling,
		Policy:  ledger.Policy{Action: ledger.ActionPreUseCheck, EachShift: true},
		Rule:    "each day before use, by a competent person; removed if damaged",
		Sources: []metrology.Source{cfrSource("1926.251(a)(6)", metrology.Seen)},
	},
	{
		Kind: ledger.ToolSling, Where: "severe service",
		Policy:  ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 3, AfterEvent: true},
		Rule:    "quarterly",
		Sources: []metrology.Source{standardSource("ASME B30.9", "as in WAC 296-155 table 12", metrology.Seen), tradePractice},
	},
	{
		Kind: ledger.ToolSling, Where: "United Kingdom",
		Policy:  ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 6, AfterEvent: true},
		Rule:    "thorough examination of accessories every 6 months; after exceptional events",
		Sources: []metrology.Source{standardSource("LOLER", "regulation 9(3)", metrology.Memory)},
	},
}

// The check of a harness is the law's, the dated record a standard's: two
// policies, never one for the other.
var accessDefaults = []PolicyDefault{
	{
		Kind:   ledger.ToolHarness,
		Policy: ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true},
		Rule:   "recorded inspection by a competent person at least yearly; after it arrested a fall, out of service until it passes one",
		Sources: []metrology.Source{
			standardSource("ANSI/ASSP Z359.2", "", metrology.Memory), cfrSource("1926.502(d), after arrest", metrology.Seen),
		},
	},
	{
		Kind:   ledger.ToolHarness,
		Policy: ledger.Policy{Action: ledger.ActionPreUseCheck, EachShift: true},
		Rule:   "before each use, and before the first use in each workshift",
		Sources: []metrology.Source{
			cfrSource("1926.502(d)(21)", metrology.Seen), cfrSource("1910.140(c)(18)", metrology.Memory),
		},
	},
	{
		Kind: ledger.ToolHarness, Where: "California",
		Policy:  ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 6, AfterEvent: true},
		Rule:    "inspection twice a year, dated",
		Sources: []metrology.Source{standardSource("Cal/OSHA construction safety orders", "", metrology.Seen)},
	},
	{
		Kind:    ledger.ToolScaffold,
		Policy:  ledger.Policy{Action: ledger.ActionPreUseCheck, EachShift: true, AfterEvent: true},
		Rule:    "before each shift and after anything that could have harmed it, by a competent person",
		Sources: []metrology.Source{cfrSource("1926.451(f)(3)", metrology.Seen)},
	},
	{
		Kind: ledger.ToolScaffold, Where: "United Kingdom",
		Policy:  ledger.Policy{Action: ledger.ActionPeriodicInspection, Days: 7, AfterEvent: true},
		Rule:    "before first use, then at most 7 days apart, and after an event",
		Sources: []metrology.Source{standardSource("scaffold inspection rules of the United Kingdom", "", metrology.Memory)},
	},
}
