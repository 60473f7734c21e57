package analysis

import "jointledger/internal/regression"

// ModelPenalty says when Firth's penalty is used.
type ModelPenalty = regression.Penalty

// ModelPenalties are the words of ModelPenalty, from 0.
func ModelPenalties() []string { return []string{"when-separated", "always", "never"} }
