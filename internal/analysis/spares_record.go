package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// SparesRecent is how many days make the pace where there is no plan to go by.
const SparesRecent = 28

// SparesQuery is a question whether the stock on record will last.
type SparesQuery struct {
	// Sites are asked about; all when empty.
	Sites []string
	AsOf  time.Time
	// LeadTimeDays and PackSize are of every fastener.
	LeadTimeDays, PackSize int64
	ServiceLevel           float64
}

// SparesRecord is what the record has on one fastener at one site.
type SparesRecord struct {
	Fastener ledger.Fastener
	Site     string
	// Tightened in a first pass and Lost to thread failures, up to now; Recent are
	// those tightened in the last SparesRecent days.
	Tightened, Lost, Recent int64
	// OnHand is what is fit for use, HeldBack the stock of lots that are on hold,
	// quarantined or used up.
	OnHand, HeldBack int64
	// Overdrawn are the lots of which more was used than received.
	Overdrawn []string
	// Remaining is what is left to install, by the planned finish of its tower.
	Remaining []SparesRemaining
}

// SparesRemaining is what is left to install at towers of one planned finish,
// YYYY-MM-DD; empty when none is planned.
type SparesRemaining struct {
	PlannedFinish string
	Fasteners     int64
}

func (r *SparesRecord) remaining() int64 {
	var n int64
	for _, p := range r.Remaining {
		n += p.Fasteners
	}
	return n
}

// SparesForecast is a forecast with its headline.
type SparesForecast struct {
	SparesAnswer
	Headline string
}

// SparesOfRecord forecasts from what is on record: a line for each fastener and
// site asked about of which some remain to be installed; the others help to
// estimate the rates. Errors are those of Spares.
func SparesOfRecord(records []SparesRecord, q SparesQuery) (SparesForecast, error) {
	var in SparesInput
	var said sparesRemarks
	for _, r := range records {
		unknown := r.Tightened == 0 && r.Lost > 0
		remaining := r.remaining()
		if remaining == 0 || len(q.Sites) > 0 && !slices.Contains(q.Sites, r.Site) {
			if !unknown && r.Tightened+r.Lost > 0 {
				in.Others = append(in.Others, stats.FailureCount{Failures: r.Lost, Attempts: r.Tightened + r.Lost})
			}
			continue
		}
		line := SparesLine{
			Fastener: FastenerName(r.Fastener), Site: r.Site, Failures: r.Lost, Attempts: r.Tightened + r.Lost, DenominatorUnknown: unknown,
			Remaining: remaining, OnHand: r.OnHand, LeadTimeDays: q.LeadTimeDays, PackSize: q.PackSize,
		}
		line.InstallsPerDay = r.pace(q.AsOf, &said)
		said.stock(&r, sparesName(line))
		in.Lines = append(in.Lines, line)
	}
	a, err := Spares(in, SparesOptions{ServiceLevel: q.ServiceLevel, AsOf: q.AsOf})
	if err != nil {
		return SparesForecast{}, err
	}
	a.Cautions = append(said.cautions(), a.Cautions...)
	return SparesForecast{SparesAnswer: a, Headline: sparesHeadline(&a)}, nil
}

// pace is how many are installed in a day: where a tower's finish is planned and
// still to come, what remains there over the days left; for the other towers the
// mean of the last days, for the share of the work that they are.
func (r *SparesRecord) pace(asOf time.Time, said *sparesRemarks) float64 {
	today := dayOf(asOf.UTC())
	perDay, unplanned := 0.0, int64(0)
	for _, p := range r.Remaining {
		finish, err := PeriodStart(ByDay, p.PlannedFinish)
		if err != nil || finish < today {
			unplanned += p.Fasteners
			continue
		}
		perDay += float64(p.Fasteners) / float64(finish-today+1)
	}
	if unplanned == 0 {
		return perDay
	}
	name := FastenerName(r.Fastener) + " at " + r.Site
	if r.Recent == 0 {
		said.unpaced = append(said.unpaced, name)
		return perDay
	}
	said.paced = append(said.paced, name)
	return perDay + float64(r.Recent)/SparesRecent*float64(unplanned)/float64(r.remaining())
}

// sparesRemarks gathers what must be said of the record.
type sparesRemarks struct {
	paced, unpaced, heldBack, overdrawn []string
	held                                int64
}

func (s *sparesRemarks) stock(r *SparesRecord, name string) {
	if r.HeldBack > 0 {
		s.heldBack = append(s.heldBack, name)
		s.held += r.HeldBack
	}
	for _, lot := range r.Overdrawn {
		s.overdrawn = append(s.overdrawn, lot+" at "+r.Site)
	}
}

func (s *sparesRemarks) cautions() []string {
	var all []string
	for _, c := range []struct {
		names  []string
		format string
	}{
		{s.heldBack, "Not counted as on hand, for their lots are on hold, quarantined or used up: " + strconv.FormatInt(s.held, 10) + " pieces of %s."},
		{s.overdrawn, "More was used than received of %s: receipts are missing; such a lot counts as nothing on hand. Count it."},
		{s.paced, "No planned finish lies ahead for all towers with %s: for those the pace is the mean of the last " + strconv.Itoa(SparesRecent) + " days."},
		{s.unpaced, "Neither a planned finish ahead nor work in the last " + strconv.Itoa(SparesRecent) + " days is on record for some towers with %s: the day to order by allows for no work there."},
	} {
		if len(c.names) > 0 {
			all = append(all, fmt.Sprintf(c.format, list(c.names)))
		}
	}
	return all
}

func sparesHeadline(a *SparesAnswer) string {
	var wanting, unknown int
	for _, i := range a.Items {
		switch {
		case i.Short == nil && i.Line.Remaining > 0:
			unknown++
		case i.Short != nil && *i.Short > 0:
			wanting++
		}
	}
	switch {
	case len(a.Items) == 0:
		return "Nothing remains to be installed."
	case wanting > 0:
		return fmt.Sprintf("%d of %d need an order. The most urgent: %s", wanting, len(a.Items), a.Items[0].Sentence)
	case unknown > 0:
		return fmt.Sprintf("Of %d of %d it cannot be said whether the stock lasts. The first: %s", unknown, len(a.Items), a.Items[0].Sentence)
	}
	return fmt.Sprintf("The stock lasts for all %d at %s.", len(a.Items), sparesPercent(a.ServiceLevel))
}

// FastenerName writes a fastener as a crib asks for it, such as
// `M10 x 30 mm 304 A2-70 plain flange`.
func FastenerName(f ledger.Fastener) string {
	size := cmp.Or(f.Thread, "(no thread)")
	if f.LengthMillimetres != 0 {
		size += " x " + strconv.FormatFloat(f.LengthMillimetres, 'f', -1, 64) + " mm"
	}
	words := []string{size}
	for _, w := range []string{ledger.Materials.Name(f.Material), f.PropertyClass, f.Coating, f.Head} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, " ")
}
