package report

import (
	"fmt"
	"html/template"
	"strconv"
	"strings"
	"time"

	"jointledger/internal/ledger"
)

// page is the record as the template lays it out: every value a text.
type page struct {
	Place, Title string
	// Running and Foot stand at the head and foot of each sheet.
	Running, Foot  template.CSS
	Complete       bool
	Verdict        string
	Missing        []missingPlace
	Facts          []fact
	Counts         []fact
	Cautions       []string
	Specifications []specificationRow
	Lots           []lotRow
	Tools          []toolRow
	Cells          []cellView
	People         []personRow
	Chain          []fact
	Zone           string
	DecisionRule   string
}

type fact struct{ Label, Value string }

// missingPlace is what is missing at one place.
type missingPlace struct {
	Number    int
	Place     string
	Sentences []string
}

// view makes a page of a document.
type view struct {
	h     *HandoverDocument
	units units
	// specs are the revisions used, by `CODE@REVISION`; records are all records, by
	// id: a hold or sign-off of a cell stands at each of its joints and is one record.
	specs   map[string]Specification
	records map[string]*Record
	// dispositions are those that stand, by the id of their incident.
	dispositions map[string][]*Record
}

func newPage(h *HandoverDocument) *page {
	v := &view{h: h, units: unitsOf(h.Site.Units), specs: map[string]Specification{},
		records: map[string]*Record{}, dispositions: map[string][]*Record{}}
	for _, s := range h.Specifications {
		v.specs[revisionName(s)] = s
	}
	for i := range h.Joints {
		for k := range h.Joints[i].Records {
			r := &h.Joints[i].Records[k]
			if _, known := v.records[r.ID]; known {
				continue
			}
			v.records[r.ID] = r
			if d := r.Disposition; d != nil && r.CorrectedBy == "" {
				v.dispositions[string(d.Incident)] = append(v.dispositions[string(d.Incident)], r)
			}
		}
	}
	p := &page{
		Place: h.Place, Title: "Hand-over record of " + kindOf(h.Place) + " " + h.Place,
		Complete: h.Complete, Verdict: verdict(h), Missing: missingPlaces(h.Missing),
		Facts: v.facts(), Counts: v.counts(), Cautions: h.Cautions,
		Specifications: v.specifications(), Lots: v.lots(), Tools: v.tools(), Cells: v.cells(), People: v.people(),
		Zone: h.Site.TimeZone, DecisionRule: strings.ReplaceAll(string(DecisionRule), "-", " "),
		Chain: []fact{
			{"Site", h.Site.Code},
			{"Records in the chain", strconv.FormatInt(h.Chain.Sequence, 10)},
			{"Last link (SHA-256)", h.Chain.Link},
			{"Read", moment(h.ReadAt)},
		},
	}
	p.Running = quoted("Hand-over record " + h.Place + ": " + short(h))
	p.Foot = quoted("Times are local to " + p.Zone)
	return p
}

// kindOf names the level of a place: site, tower or cell.
func kindOf(place string) string {
	p, err := ledger.ParsePlace(place)
	if err != nil {
		return "place"
	}
	return p.PlaceKind()
}

func verdict(h *HandoverDocument) string {
	if h.Complete {
		return "COMPLETE"
	}
	return fmt.Sprintf("NOT COMPLETE: %s missing", counted(len(h.Missing), "thing"))
}

// short is the verdict for the head of each sheet.
func short(h *HandoverDocument) string {
	if h.Complete {
		return "COMPLETE"
	}
	return "NOT COMPLETE"
}

// missingPlaces gathers what is missing at each place, in the order given.
func missingPlaces(missing []Missing) []missingPlace {
	var places []missingPlace
	at := map[string]int{}
	for _, m := range missing {
		i, ok := at[m.Place]
		if !ok {
			i = len(places)
			at[m.Place] = i
			places = append(places, missingPlace{Number: i + 1, Place: m.Place})
		}
		places[i].Sentences = append(places[i].Sentences, m.Short())
	}
	return places
}

// facts say who, when and where.
func (v *view) facts() []fact {
	h := v.h
	facts := []fact{
		{"Place", h.Place},
		{"Site", joined(", ", h.Site.Code, string(h.Site.Name), string(h.Site.Region))},
		{"Times", "local to " + h.Site.TimeZone},
		{"Read from the ledger", moment(h.ReadAt)},
	}
	if h.PreparedBy != "" {
		facts = append(facts, fact{"Prepared by", string(h.PreparedBy)})
	}
	facts = append(facts, fact{"Made with", h.Program})
	var first, last time.Time
	for _, r := range v.records {
		if first.IsZero() || r.At.Before(first) {
			first = r.At
		}
		if r.At.After(last) {
			last = r.At
		}
	}
	if !first.IsZero() {
		facts = append(facts, fact{"Work on record", first.Format(time.DateOnly) + " to " + last.Format(time.DateOnly)})
	}
	return facts
}

// counts are the record at a glance.
func (v *view) counts() []fact {
	states := map[string]int{}
	held, fasteners, tightened := 0, int64(0), int64(0)
	for _, j := range v.h.Joints {
		states[string(j.State)]++
		fasteners += int64(j.Fasteners)
		tightened += j.Tightened
		if len(j.OpenHolds) > 0 {
			held++
		}
	}
	var byState []string
	for _, s := range ledger.JointStates.All() {
		if states[s] > 0 {
			byState = append(byState, fmt.Sprintf("%d %s", states[s], s))
		}
	}
	severities := map[string]int{}
	corrected, attachments := 0, 0
	for _, r := range v.records {
		attachments += len(r.Attachments)
		if r.CorrectedBy != "" {
			corrected++
			continue
		}
		for _, f := range r.Findings {
			severities[string(f.Severity)]++
		}
	}
	return []fact{
		{"Joints", joined("; ", strconv.Itoa(len(v.h.Joints)), strings.Join(byState, ", "))},
		{"On hold", counted(held, "joint")},
		{"Fasteners", fmt.Sprintf("%d tightened of %d", tightened, fasteners)},
		{"Records", fmt.Sprintf("%d, of which %d corrected", len(v.records), corrected)},
		{"Findings that stand", fmt.Sprintf("%d hold, %d warn, %d note", severities["hold"], severities["warn"], severities["note"])},
		{"Attachments", strconv.Itoa(attachments)},
	}
}

// moment writes a time to the minute with the zone's own name for its offset.
func moment(t time.Time) string { return t.Format("2006-01-02 15:04 MST") }

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// joined joins the parts that are there.
func joined(between string, parts ...string) string {
	var given []string
	for _, p := range parts {
		if p != "" {
			given = append(given, p)
		}
	}
	return strings.Join(given, between)
}

// spoken is a word of the ledger as a person says it: `use as is`.
func spoken[T ~string](word T) string { return strings.ReplaceAll(string(word), "-", " ") }
