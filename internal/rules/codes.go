package rules

// Codes of the rules. They are stored with findings and holds and are never
// given another meaning.
const (
	CodeCalibrationLapsed   = "tool-calibration-lapsed"
	CodeCalibrationUnknown  = "tool-calibration-unknown"
	CodeCalibrationFailed   = "tool-calibration-failed"
	CodeToolHeld            = "tool-held"
	CodeToolRange           = "tool-range"
	CodeToolElsewhere       = "tool-elsewhere"
	CodeToolLentUnfit       = "tool-lent-unfit"
	CodeTorqueWindow        = "torque-window"
	CodeAuditWindow         = "audit-window"
	CodeTorqueBasis         = "torque-basis"
	CodeTreatmentMissing    = "treatment-missing"
	CodeTreatmentConflict   = "treatment-conflict"
	CodeLockingMissing      = "locking-missing"
	CodeImpactFinal         = "impact-final"
	CodeLotHeld             = "lot-held"
	CodeLotNotHere          = "lot-not-here"
	CodeLotOverdrawn        = "lot-overdrawn"
	CodeFastenerSubstituted = "fastener-substituted"
	CodeSealCold            = "seal-cold"
	CodeSealDew             = "seal-dew"
	CodeSealStaleClean      = "seal-stale-clean"
	CodeSealWidth           = "seal-width"
	CodeSealSplice          = "seal-splice"
	CodeBatchExpired        = "batch-expired"
	CodeBatchKind           = "batch-kind"
	CodeCountOverJoint      = "count-over-joint"
	CodePersonUnqualified   = "person-unqualified"
	CodeClock               = "clock"
)
