package metrology

// Mark says how far a published value was checked before it was written here.
type Mark string

// The marks a value can carry.
const (
	// Seen values were read in the source itself or in a reprint of it.
	Seen Mark = "seen"
	// Memory values were recalled without the source at hand; check them
	// against the source before relying on them.
	Memory Mark = "from memory"
	// Practice values are custom of the trade; nobody can be cited for them.
	Practice Mark = "common practice, no source"
	// Derived values were computed here from other values that carry a source.
	Derived Mark = "derived"
)

// Source says where a value comes from. Editions of one standard disagree, so
// the edition is a field of its own and never part of the title.
type Source struct {
	Title   string // standard, manual or book; empty for custom of the trade
	Edition string // year or edition; empty when the title has only one
	Place   string // clause, table or page; empty when the whole is meant
	Mark    Mark
}

// String gives the source as one would cite it, with its mark in brackets:
// "ISO 898-1, edition 2013, table 3 (seen)".
func (s Source) String() string {
	if s.Title == "" {
		return string(s.Mark)
	}
	text := s.Title
	if s.Edition != "" {
		text += ", edition " + s.Edition
	}
	if s.Place != "" {
		text += ", " + s.Place
	}
	return text + " (" + string(s.Mark) + ")"
}

// Limit is a published limit: a value, its unit and where it comes from.
type Limit struct {
	Value  float64
	Unit   string
	Source Source
}
