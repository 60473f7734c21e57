package ledger

// The numbers of every list below are those of the API's enums and of the
// database; a value is never given another meaning.

// SiteStatus says whether work at a site is to come, going on or over.
type SiteStatus uint8

// Site statuses.
const (
	SitePlanned SiteStatus = iota + 1
	SiteActive
	SiteClosed
)

// SiteStatuses are the words of SiteStatus.
var SiteStatuses = Words[SiteStatus]{what: "site status", names: []string{"planned", "active", "closed"}}

// UnitPreference is the system in which a site's people read quantities.
type UnitPreference uint8

// Unit preferences.
const (
	UnitsSI UnitPreference = iota + 1
	UnitsUSCustomary
)

// UnitPreferences are the words of UnitPreference.
var UnitPreferences = Words[UnitPreference]{what: "unit preference", names: []string{"si", "us-customary"}}

// Material of a structure or a fastener.
type Material uint8

// Materials.
const (
	GalvanizedSteel Material = iota + 1
	Stainless304
	Stainless316
	FibreReinforced
	CarbonSteel
	SiliconBronze
)

// Materials are the words of Material.
var Materials = Words[Material]{
	what:  "material",
	names: []string{"galvanized-steel", "304", "316", "fibre-reinforced", "carbon-steel", "silicon-bronze"},
	alias: map[string]Material{"galvanised-steel": GalvanizedSteel, "fiber-reinforced": FibreReinforced},
}

// Stainless says whether the material is an austenitic stainless steel, whose
// threads gall.
func (m Material) Stainless() bool { return m == Stainless304 || m == Stainless316 }

// JointKind says what a joint is for.
type JointKind uint8

// Joint kinds.
const (
	JointStructural JointKind = iota + 1
	JointMechanical
	JointSeam
)

// JointKinds are the words of JointKind.
var JointKinds = Words[JointKind]{what: "joint kind", names: []string{"structural", "mechanical", "seam"}}

// Treatment is what the threads carried when they were driven.
type Treatment uint8

// Treatments.
const (
	TreatmentNone Treatment = iota + 1
	TreatmentAntiSeize
	TreatmentThreadLocking
	TreatmentPrevailingTorqueNut
	TreatmentOtherLubricant
)

// Treatments are the words of Treatment.
var Treatments = Words[Treatment]{
	what:  "thread treatment",
	names: []string{"none", "anti-seize", "thread-locking-compound", "prevailing-torque-nut", "other-lubricant"},
}

// LockingMethod keeps a fastener from working loose.
type LockingMethod uint8

// Locking methods.
const (
	LockingNone LockingMethod = iota + 1
	LockingPrevailingTorqueNut
	LockingCompound
	LockingWasher
	LockingJamNut
)

// LockingMethods are the words of LockingMethod.
var LockingMethods = Words[LockingMethod]{
	what:  "locking method",
	names: []string{"none", "prevailing-torque-nut", "thread-locking-compound", "lock-washer", "jam-nut"},
}

// TorqueBasis is the thread condition that a torque value assumes.
type TorqueBasis uint8

// Torque bases.
const (
	BasisDry TorqueBasis = iota + 1
	BasisLubricated
)

// TorqueBases are the words of TorqueBasis.
var TorqueBases = Words[TorqueBasis]{what: "torque basis", names: []string{"dry", "lubricated"}}

// Pass says which round of tightening a record describes.
type Pass uint8

// Passes. Only the first adds attempts.
const (
	PassFirst Pass = iota + 1
	PassFinal
	PassRetightening
)

// Passes are the words of Pass.
var Passes = Words[Pass]{
	what:  "pass",
	names: []string{"first", "final", "re-tightening"},
	alias: map[string]Pass{"retightening": PassRetightening},
}

// DrivingMethod is how a fastener was turned.
type DrivingMethod uint8

// Driving methods.
const (
	DrivenByHand DrivingMethod = iota + 1
	DrivenByImpact
	DrivenByImpactThenTorqueTool
	DrivenByNutrunner
)

// DrivingMethods are the words of DrivingMethod.
var DrivingMethods = Words[DrivingMethod]{
	what:  "driving method",
	names: []string{"hand", "impact", "impact-then-torque-tool", "nutrunner"},
}

// IncidentKind says what went wrong.
type IncidentKind uint8

// Incident kinds. Galling to BrokenFastener are thread failures.
const (
	Galling IncidentKind = iota + 1
	Seized
	StrippedTappingScrew
	StrippedThread
	CrossedThread
	BrokenFastener
	MisalignedHole
	SealGap
	Leak
	CoatingDamage
	DroppedTool
	NearMiss
)

// IncidentKinds are the words of IncidentKind.
var IncidentKinds = Words[IncidentKind]{
	what: "incident kind",
	names: []string{
		"galling", "seized", "stripped-tapping-screw", "stripped-thread", "crossed-thread", "broken-fastener",
		"misaligned-hole", "seal-gap", "leak", "coating-damage", "dropped-tool", "near-miss",
	},
	alias: map[string]IncidentKind{"galled": Galling, "cross-threaded": CrossedThread},
}

// ThreadFailure says whether each fastener of such an incident is a fastener
// attempt that failed.
func (k IncidentKind) ThreadFailure() bool { return k >= Galling && k <= BrokenFastener }

// ThreadFailures are the kinds that count as failed attempts.
func ThreadFailures() []IncidentKind {
	return []IncidentKind{Galling, Seized, StrippedTappingScrew, StrippedThread, CrossedThread, BrokenFastener}
}

// LotState says whether a fastener lot may be used.
type LotState uint8

// Lot states.
const (
	LotReleased LotState = iota + 1
	LotQuarantined
	LotUsedUp
)

// LotStates are the words of LotState.
var LotStates = Words[LotState]{what: "lot state", names: []string{"released", "quarantined", "used-up"}}

// MovementKind says how a quantity of a lot came or went.
type MovementKind uint8

// Movement kinds.
const (
	MovementReceived MovementKind = iota + 1
	MovementSent
	MovementReturned
	MovementScrapped
	MovementCounted
)

// MovementKinds are the words of MovementKind.
var MovementKinds = Words[MovementKind]{
	what:  "movement kind",
	names: []string{"received", "sent", "returned", "scrapped", "counted"},
}

// ToolKind says what a tool is.
type ToolKind uint8

// Tool kinds.
const (
	ToolTorqueWrench ToolKind = iota + 1
	ToolTorqueScrewdriver
	ToolTorqueMultiplier
	ToolImpactWrench
	ToolDialIndicator
	ToolAngleProtractor
	ToolThermoHygrometer
	ToolHoist
	ToolSling
	ToolHarness
	ToolScaffold
)

// ToolKinds are the words of ToolKind.
var ToolKinds = Words[ToolKind]{
	what: "tool kind",
	names: []string{
		"torque-wrench", "torque-screwdriver", "torque-multiplier", "impact-wrench", "dial-indicator",
		"angle-protractor", "thermo-hygrometer", "hoist", "sling", "harness", "scaffold",
	},
}

// MeasuresTorque says whether tools of the kind measure torque.
func (k ToolKind) MeasuresTorque() bool {
	return k == ToolTorqueWrench || k == ToolTorqueScrewdriver || k == ToolTorqueMultiplier
}

// BearsLoad says whether tools of the kind are made to bear a load: their capacity is a
// mass, and they have no scale of torque.
func (k ToolKind) BearsLoad() bool {
	return k == ToolHoist || k == ToolSling || k == ToolHarness || k == ToolScaffold
}

// CalibrationPhase parts readings before adjustment from those after.
type CalibrationPhase uint8

// Calibration phases.
const (
	AsFound CalibrationPhase = iota + 1
	AsLeft
)

// CalibrationPhases are the words of CalibrationPhase.
var CalibrationPhases = Words[CalibrationPhase]{what: "calibration phase", names: []string{"as-found", "as-left"}}

// Role is what a person is on a site to do.
type Role uint8

// Roles.
const (
	RoleTechnician Role = iota + 1
	RoleCrib
	RoleSiteLead
	RoleQuality
	RoleRegionalManager
	RoleAdministrator
)

// Roles are the words of Role.
var Roles = Words[Role]{
	what:  "role",
	names: []string{"technician", "crib", "site-lead", "quality", "regional-manager", "administrator"},
}
