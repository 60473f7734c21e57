package analysis

import (
	"time"

	"jointledger/internal/ledger"
)

// ToolInterval is the time between two calibrations of one tool: from as left
// (or as found when not adjusted) to the next as found.
type ToolInterval struct {
	Tool       ledger.Tool
	Start, End time.Time
	// Cycles are the fasteners tightened with the tool in between.
	Cycles int64
	// InTolerance says that every as-found reading at End was inside the limit.
	InTolerance bool
}

// ReliabilityOptions says for which target an interval is asked.
type ReliabilityOptions struct {
	// Target reliability at the end of the interval, strictly between 0 and 1;
	// 0.95 when 0.
	Target float64
	// Confidence of every interval, strictly between 0 and 1; 0.95 when 0.
	Confidence float64
	// GrowthCap is the most that an interval may be lengthened in one step, as a
	// factor of at least 1; 1.5 when 0 (common practice, no source).
	GrowthCap float64
	// LeastResults is the fewest results from which an interval may be lengthened;
	// 20 when 0 (common practice, no source).
	LeastResults int
}
