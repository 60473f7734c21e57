package analysis

import "jointledger/internal/ledger"

// ReliabilityAnswer says, for each family of tools, how reliable they are at the
// end of their calibration interval and how long it should be.
type ReliabilityAnswer struct {
	// Headline is the answer in a sentence or two.
	Headline string
	// Families are sorted by observed reliability, lowest first, then by name.
	Families []FamilyReliability
	// LeftOut is how many intervals could not be used: without length, or with
	// their end before their start.
	LeftOut int
	// Method says in words how the figures were made.
	Method string
	// Assumption is what must hold for them to mean what they say.
	Assumption string
	// Cautions are what a reader must know before acting on them.
	Cautions []string
}

// ToolFamily is tools that can be expected to behave alike: of one kind, one
// type and class (ISO 6789-1:2017) and one band of maximum torque, whoever made
// them.
type ToolFamily struct {
	Kind      ledger.ToolKind
	TypeClass string // as ISO 6789-1 writes it; empty when not given
	// Band is a span of maximum torque in words; empty for tools without one.
	Band string
}

// FamilyReliability is the answer for one family. A figure that is not known is
// nil.
type FamilyReliability struct {
	Family ToolFamily
	// Tools and Calibrations count the serials and the intervals.
	Tools, Calibrations int64
	InTolerance         int64
	// Reliability is the part found in tolerance at the end of the period, with
	// the limits of its exact interval.
	Reliability, Lower, Upper float64
	// PBelowTarget is the exact binomial probability of so few in tolerance, or
	// fewer, were the reliability at its target; small speaks for shortening.
	PBelowTarget float64
	// Months and Cycles are the interval reckoned in each; Cycles is nil when no
	// use is on record.
	Months IntervalAdvice
	Cycles *IntervalAdvice
	// Sentence is the finding in words.
	Sentence string
}

// IntervalAction is what to do with an interval.
type IntervalAction uint8

// Interval actions.
const (
	KeepInterval IntervalAction = iota + 1
	ShortenInterval
	LengthenInterval
)

// IntervalActions are the words of IntervalAction.
var IntervalActions = ledger.NewWords[IntervalAction]("interval action", "keep", "shorten", "lengthen")

// IntervalAdvice is an interval in one unit, months or cycles.
type IntervalAdvice struct {
	// Present is the interval at work: the median of the tools' policies, or of
	// the intervals on record when they have none.
	Present float64
	// PresentFromPolicy is false when Present is the median on record.
	PresentFromPolicy bool
	// Estimate is the interval at whose end the target holds, by maximum
	// likelihood; nil when everything was in tolerance or nothing was.
	Estimate *float64
	// Lower and Upper are its limits; nil where the results set none. When
	// everything was in tolerance Lower is a one-sided bound, when nothing was
	// Upper is.
	Lower, Upper *float64
	// Model names the distribution and the method of the limits.
	Model string
	// Action and Recommended are the advice, after the cap and the refusal to
	// lengthen from few results.
	Action      IntervalAction
	Recommended float64
	// Reason says why in a sentence.
	Reason string
}
