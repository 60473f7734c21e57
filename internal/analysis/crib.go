package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// CribInput is what the crib's morning page is made from.
type CribInput struct {
	Site string
	// Location is the site's time zone.
	Location *time.Location
	AsOf     time.Time
	// DueWithinDays is how far ahead the due list looks; 14 when 0.
	DueWithinDays int
	// Tools are those whose home is the site or whose custody says it.
	Tools []TrackedTool
	// Gaps are those that coverage found; of other sites are left out.
	Gaps []CoverageGap
}

// CribPage is the morning page of a tool crib.
type CribPage struct {
	Site string
	Day  string // YYYY-MM-DD at the site
	// ToLend are in the crib, in date and without a hold, by kind and serial.
	ToLend []CribTool
	// NotToLend are in the crib and must stay: past due, failed or never proved.
	// What is on hold stands under OnHold.
	NotToLend []ToolRefusal
	// Out are lent, the longest first.
	Out []CribTool
	// BackToday came back on the day of the page; ExpectedToday are to come back
	// on it or should have before.
	BackToday, ExpectedToday []CribTool
	// Away are in transit, lost, or at another site while this is their home.
	Away []ToolRefusal
	// Due are the actions that are past due or fall due within the days asked,
	// without checks for each shift, earliest first.
	Due []PolicyItem
	// BeforeUse are the tools to lend or out that owe a check before their next use.
	BeforeUse []string
	OnHold    []CribTool
	Gaps      []CoverageGap
	Cautions  []string
}

// CribTool is one tool on the page.
type CribTool struct {
	Tool ledger.Tool
	// Holder is empty for the crib; HolderName is what the person is called.
	Holder, HolderName string
	// Since is when it was lent, came back or was put on hold; the zero time when
	// nothing is on record.
	Since time.Time
	// ExpectedBack is the zero time when nothing was agreed.
	ExpectedBack time.Time
	// NextDue is the earliest due date of any action but a check for each shift;
	// the zero time for none.
	NextDue time.Time
	// Note is one sentence with what the attendant must know; mostly empty.
	Note string
}

// cribDays is how far ahead the due list of the page looks.
const cribDays = 14

// Crib makes the morning page of a site's tool crib. A tool that may not go out
// is never among those to lend, whatever else is said of it. The error is a
// *ledger.Error for a site or time that is not given or policies that are not
// valid, and a metrology error for uses that are out of order.
func Crib(in CribInput) (CribPage, error) {
	if in.DueWithinDays == 0 {
		in.DueWithinDays = cribDays
	}
	if err := checkCrib(in); err != nil {
		return CribPage{}, err
	}
	today := metrology.DateOf(in.AsOf, in.Location)
	page := CribPage{Site: in.Site, Day: in.AsOf.In(in.Location).Format(time.DateOnly)}
	for _, t := range in.Tools {
		items, err := t.items(in.AsOf)
		if err != nil {
			return CribPage{}, fmt.Errorf("tool %s: %w", t.Due.Tool.Serial, err)
		}
		page.place(t, items, in, today)
	}
	for _, g := range in.Gaps {
		if g.Site == in.Site {
			page.Gaps = append(page.Gaps, g)
		}
	}
	page.sort()
	page.Cautions = cribCautions(page)
	return page, nil
}

func checkCrib(in CribInput) error {
	var fields []ledger.FieldError
	if in.Site == "" {
		fields = append(fields, ledger.FieldError{Field: "site", Description: "is empty; expected the code of a site"})
	}
	if in.Location == nil {
		fields = append(fields, ledger.FieldError{Field: "time_zone", Description: "is not given; expected that of the site"})
	}
	if in.AsOf.IsZero() {
		fields = append(fields, ledger.FieldError{Field: "as_of", Description: "is not given; expected a time"})
	}
	if in.DueWithinDays < 0 || in.DueWithinDays > 3660 {
		fields = append(fields, ledger.FieldError{Field: "due_within_days", Description: fmt.Sprintf(
			"%d is out of range; expected 1 to 3660, or 0 for %d", in.DueWithinDays, cribDays)})
	}
	return ledger.Invalid("crib page", append(fields, checkTracked(in.Tools)...))
}

// place puts one tool where it belongs on the page.
func (p *CribPage) place(t TrackedTool, items []PolicyItem, in CribInput, today metrology.Date) {
	horizon := dateAfter(today, in.DueWithinDays).EndIn(in.Location)
	away := t.notAt(in.Site)
	if away != nil && away.Reason == RefusedElsewhere && t.Due.Tool.HomeSite != in.Site {
		return
	}
	owed := false
	for _, item := range items {
		switch {
		case item.BeforeUse:
			owed = owed || !item.DueAt.After(in.AsOf)
		case !item.DueAt.After(horizon):
			p.Due = append(p.Due, item)
		}
	}
	if away != nil {
		p.Away = append(p.Away, *away)
		return
	}
	if owed {
		p.BeforeUse = append(p.BeforeUse, t.Due.Tool.Serial)
	}
	entry := cribTool(t, items)
	held := t.heldBack()
	if held != nil {
		onHold := entry
		onHold.Since, onHold.Note = held.At, sentenceOf(t.Due.Tool.Serial, held.Detail)
		p.OnHold = append(p.OnHold, onHold)
	}
	if c := t.Custody; c != nil && !c.ExpectedBack.IsZero() && t.lent() && !c.ExpectedBack.After(today.EndIn(in.Location)) {
		p.ExpectedToday = append(p.ExpectedToday, entry)
	}
	late := t.outdated(items, in.AsOf, in.AsOf)
	if t.lent() {
		if late != nil {
			entry.Note = sentenceOf(t.Due.Tool.Serial, late.Detail+"; call it in")
		}
		p.Out = append(p.Out, entry)
		return
	}
	if c := t.Custody; c != nil && (c.Kind == ledger.CustodyReturned || c.Kind == ledger.CustodyReceived) && metrology.DateOf(c.Since, in.Location) == today {
		p.BackToday = append(p.BackToday, entry)
	}
	switch {
	case held != nil:
	case late != nil:
		p.NotToLend = append(p.NotToLend, *late)
	default:
		p.ToLend = append(p.ToLend, entry)
	}
}

func cribTool(t TrackedTool, items []PolicyItem) CribTool {
	c := CribTool{Tool: t.Due.Tool}
	if t.Custody != nil {
		c.Since = t.Custody.Since
		if t.lent() {
			c.Holder, c.HolderName, c.ExpectedBack = t.Custody.Holder, t.Custody.HolderName, t.Custody.ExpectedBack
		}
	}
	for _, i := range items {
		if !i.BeforeUse && (c.NextDue.IsZero() || i.DueAt.Before(c.NextDue)) {
			c.NextDue = i.DueAt
		}
	}
	return c
}

func (p *CribPage) sort() {
	byKind := func(a, b CribTool) int {
		return cmp.Or(cmp.Compare(a.Tool.Kind, b.Tool.Kind), cmp.Compare(a.Tool.Serial, b.Tool.Serial))
	}
	bySince := func(a, b CribTool) int {
		return cmp.Or(a.Since.Compare(b.Since), cmp.Compare(a.Tool.Serial, b.Tool.Serial))
	}
	bySerial := func(a, b ToolRefusal) int { return cmp.Compare(a.Serial, b.Serial) }
	slices.SortFunc(p.ToLend, byKind)
	slices.SortFunc(p.NotToLend, bySerial)
	slices.SortFunc(p.Out, bySince)
	slices.SortFunc(p.BackToday, bySince)
	slices.SortFunc(p.ExpectedToday, func(a, b CribTool) int {
		return cmp.Or(a.ExpectedBack.Compare(b.ExpectedBack), cmp.Compare(a.Tool.Serial, b.Tool.Serial))
	})
	slices.SortFunc(p.Away, bySerial)
	slices.SortFunc(p.OnHold, bySince)
	slices.Sort(p.BeforeUse)
	sortPolicyItems(p.Due)
}

func cribCautions(p CribPage) []string {
	cautions := []string{
		"The page shows what is on record; the tool in the hand, its label and the maker's manual come first.",
	}
	if len(p.BeforeUse) > 0 {
		cautions = append(cautions, "A tool to lend may owe a check before its next use; lending it does not stand for the check.")
	}
	if slices.ContainsFunc(p.Due, func(i PolicyItem) bool { return i.Forecast }) {
		cautions = append(cautions, "A forecast of cycles assumes that recent use goes on, and counts only tightenings recorded with the tool.")
	}
	for _, c := range metrology.Cautions() {
		if c.Topic == "tool-status" || c.Topic == "tool-unproven" && len(p.NotToLend) > 0 {
			cautions = append(cautions, c.Text)
		}
	}
	return cautions
}
