package known

import "jointledger/internal/ledger"

// CellPast is a cell with all its joints and what happened to them.
type CellPast struct {
	Cell ledger.Cell
	// Joints are in the order of their names.
	Joints []JointWork
	// Holds are those open on the cell or on its joints, oldest first.
	Holds []*ledger.Hold
}

// JointWork is a joint with its past and what the state of its work follows from.
type JointWork struct {
	JointPast
	Work ledger.JointWork
}

// SpecificationPast is a specification with all its revisions, the oldest first,
// and what may stand in for its fastener.
type SpecificationPast struct {
	Code          string
	Revisions     []ledger.Specification
	Substitutions []ledger.Substitution
}
