package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"jointledger/internal/report/figure"
)

// QualityDocument is what a manager reads on Monday about the sites in a scope: what
// to act on, the figures that say so, and how they were made. It is plain values; the
// caller computes all of it. A figure that was not made is nil and named in LeftOut.
type QualityDocument struct {
	// Scope says what it is about: `site RVB`, `region Gulf`, `all sites`.
	Scope string `json:"scope"`
	// Since is the first day that is counted, DataAsOf when the record was read: all
	// of it from one state of the database.
	Since    figure.Day `json:"since"`
	DataAsOf time.Time  `json:"data_as_of"`
	// PreparedBy is who had it made; empty when nobody said.
	PreparedBy Text `json:"prepared_by"`
	// Program is what made the document.
	Program string `json:"program"`
	// Actions are what to act on, by consequence, at most MostActions; MostPressing
	// chooses them. None when nothing calls for it.
	Actions []Action `json:"actions"`
	// OrdersDiffer says that the crude order of the sites and the standardised one
	// differ, and how; empty when they don't.
	OrdersDiffer Text `json:"orders_differ"`
	// Lots is the forest plot of fastener lots.
	Lots *figure.Forest `json:"lots"`
	// Holds are the open holds.
	Holds *figure.Holds `json:"holds"`
	// Coverage is the tools due and the work covered.
	Coverage *figure.Coverage `json:"coverage"`
	// Spares is the hardware at risk.
	Spares *figure.Spares `json:"spares"`
	// Sites is the funnel of sites.
	Sites *figure.Funnel `json:"sites"`
	// Trends are control charts, the most alarming first.
	Trends []*figure.ControlChart `json:"trends"`
	// Progress is the S-curves of the sites.
	Progress *figure.Progress `json:"progress"`
	// Incidents is the Pareto chart of incident kinds.
	Incidents *figure.Pareto `json:"incidents"`
	// LeftOut is what is not here, and why.
	LeftOut []LeftOut `json:"left_out"`
	// Cautions stand above every figure of the page.
	Cautions []string `json:"cautions"`
	// Chains are the heads of the sites' chains when the record was read; may be
	// empty.
	Chains []SiteChain `json:"chains"`
}

// MostActions is how many actions stand on top: more are none.
const MostActions = 5

// Action is one thing to act on.
type Action struct {
	// Kind is what it is about: `place`, `lot` or `tool`.
	Kind string `json:"kind"`
	// Name is its name, which the sentence must hold.
	Name string `json:"name"`
	// Sentence says plainly what is the case, with the figure and its interval, and
	// what to do.
	Sentence string `json:"sentence"`
	// AtStake is about how many fasteners or joints fail, stand still or have to be
	// done again if nothing is done in the weeks ahead. Actions are ordered by it.
	AtStake float64 `json:"at_stake"`
	// Part of the document that shows it; empty for none.
	Part Part `json:"part"`
}

// LeftOut is what is not in the document, and why.
type LeftOut struct {
	// Part is the part of the document that is missing; empty when it is something
	// else, such as some of the records.
	Part Part   `json:"part"`
	What string `json:"what"`
	Why  string `json:"why"`
}

// SiteChain is the head of a site's chain.
type SiteChain struct {
	Site string `json:"site"`
	Chain
}

// MostPressing are the first MostActions by what is at stake, then by kind and name,
// whatever the order they are given in.
func MostPressing(actions []Action) []Action {
	sorted := slices.SortedFunc(slices.Values(actions), func(a, b Action) int {
		return cmp.Or(cmp.Compare(b.AtStake, a.AtStake), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Name, b.Name), cmp.Compare(a.Sentence, b.Sentence))
	})
	return sorted[:min(MostActions, len(sorted))]
}

// Validate finds what cannot be shown: a number that is none, figures that contradict
// each other, an action without its name, a figure that is neither there nor named
// in LeftOut. The error is a *figure.FieldError that names the field.
func (d *QualityDocument) Validate() error {
	for _, f := range []struct{ name, value string }{{"scope", d.Scope}, {"since", string(d.Since)}, {"program", d.Program}} {
		if strings.TrimSpace(f.value) == "" {
			return &figure.FieldError{Field: f.name, Requirement: "must be given"}
		}
	}
	if _, err := time.Parse(time.DateOnly, string(d.Since)); err != nil {
		return &figure.FieldError{Field: "since", Requirement: "must be a day, YYYY-MM-DD"}
	}
	if d.DataAsOf.IsZero() {
		return &figure.FieldError{Field: "data_as_of", Requirement: "must be given"}
	}
	if err := d.validateActions(); err != nil {
		return err
	}
	given := map[Part]bool{}
	for _, f := range d.Figures() {
		if err := f.Figure.Validate(); err != nil {
			return figure.Within(f.Field, err)
		}
		given[f.Part] = true
	}
	for i, l := range d.LeftOut {
		if strings.TrimSpace(l.What) == "" || strings.TrimSpace(l.Why) == "" {
			return &figure.FieldError{Field: fmt.Sprintf("left_out[%d]", i), Requirement: "must say what and why"}
		}
		given[l.Part] = true
	}
	for _, p := range Parts() {
		if !given[p] {
			return &figure.FieldError{Field: string(p), Requirement: "must be given, or be named in left_out with the reason"}
		}
	}
	return nil
}

func (d *QualityDocument) validateActions() error {
	if len(d.Actions) > MostActions {
		return &figure.FieldError{Field: "actions", Requirement: fmt.Sprintf("must be at most %d", MostActions)}
	}
	for i, a := range d.Actions {
		field := fmt.Sprintf("actions[%d].", i)
		switch {
		case !slices.Contains([]string{"place", "lot", "tool"}, a.Kind):
			return &figure.FieldError{Field: field + "kind", Requirement: "must be place, lot or tool"}
		case a.Name == "" || !strings.Contains(a.Sentence, a.Name):
			return &figure.FieldError{Field: field + "sentence", Requirement: "must name the place, lot or tool"}
		case !strings.ContainsAny(a.Sentence, "0123456789"):
			return &figure.FieldError{Field: field + "sentence", Requirement: "must hold the figure"}
		case !(a.AtStake >= 0 && a.AtStake <= 1e15):
			return &figure.FieldError{Field: field + "at_stake", Requirement: "must be a finite number of at least 0"}
		case i > 0 && a.AtStake > d.Actions[i-1].AtStake:
			return &figure.FieldError{Field: field + "at_stake", Requirement: "must not be above that of the action before"}
		}
	}
	return nil
}
