package bolting

import "jointledger/internal/metrology"

// Cautions returns the cautions that travel with every torque and preload of
// this package. The texts are custom of the trade (common practice, no source)
// unless they name a source.
func Cautions() []metrology.Caution {
	const governs = "the fastener maker's manual, the drawings and the responsible licensed engineer"
	return []metrology.Caution{
		{
			Topic:    "torque-default",
			Text:     "Torque values are defaults computed from assumptions; the maker's manual, the drawings and the responsible licensed engineer govern.",
			DefersTo: governs,
		},
		{
			Topic:    "torque-not-clamp-load",
			Text:     "A torque reading is not proof of clamp load. Friction decides: a change of lubricant, plating or reuse makes the value invalid.",
			DefersTo: governs,
		},
		{
			Topic:    "torque-basis",
			Text:     "Never use a dry value on a lubricated bolt, or the reverse.",
			DefersTo: governs,
		},
		{
			Topic:    "stainless-binding",
			Text:     "Stop if a stainless fastener binds. Do not force it, and do not count its torque.",
			DefersTo: governs,
		},
		{
			Topic:    "structural-torque",
			Text:     "Structural bolts may not be installed from a torque table or equation: the code asks for a method verified each day on the real assemblies (RCSC 8.2.2, AISC FAQ 6.3, seen).",
			DefersTo: "the structural code in force, the licensed engineer and the inspector",
		},
		{
			Topic:    "cured-threadlocker",
			Text:     "Do not audit a cured thread-locking compound by turning: it breaks the bond and reads false.",
			DefersTo: "the compound maker's manual",
		},
	}
}
