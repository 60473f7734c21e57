package metrology

// Caution is a warning that must travel with the figures of a package: what
// they do not prove, and whose word goes before them.
type Caution struct {
	Topic    string // short key, unique across the trade's packages
	Text     string
	DefersTo string // what or who governs instead of the figure
}

// Cautions returns the cautions that go with tools, their due dates and the
// equipment that is inspected beside them. The texts are custom of the trade
// (common practice, no source).
func Cautions() []Caution {
	return []Caution{
		{
			Topic:    "tool-status",
			Text:     "A status shown as good here is no permit: local codes, permits and the decision of the competent or qualified person override it.",
			DefersTo: "local codes, permits and the competent or qualified person on site",
		},
		{
			Topic:    "tool-unproven",
			Text:     "A tool past its due date, dropped, overloaded or unproven: stop, tag it, and trace back what it was used on.",
			DefersTo: "the tool maker's manual and the site's quality procedure",
		},
		{
			Topic:    "work-at-height",
			Text:     "Work at height needs inspected fall protection, an anchorage and a rescue plan before it starts; no due date shown here stands for the check before use.",
			DefersTo: "local codes and the competent person for work at height",
		},
		{
			Topic:    "lifting",
			Text:     "Lift only with inspected and marked gear within its capacity, with nobody under the load and inside the wind limits of the lift plan.",
			DefersTo: "the lift plan, the gear maker's manual and local lifting codes",
		},
	}
}
