package analysis

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// ImpactAnswer says what a tool that failed its calibration did to the joints
// tightened with it since it was last known good.
type ImpactAnswer struct {
	// Headline is the answer in a sentence or two.
	Headline string
	// Start is the last good calibration; without one it is the first use on
	// record, and the zero time when there is neither.
	Start time.Time
	// StartKnown is false when no good calibration stands at the start.
	StartKnown bool
	// End is the failed calibration; work from then on is not in question.
	End time.Time
	// LimitPercent is the maximum permissible deviation of the tool, ±, in percent
	// of the reference reading (ISO 6789-1:2017).
	LimitPercent float64
	// Rule is the decision rule by which test points failed.
	Rule metrology.DecisionRule
	// Points are the as-found test points, by torque.
	Points []ImpactPoint
	// Bands are the torques in question, by torque; none when no point failed.
	Bands []ImpactBand
	// Cycles are the fasteners tightened with the tool from Start to End.
	Cycles int64
	// Joints are those tightened in a band, the most probably wrong first; those
	// whose probability is not known come last, save where the tool was found to
	// give no torque at all: those come first of all.
	Joints []JointImpact
	// GoneOver are joints in a band all of whose fasteners were tightened again
	// since with a good tool, sorted likewise.
	GoneOver []JointImpact
	// Apart are joints not estimated, with the reason, those without a torque on
	// record first, then by name.
	Apart []JointApart
	// Method says in words how the figures were made.
	Method string
	// Assumption is what must hold for them to mean what they say.
	Assumption string
	// Cautions are what a reader must know before acting on them.
	Cautions []string
}

// ImpactPoint is one as-found test point. Deviations are percent of the
// reference reading; a tool with a positive deviation gives less than it shows.
type ImpactPoint struct {
	TargetNewtonMetres float64
	Failed             bool
	Outcome            metrology.Outcome // of the worst reading
	Readings           int
	// MeanPercent is the mean deviation as found; nil when a reading shows no
	// torque at all, which has no deviation.
	MeanPercent *float64
	// WorstPercent is the deviation farthest from zero; nil likewise.
	WorstPercent *float64
	// SpreadPercent is the standard deviation of the deviations, n − 1; nil for a
	// single reading.
	SpreadPercent *float64
	// UncertaintyPercent is the certificate's standard uncertainty, U/k; nil when
	// not stated.
	UncertaintyPercent *float64
	// LastGoodPercent is the mean deviation at the last good calibration at this
	// torque, interpolated where it was not tested; nil without one.
	LastGoodPercent *float64
}

// ImpactBand is an open interval of torque in question, in N·m: from the good
// test point below the failed ones to the good one above. A side is nil where no
// good point bounds it; the band then has no end there.
type ImpactBand struct {
	LowerNewtonMetres, UpperNewtonMetres *float64
}

// JointImpact is what the tool did to one joint in a band.
type JointImpact struct {
	Joint  ledger.Place
	Status ledger.JointStatus
	// Window is nil when no specification says what the torque may be.
	Window *TorqueWindow
	// Records are all tightenings of the joint with the tool in the time in
	// question, in order of time.
	Records []ImpactRecord
	// Deciding is the record that the figures are of: of those that count, the
	// most probably wrong.
	Deciding uuid.UUID
	// SetNewtonMetres is the torque set or read in it.
	SetNewtonMetres float64
	// UnknownDrift takes the deviation as found for all of the time.
	UnknownDrift *DriftEstimate
	// LinearDrift takes it as growing with the cycles, from as left to as found;
	// nil without a last good calibration.
	LinearDrift *DriftEstimate
	// OutsideProbability is the larger of the two models'; nil when there is none.
	OutsideProbability *float64
	// NoTorqueFound says that the tool was found to give no torque at all at a test
	// point that the torque set lies beside: there is nothing to estimate from.
	NoTorqueFound bool
	// LockingCured says that thread-locking compound has cured on the joint.
	LockingCured bool
	// GoneOver is the newest tightening since with a good tool; nil for none.
	GoneOver *GoneOver
	// Sentence is the finding in words, with what cannot be audited.
	Sentence string
}

// ImpactRecord is one tightening with the tool.
type ImpactRecord struct {
	ID   uuid.UUID
	At   time.Time
	Pass ledger.Pass
	// TorqueNewtonMetres is nil when not known.
	TorqueNewtonMetres *float64
	Fasteners          int
	// Counts says that some fastener of the joint was last tightened with the tool
	// in this record, as far as the counts of fasteners tell.
	Counts bool
	// InBand says that the torque lies in a band.
	InBand bool
	// CycleShare is the part of all cycles from Start to End that were done with
	// the end of this record, 0 to 1.
	CycleShare float64
}

// DriftEstimate is the torque that a joint probably got under one model of how
// the tool went off.
type DriftEstimate struct {
	// DeviationPercent is the tool's deviation at the torque set.
	DeviationPercent float64
	// DeliveredNewtonMetres is set/(1 + deviation/100).
	DeliveredNewtonMetres float64
	// StandardUncertaintyNewtonMetres is of the torque of one fastener; nil when
	// neither spread nor uncertainty is known.
	StandardUncertaintyNewtonMetres *float64
	// OutsideProbability is the probability that the torque of a fastener lies
	// outside the window; nil without a window or an uncertainty.
	OutsideProbability *float64
}

// ApartReason says why a joint was not estimated.
type ApartReason uint8

// Reasons.
const (
	ApartNoTorque ApartReason = iota + 1
	ApartOutsideBand
)

// ApartReasons are the words of ApartReason.
var ApartReasons = ledger.NewWords[ApartReason]("reason", "no-torque-on-record", "outside-band")

// JointApart is a joint tightened with the tool that is not estimated.
type JointApart struct {
	Joint   ledger.Place
	Status  ledger.JointStatus
	Reason  ApartReason
	Records []ImpactRecord
	// Sentence gives the reason in words.
	Sentence string
}
