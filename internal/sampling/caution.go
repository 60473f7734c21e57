package sampling

import "jointledger/internal/metrology"

// Cautions returns the cautions that travel with samples and their results. The
// texts are custom of the trade (common practice, no source).
func Cautions() []metrology.Caution {
	return []metrology.Caution{
		{
			Topic:    "sampling-isolated-lot",
			Text:     "AQL plans are made for a continuing series of lots. A single tower is an isolated lot: use a limiting quality or inspect everything.",
			DefersTo: "the inspection plan of the contract and the quality engineer",
		},
		{
			Topic:    "sampling-power",
			Text:     "A sample without a finding does not prove the joint: 10 % of 24 bolts finds one of two loose ones only every fourth time. Watch the process; do not rely on the audit.",
			DefersTo: "the inspection plan of the contract and the quality engineer",
		},
	}
}
