package analysis

import (
	"slices"

	"jointledger/internal/metrology"
)

// DueCautions are what a reader must know before acting on a list of due tools.
func DueCautions(items []DueItem) []string {
	cautions := []string{
		"The tool maker's manual and the site's calibration procedure come first; a tool that is not listed is not thereby fit for use.",
	}
	for _, c := range metrology.Cautions() {
		if c.Topic == "tool-unproven" && len(items) > 0 {
			cautions = append(cautions, c.Text)
		}
	}
	if slices.ContainsFunc(items, func(i DueItem) bool { return i.Forecast }) {
		cautions = append(cautions, "A forecast of cycles assumes that recent use goes on, and counts only tightenings recorded with the tool: use that was not recorded makes it due earlier.")
	}
	if slices.ContainsFunc(items, func(i DueItem) bool { return i.Reason == DueCalibrationFailed }) {
		cautions = append(cautions, "A failed calibration is judged here under the decision rule named with it, by simple acceptance where none is: then without the measurement's uncertainty. The laboratory's certificate and the rule agreed with it govern.")
	}
	return cautions
}
