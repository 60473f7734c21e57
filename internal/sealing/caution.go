package sealing

import "jointledger/internal/metrology"

// Cautions returns the cautions that travel with sealing windows and with work
// on sealed joints. The texts are custom of the trade (common practice, no
// source) unless they name a source.
func Cautions() []metrology.Caution {
	return []metrology.Caution{
		{
			Topic:    "solvent-vapour",
			Text:     "Solvent vapour is flammable and heavier than air: ventilate, no ignition, gloves and eye protection, and confined-space rules inside the structure. One litre of acetone spilt in a closed cell can fill 133 m³ to 2 500 ppm, immediately dangerous to life and health (NIOSH, seen; volume derived).",
			DefersTo: "the solvent maker's safety data sheet, local codes and the competent person",
		},
		{
			Topic:    "isolate-before-entry",
			Text:     "Hot water, hot surfaces, rotating fans and motors: isolate and lock out before entry.",
			DefersTo: "the site's lock-out procedure and local codes",
		},
		{
			Topic:    "sealing-window",
			Text:     "A sealing window is computed from a table of air and surface conditions. Measure the surface at the joint: sheet steel under a clear night sky is colder than the air and colder than the forecast.",
			DefersTo: "the sealant maker's data sheet and the joint specification",
		},
	}
}
