package analysis

import "jointledger/internal/ledger"

// TorqueToolKinds are the kinds of tools that measure torque: those that coverage
// is reckoned from.
func TorqueToolKinds() []ledger.ToolKind {
	var kinds []ledger.ToolKind
	for i := range ledger.ToolKinds.All() {
		if k := ledger.ToolKind(i + 1); k.MeasuresTorque() {
			kinds = append(kinds, k)
		}
	}
	return kinds
}
