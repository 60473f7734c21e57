package cli

import "jointledger/internal/cli/output"

// caution stands wherever a torque is shown or taken.
const caution = "The equipment maker's manual, local codes and licensed practice come first."

// torqueCaution is the caution as part of an answer.
func torqueCaution() output.Note {
	return output.Note{Key: "cautions", Value: []string{caution}, Text: []string{caution}}
}
