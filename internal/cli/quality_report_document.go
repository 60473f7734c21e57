package cli

import (
	"encoding/hex"
	"fmt"
	"regexp"
	"strings"
	"sync"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/report"
	picture "jointledger/internal/report/figure"
)

// document says what the answers say. It asks nothing and looks at no clock: the same
// answers give the same report.
func (r *reportAnswers) document() *report.QualityDocument {
	d := &report.QualityDocument{
		Scope: r.options.scope(), Since: picture.Day(r.options.since), DataAsOf: r.begun.UTC(), PreparedBy: report.Text(r.preparedBy), Program: r.program,
		Cautions: r.pageCautions(),
	}
	if d.Lots = r.forest(); d.Lots == nil {
		r.leave(d, report.PartLots, "the forest plot of lots", "no two lots with failures were used under like conditions")
	}
	if d.Holds = r.openHolds(); d.Holds == nil {
		r.leave(d, report.PartHolds, "the open holds", "none is open")
	}
	if d.Coverage = r.strip(); d.Coverage == nil {
		r.leave(d, report.PartCoverage, "tools due and work covered", "no torque work is planned in the weeks ahead and no tool comes due")
	}
	if d.Spares = r.hardware(); d.Spares == nil {
		r.leave(d, report.PartSpares, "spare hardware at risk", "nothing remains to be installed")
	}
	if d.Sites = r.funnel(); d.Sites == nil {
		r.leave(d, report.PartSites, "the funnel plot of sites", "no two sites can be compared at equal mix")
	}
	if d.Trends = r.charts(); len(d.Trends) == 0 {
		r.leave(d, report.PartTrends, "the control charts", "there are no attempts to chart")
	}
	if d.Progress = r.curves(); d.Progress == nil {
		r.leave(d, report.PartProgress, "the S-curves", "no site has joints with work that is still to be done")
	}
	if d.Incidents = r.pareto(); d.Incidents == nil {
		r.leave(d, report.PartIncidents, "the Pareto chart of incidents", "no incident is on record")
	}
	if why := r.refused[partFailed]; why != "" {
		d.LeftOut = append(d.LeftOut, report.LeftOut{What: "joints in question after a failed calibration", Why: strings.TrimSuffix(why, ".")})
	}
	for _, h := range r.heads {
		d.Chains = append(d.Chains, report.SiteChain{Site: ledger.ShortName(h.GetSite()), Chain: report.Chain{Sequence: h.GetSequence(), Link: hex.EncodeToString(h.GetLink())}})
	}
	d.OrdersDiffer = report.Text(r.ordersDiffer())
	d.Actions = report.MostPressing(r.actions(d))
	return d
}

// leave names a figure that was not made: for the reason that the server gave, or the
// usual one.
func (r *reportAnswers) leave(d *report.QualityDocument, part report.Part, what, usual string) {
	why := usual
	if said := r.refused[part]; said != "" {
		why = said
	}
	d.LeftOut = append(d.LeftOut, report.LeftOut{Part: part, What: what, Why: strings.TrimSuffix(why, ".")})
}

// pageCautions stand above every figure.
func (r *reportAnswers) pageCautions() []string {
	cautions := []string{caution, "A difference that is more than chance is not yet a cause: lots, crews, tools and weather come together."}
	if len(r.options.kinds) > 0 {
		var words []string
		for _, k := range r.options.kinds {
			words = append(words, ledger.IncidentKinds.Name(ledger.IncidentKind(k)))
		}
		cautions = append(cautions, "Failures of lots and sites and in the control charts are "+joined(words)+" alone; spares allow for every thread failure.")
	}
	if r.options.until != "" {
		cautions = append(cautions, fmt.Sprintf("Counted through %s; tools, work and spares are looked at from %s. Holds are those open when the record was read, and corrections made since then are taken in.",
			r.options.until, r.asOf.UTC().Format("2006-01-02 15:04 MST")))
	}
	if took := r.ended.Sub(r.begun); took > 0 {
		cautions = append(cautions, fmt.Sprintf("The figures were read one after another within %s: a record that came in meanwhile may be in some of them and not in others.", took.Round(time.Second/10)))
	}
	return cautions
}

// sentenceEnd is a full stop after a number or a word of more than one letter, before a capital
// letter or a digit: that of "N.m" and of an initial ends no sentence.
var sentenceEnd = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(?:[^ .][^ .]|[0-9)])\. ([A-Z0-9])`) })

// firstSentence parts a headline: the figure's finding is one sentence, and what
// follows is a caution.
func firstSentence(text string) (first, rest string) {
	at := sentenceEnd().FindStringSubmatchIndex(text)
	if at == nil {
		return text, ""
	}
	return text[:at[2]-1], text[at[2]:]
}

// clone is a pointer to a copy, nil for nil.
func clone[T any](v *T) *T {
	if v == nil {
		return nil
	}
	c := *v
	return &c
}

// commas writes a whole number as the page does.
func commas(n int64) string { return picture.Count(n) }

// several writes a number with its noun as the page does.
func several(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return commas(n) + " " + noun + "s"
}

// oneOf takes the noun that goes with a number.
func oneOf(n int64, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}
