package ledger_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/ledger"
)

func TestSiteRules(t *testing.T) {
	t.Parallel()
	validate := func(s *ledger.Site) []ledger.FieldError { return s.Validate() }
	checkRules(t, site, validate, []rule[ledger.Site]{
		{"no code", func(s *ledger.Site) { s.Code = "" }, only("name")},
		{"small letters", func(s *ledger.Site) { s.Code = "rvb" }, only("name")},
		{"a wildcard", func(s *ledger.Site) { s.Code = "-" }, only("name")},
		{"two parts", func(s *ledger.Site) { s.Code = "RVB/CT1" }, only("name")},
		{"17 characters", func(s *ledger.Site) { s.Code = strings.Repeat("R", 17) }, only("name")},
		{"16 characters", func(s *ledger.Site) { s.Code = strings.Repeat("R", 16) }, nil},
		{"digits and hyphens", func(s *ledger.Site) { s.Code = "4-B-" }, nil},
		{"no region", func(s *ledger.Site) { s.Region = "" }, nil},
		{"no zone", func(s *ledger.Site) { s.TimeZone = "" }, only("time_zone")},
		{"the machine's zone", func(s *ledger.Site) { s.TimeZone = "Local" }, only("time_zone")},
		{"an offset", func(s *ledger.Site) { s.TimeZone = "+05:30" }, only("time_zone")},
		{"a file outside", func(s *ledger.Site) { s.TimeZone = "../../etc/passwd" }, only("time_zone")},
		{"UTC", func(s *ledger.Site) { s.TimeZone = "UTC" }, nil},
		{"no status", func(s *ledger.Site) { s.Status = 0 }, only("status")},
		{"an unknown status", func(s *ledger.Site) { s.Status = 4 }, only("status")},
		{"no units", func(s *ledger.Site) { s.Units = 0 }, only("unit_preference")},
		{"all at once", func(s *ledger.Site) { *s = ledger.Site{} }, only("name", "display_name", "time_zone", "status", "unit_preference")},
	})
	checkTexts(t, site, validate, []textField[ledger.Site]{
		{"display_name", func(s *ledger.Site) *string { return &s.Name }, 200, true, false},
		{"region", func(s *ledger.Site) *string { return &s.Region }, 64, false, false},
	})
}

func TestTowerCellAndJointRules(t *testing.T) {
	t.Parallel()
	validateTower := func(v *ledger.Tower) []ledger.FieldError { return v.Validate() }
	checkRules(t, tower, validateTower, []rule[ledger.Tower]{
		{"a site", func(v *ledger.Tower) { v.Place = v.Place.Parent() }, only("name")},
		{"a cell", func(v *ledger.Tower) { v.Place.Cell = "C1" }, only("name")},
		{"a wildcard", func(v *ledger.Tower) { v.Place.Tower = "-" }, only("name")},
		{"a bad site", func(v *ledger.Tower) { v.Place.Site = "r" }, only("name")},
		{"no material", func(v *ledger.Tower) { v.Material = 0 }, only("material")},
		{"no dates", func(v *ledger.Tower) { v.PlannedStart, v.PlannedFinish = "", "" }, nil},
		{"a finish alone", func(v *ledger.Tower) { v.PlannedStart = "" }, nil},
		{"on one day", func(v *ledger.Tower) { v.PlannedFinish = v.PlannedStart }, nil},
		{"no such day", func(v *ledger.Tower) { v.PlannedStart = "2026-02-29" }, only("planned_start")},
		{"a leap day", func(v *ledger.Tower) { v.PlannedStart = "2024-02-29" }, nil},
		{"a date in another form", func(v *ledger.Tower) { v.PlannedFinish = "30.11.2026" }, only("planned_finish")},
		{"a time", func(v *ledger.Tower) { v.PlannedFinish = "2026-11-30T00:00:00Z" }, only("planned_finish")},
		{"finished before it begins", func(v *ledger.Tower) { v.PlannedFinish = "2026-01-11" }, only("planned_finish")},
		{"all at once", func(v *ledger.Tower) { *v = ledger.Tower{PlannedStart: "x", PlannedFinish: "y"} }, only("name", "material", "planned_start", "planned_finish")},
	})
	checkTexts(t, tower, validateTower, []textField[ledger.Tower]{{"drawing", func(v *ledger.Tower) *string { return &v.Drawing }, 100, false, false}})

	validateCell := func(v *ledger.Cell) []ledger.FieldError { return v.Validate() }
	checkRules(t, cell, validateCell, []rule[ledger.Cell]{
		{"a tower", func(v *ledger.Cell) { v.Place = v.Place.Parent() }, only("name")},
		{"a space", func(v *ledger.Cell) { v.Place.Cell = "C 1" }, only("name")},
	})
	checkTexts(t, cell, validateCell, []textField[ledger.Cell]{{"description", func(v *ledger.Cell) *string { return &v.Description }, 200, false, false}})

	validateJoint := func(v *ledger.Joint) []ledger.FieldError { return v.Validate() }
	checkRules(t, plannedJoint, validateJoint, []rule[ledger.Joint]{
		{"a cell", func(v *ledger.Joint) { v.Place = v.Place.Parent() }, only("name")},
		{"32 characters", func(v *ledger.Joint) { v.Place.Joint = strings.Repeat("J", 32) }, nil},
		{"33 characters", func(v *ledger.Joint) { v.Place.Joint = strings.Repeat("J", 33) }, only("name")},
		{"no kind", func(v *ledger.Joint) { v.Kind = 0 }, only("kind")},
		{"no specification", func(v *ledger.Joint) { v.Specification = "" }, only("specification")},
		{"a specification's path", func(v *ledger.Joint) { v.Specification = "specifications/X" }, only("specification")},
		{"no fasteners", func(v *ledger.Joint) { v.Fasteners = 0 }, only("fasteners")},
		{"the most fasteners", func(v *ledger.Joint) { v.Fasteners = ledger.MaxFasteners }, nil},
		{"more fasteners", func(v *ledger.Joint) { v.Fasteners = ledger.MaxFasteners + 1 }, only("fasteners")},
		{"all at once", func(v *ledger.Joint) { *v = ledger.Joint{PartA: "\x00", PartB: "\x01"} }, only("name", "kind", "part_a", "part_b", "specification", "fasteners")},
	})
	checkTexts(t, plannedJoint, validateJoint, []textField[ledger.Joint]{
		{"part_a", func(v *ledger.Joint) *string { return &v.PartA }, 100, false, false},
		{"part_b", func(v *ledger.Joint) *string { return &v.PartB }, 100, false, false},
	})
}

// outOfRange changes a figure to each number that is none.
func outOfRange[T any](field string, of func(*T) *float64, low, high float64, lowAllowed bool) []rule[T] {
	set := func(f float64) func(*T) { return func(v *T) { *of(v) = f } }
	rules := []rule[T]{
		{field + " not a number", set(math.NaN()), only(field)}, {field + " infinite", set(math.Inf(1)), only(field)},
		{field + " minus infinite", set(math.Inf(-1)), only(field)}, {field + " below", set(math.Nextafter(low, low-1)), only(field)},
		{field + " above", set(math.Nextafter(high, high+1)), only(field)}, {field + " the most", set(high), nil},
	}
	if lowAllowed {
		return append(rules, rule[T]{field + " the least", set(low), nil})
	}
	return append(rules, rule[T]{field + " at the limit that it must be above", set(low), only(field)})
}

func TestSpecificationRules(t *testing.T) {
	t.Parallel()
	validate := func(v *ledger.Specification) []ledger.FieldError { return v.Validate() }
	checkRules(t, specification, validate, []rule[ledger.Specification]{
		{"no code", func(v *ledger.Specification) { v.Code = "" }, only("name")},
		{"a code of 64", func(v *ledger.Specification) { v.Code = strings.Repeat("s", 64) }, nil},
		{"a code of 65", func(v *ledger.Specification) { v.Code = strings.Repeat("s", 65) }, only("name")},
		{"a code with a slash", func(v *ledger.Specification) { v.Code = "SS/M10" }, only("name")},
		{"a code that begins with a dot", func(v *ledger.Specification) { v.Code = ".SS" }, only("name")},
		{"no treatment", func(v *ledger.Specification) { v.Treatment = 0 }, only("treatment")},
		{"no locking method", func(v *ledger.Specification) { v.Locking = 0 }, only("locking_method")},
		{"no basis", func(v *ledger.Specification) { v.TorqueBasis = 0 }, only("torque_basis")},
		{"no nut factor", func(v *ledger.Specification) { v.NutFactor = 0 }, nil},
		{"a negative nut factor", func(v *ledger.Specification) { v.NutFactor = -0.1 }, only("nut_factor")},
		{"no limit of temperature", func(v *ledger.Specification) { v.MinimumSurfaceCelsius = nil }, nil},
		{"no material", func(v *ledger.Specification) { v.Fastener.Material = 0 }, only("fastener.material")},
		{"all at once", func(v *ledger.Specification) { *v = ledger.Specification{} },
			only("name", "fastener.thread", "fastener.material", "treatment", "locking_method", "torque_newton_metres", "torque_tolerance_percent", "torque_basis")},
	})
	checkRules(t, specification, validate, outOfRange("torque_newton_metres", func(v *ledger.Specification) *float64 { return &v.TorqueNewtonMetres }, 0, 100_000, false))
	checkRules(t, specification, validate, outOfRange("torque_tolerance_percent", func(v *ledger.Specification) *float64 { return &v.TorqueTolerancePercent }, 0, 100, false))
	checkRules(t, specification, validate, outOfRange("seal_width_millimetres", func(v *ledger.Specification) *float64 { return &v.SealWidthMillimetres }, 0, 1000, true))
	checkRules(t, specification, validate, outOfRange("minimum_surface_celsius", func(v *ledger.Specification) *float64 { return v.MinimumSurfaceCelsius }, -60, 100, true))
	checkRules(t, specification, validate, outOfRange("fastener.length_millimetres", func(v *ledger.Specification) *float64 { return &v.Fastener.LengthMillimetres }, 0, 10_000, true))
	checkTexts(t, specification, validate, []textField[ledger.Specification]{
		{"fastener.thread", func(v *ledger.Specification) *string { return &v.Fastener.Thread }, 32, true, false},
		{"fastener.property_class", func(v *ledger.Specification) *string { return &v.Fastener.PropertyClass }, 32, false, false},
		{"fastener.coating", func(v *ledger.Specification) *string { return &v.Fastener.Coating }, 32, false, false},
		{"fastener.head", func(v *ledger.Specification) *string { return &v.Fastener.Head }, 32, false, false},
		{"sealant", func(v *ledger.Specification) *string { return &v.Sealant }, 64, false, false},
	})
}

func TestLotRules(t *testing.T) {
	t.Parallel()
	validate := func(v *ledger.Lot) []ledger.FieldError { return v.Validate() }
	checkRules(t, lot, validate, []rule[ledger.Lot]{
		{"no number", func(v *ledger.Lot) { v.Number = "" }, only("name")},
		{"an accent", func(v *ledger.Lot) { v.Number = "é" }, only("name")},
		{"no state", func(v *ledger.Lot) { v.State = 0 }, only("state")},
		{"no length", func(v *ledger.Lot) { v.Fastener.LengthMillimetres = 0 }, nil},
		{"all at once", func(v *ledger.Lot) { *v = ledger.Lot{} }, only("name", "supplier", "fastener.thread", "fastener.material", "state")},
	})
	checkTexts(t, lot, validate, []textField[ledger.Lot]{
		{"supplier", func(v *ledger.Lot) *string { return &v.Supplier }, 100, true, false},
		{"heat", func(v *ledger.Lot) *string { return &v.Heat }, 64, false, false},
		{"description", func(v *ledger.Lot) *string { return &v.Description }, 200, false, false},
	})
}

// TestToolRules takes the types and classes from ISO 6789-1:2017, 4: type I,
// indicating, classes A to E; type II, setting, classes A to G.
func TestToolRules(t *testing.T) {
	t.Parallel()
	validate := func(v *ledger.Tool) []ledger.FieldError { return v.Validate() }
	rules := []rule[ledger.Tool]{
		{"no serial", func(v *ledger.Tool) { v.Serial = "" }, only("name")},
		{"no kind", func(v *ledger.Tool) { v.Kind = 0 }, only("kind")},
		{"the greatest below the least", func(v *ledger.Tool) { v.MaximumNewtonMetres = 19.9 }, only("maximum_newton_metres")},
		{"no range", func(v *ledger.Tool) { v.MinimumNewtonMetres, v.MaximumNewtonMetres = 0, 0 }, nil},
		{"no home", func(v *ledger.Tool) { v.HomeSite = "" }, only("home_site")},
		{"home at a tower", func(v *ledger.Tool) { v.HomeSite = "RVB/CT1" }, only("home_site")},
		{"no policy", func(v *ledger.Tool) { v.IntervalMonths, v.IntervalCycles = 0, 0 }, nil},
		{"months below nothing", func(v *ledger.Tool) { v.IntervalMonths = -1 }, only("interval_months")},
		{"twenty years", func(v *ledger.Tool) { v.IntervalMonths = 240 }, nil},
		{"more", func(v *ledger.Tool) { v.IntervalMonths = 241 }, only("interval_months")},
		{"cycles below nothing", func(v *ledger.Tool) { v.IntervalCycles = -1 }, only("interval_cycles")},
		{"too many cycles", func(v *ledger.Tool) { v.IntervalCycles = 10_000_001 }, only("interval_cycles")},
		{"all at once", func(v *ledger.Tool) { *v = ledger.Tool{TypeClass: "A"} }, only("name", "kind", "type_class", "home_site")},
	}
	// ISO 6789-1:2017, 4, from memory but II-A: I-A to I-C, II-A to II-C and II-G are
	// wrenches, I-D, I-E and II-D to II-F screwdrivers.
	wrenches, screwdrivers := []string{"", "I-A", "I-B", "I-C", "II-A", "II-B", "II-C", "II-G"}, []string{"", "I-D", "I-E", "II-D", "II-E", "II-F"}
	for _, class := range slices.Concat(wrenches, screwdrivers) {
		for kind, own := range map[ledger.ToolKind][]string{ledger.ToolTorqueWrench: wrenches, ledger.ToolTorqueScrewdriver: screwdrivers,
			ledger.ToolTorqueMultiplier: slices.Concat(wrenches, screwdrivers)} {
			var wrong []string
			if !slices.Contains(own, class) {
				wrong = only("type_class")
			}
			rules = append(rules, rule[ledger.Tool]{"class " + class + " of a " + ledger.ToolKinds.Name(kind), func(v *ledger.Tool) { v.Kind, v.TypeClass = kind, class }, wrong})
		}
	}
	for _, class := range []string{"I-F", "II-H", "III-A", "i-a", "I", "I-", " I-A", "I-A\n"} {
		rules = append(rules, rule[ledger.Tool]{"class " + class, func(v *ledger.Tool) { v.TypeClass = class }, only("type_class")})
	}
	for kind := ledger.ToolImpactWrench; kind <= ledger.ToolScaffold; kind++ {
		rules = append(rules, rule[ledger.Tool]{"class of a " + ledger.ToolKinds.Name(kind), func(v *ledger.Tool) {
			v.Kind, v.MinimumNewtonMetres, v.MaximumNewtonMetres, v.ResolutionNewtonMetres = kind, 0, 0, 0
		}, only("type_class")})
	}
	// What bears a load has a rated load and no scale of torque, and nothing else has one.
	for _, kind := range []ledger.ToolKind{ledger.ToolHoist, ledger.ToolSling, ledger.ToolHarness, ledger.ToolScaffold} {
		rules = append(rules,
			rule[ledger.Tool]{"scale of a " + ledger.ToolKinds.Name(kind), func(v *ledger.Tool) {
				v.Kind, v.TypeClass, v.RatedLoadKilograms = kind, "", 1500
			}, only("minimum_newton_metres", "maximum_newton_metres", "resolution_newton_metres")},
			rule[ledger.Tool]{"load of a " + ledger.ToolKinds.Name(kind), func(v *ledger.Tool) {
				*v = ledger.Tool{Serial: v.Serial, Kind: kind, HomeSite: v.HomeSite, RatedLoadKilograms: 1500}
			}, nil})
	}
	for kind := ledger.ToolTorqueWrench; kind < ledger.ToolHoist; kind++ {
		rules = append(rules, rule[ledger.Tool]{"load of a " + ledger.ToolKinds.Name(kind), func(v *ledger.Tool) {
			v.Kind, v.TypeClass, v.RatedLoadKilograms = kind, "", 40
		}, only("rated_load_kilograms")})
	}
	checkRules(t, tool, validate, rules)
	checkRules(t, tool, validate, outOfRange("resolution_newton_metres", func(v *ledger.Tool) *float64 { return &v.ResolutionNewtonMetres }, 0, 100_000, true))
	checkRules(t, tool, validate, outOfRange("maximum_newton_metres", func(v *ledger.Tool) *float64 { v.MinimumNewtonMetres = 0; return &v.MaximumNewtonMetres }, 0, 100_000, true)[4:6])
	checkRules(t, tool, validate, outOfRange("minimum_newton_metres", func(v *ledger.Tool) *float64 { v.MaximumNewtonMetres = 100_000; return &v.MinimumNewtonMetres }, 0, 100_000, true)[3:4])
}

// What is refused is told with the classes that there are for the kind and type.
func TestTypeClassesAreNamed(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		kind        ledger.ToolKind
		class, want string
	}{
		{ledger.ToolTorqueWrench, "II-D", `"II-D" is not a type and class of a torque-wrench in ISO 6789-1:2017; expected one of II-A, II-B, II-C, II-G: type II, setting, has no other class of a torque-wrench`},
		{ledger.ToolTorqueScrewdriver, "I-A", `"I-A" is not a type and class of a torque-screwdriver in ISO 6789-1:2017; expected one of I-D, I-E: type I, indicating, has no other class of a torque-screwdriver`},
		{ledger.ToolTorqueMultiplier, "I-G", `"I-G" is not a type and class in ISO 6789-1:2017; expected one of I-A, I-B, I-C, I-D, I-E: type I, indicating, has no other class`},
		{ledger.ToolTorqueScrewdriver, "III-A", `"III-A" is not a type and class of a torque-screwdriver in ISO 6789-1:2017; expected one of I-D, I-E, II-D, II-E, II-F`},
		{ledger.ToolImpactWrench, "II-A", `an impact-wrench has no type and class of ISO 6789-1:2017; expected nothing, or one of the torque tools as its kind`},
		{ledger.ToolHoist, "II-A", `a hoist has no type and class of ISO 6789-1:2017; expected nothing, or one of the torque tools as its kind`},
	} {
		v := tool()
		v.Kind, v.TypeClass = tt.kind, tt.class
		if tt.kind.BearsLoad() {
			v.MinimumNewtonMetres, v.MaximumNewtonMetres, v.ResolutionNewtonMetres = 0, 0, 0
		}
		if got := v.Validate(); len(got) != 1 || got[0].Field != "type_class" || got[0].Description != tt.want {
			t.Errorf("%v; expected %s", got, tt.want)
		}
	}
}

func TestPersonRules(t *testing.T) {
	t.Parallel()
	validate := func(v *ledger.Person) []ledger.FieldError { return v.Validate() }
	checkRules(t, person, validate, []rule[ledger.Person]{
		{"no id", func(v *ledger.Person) { v.ID = "" }, only("name")},
		{"capitals", func(v *ledger.Person) { v.ID = "AR" }, only("name")},
		{"32 characters", func(v *ledger.Person) { v.ID = strings.Repeat("a", 32) }, nil},
		{"33 characters", func(v *ledger.Person) { v.ID = strings.Repeat("a", 33) }, only("name")},
		{"no name, no employer, no home", func(v *ledger.Person) { v.Name, v.Employer, v.HomeSite = "", "", "" }, nil},
		{"a home that is none", func(v *ledger.Person) { v.HomeSite = "rvb" }, only("home_site")},
		{"no roles", func(v *ledger.Person) { v.Roles = nil }, nil},
		{"roles that are none", func(v *ledger.Person) { v.Roles = []ledger.Role{ledger.RoleCrib, 0, 99} }, only("roles[1]", "roles[2]")},
		{"no task", func(v *ledger.Person) { v.Qualifications[0].Task = "" }, only("qualifications[0].task")},
		{"no end", func(v *ledger.Person) { v.Qualifications[0].ExpireDate = "" }, nil},
		{"an end that is none", func(v *ledger.Person) { v.Qualifications[0].ExpireDate = "2027" }, only("qualifications[0].expire_date")},
		{"all at once", func(v *ledger.Person) {
			*v = ledger.Person{HomeSite: "-", Roles: make([]ledger.Role, 1), Qualifications: []ledger.Qualification{{}, {Task: "\x00", ExpireDate: "x"}}}
		}, only("name", "home_site", "roles[0]", "qualifications[0].task", "qualifications[1].task", "qualifications[1].expire_date")},
	})
	checkTexts(t, person, validate, []textField[ledger.Person]{
		{"display_name", func(v *ledger.Person) *string { return &v.Name }, 100, false, false},
		{"employer", func(v *ledger.Person) *string { return &v.Employer }, 100, false, false},
		{"qualifications[0].task", func(v *ledger.Person) *string { return &v.Qualifications[0].Task }, 64, true, false},
	})
}

func TestConsumableRules(t *testing.T) {
	t.Parallel()
	validateBatch := func(v *ledger.Batch) []ledger.FieldError { return v.Validate() }
	checkRules(t, batch, validateBatch, []rule[ledger.Batch]{
		{"no number", func(v *ledger.Batch) { v.Number = "" }, only("name")},
		{"no kind", func(v *ledger.Batch) { v.Kind = 0 }, only("kind")},
		{"no shelf life", func(v *ledger.Batch) { v.ExpireDate = "" }, nil},
		{"no such day", func(v *ledger.Batch) { v.ExpireDate = "2027-02-29" }, only("expire_date")},
		{"no limits", func(v *ledger.Batch) { v.MinimumCelsius, v.MaximumCelsius = nil, nil }, nil},
		{"the highest below the lowest", func(v *ledger.Batch) { *v.MaximumCelsius = -10.5 }, only("maximum_celsius")},
	})
	checkRules(t, batch, validateBatch, outOfRange("maximum_celsius", func(v *ledger.Batch) *float64 { v.MinimumCelsius = nil; return v.MaximumCelsius }, -60, 200, true))
	checkRules(t, batch, validateBatch, outOfRange("minimum_celsius", func(v *ledger.Batch) *float64 { v.MaximumCelsius = nil; return v.MinimumCelsius }, -60, 200, true))
	checkTexts(t, batch, validateBatch, []textField[ledger.Batch]{{"product", func(v *ledger.Batch) *string { return &v.Product }, 100, false, false}})

	validateSubstitution := func(v *ledger.Substitution) []ledger.FieldError { return v.Validate() }
	checkRules(t, substitution, validateSubstitution, []rule[ledger.Substitution]{
		{"no code", func(v *ledger.Substitution) { v.Code = "" }, only("name")},
		{"no specification", func(v *ledger.Substitution) { v.Specification = "" }, only("specification")},
		{"no fastener", func(v *ledger.Substitution) { v.Permitted = ledger.Fastener{} }, only("permitted.thread", "permitted.material")},
		{"the specification's torque", func(v *ledger.Substitution) { v.TorqueNewtonMetres = 0 }, nil},
	})
	checkRules(t, substitution, validateSubstitution, outOfRange("torque_newton_metres", func(v *ledger.Substitution) *float64 { return &v.TorqueNewtonMetres }, 0, 100_000, true))
	checkTexts(t, substitution, validateSubstitution, []textField[ledger.Substitution]{
		{"needs", func(v *ledger.Substitution) *string { return &v.Needs }, 200, false, false},
		{"approved_by", func(v *ledger.Substitution) *string { return &v.ApprovedBy }, 100, true, false},
	})
}
