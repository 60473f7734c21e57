package report

import (
	"fmt"
	"strings"
	"time"

	"jointledger/internal/ledger"
)

// cellView is the joints of one cell.
type cellView struct {
	Name   string
	Joints []jointView
}

// jointView is one joint: a line of its cell's list, and its records.
type jointView struct {
	Anchor, Place, Tag                    string
	Kind, Specification, Fasteners, State string
	Held, Findings                        string
	OnHold                                bool
	// Brief says that it fits a page and is kept on one.
	Brief   bool
	About   string
	Holds   []string
	Records []recordRow
	Missing []string
}

// briefRecords is how many records a joint may have to be kept on one page: about
// as many as half a page holds.
const briefRecords = 6

// recordRow is one record on the page.
type recordRow struct {
	Number, Day, Clock, Person string
	What                       string
	// About stands small below What.
	About       []string
	Particulars []string
	Findings    []findingLine
	Attachments []string
	Struck      bool
	// Correction says why a struck record is struck.
	Correction string
}

type findingLine struct{ Severity, Text, Source string }

// cells groups the joints by cell, in the order in which they come.
func (v *view) cells() []cellView {
	missing := map[string][]string{}
	for _, m := range v.h.Missing {
		missing[m.Place] = append(missing[m.Place], m.Short())
	}
	var cells []cellView
	for _, j := range v.h.Joints {
		cell, tag := splitPlace(j.Place)
		if len(cells) == 0 || cells[len(cells)-1].Name != cell {
			cells = append(cells, cellView{Name: cell})
		}
		c := &cells[len(cells)-1]
		c.Joints = append(c.Joints, v.joint(j, tag, missing[j.Place]))
	}
	return cells
}

// splitPlace parts a joint from its cell.
func splitPlace(joint string) (cell, tag string) {
	p, err := ledger.ParsePlace(joint)
	if err != nil || p.Depth() < 2 {
		return "", joint
	}
	return p.Parent().String(), p.Last()
}

func (v *view) joint(j Joint, tag string, missing []string) jointView {
	kind := string(j.Kind)
	if j.Critical {
		kind += ", critical"
	}
	severities := map[string]int{}
	for _, r := range j.Records {
		if r.CorrectedBy != "" {
			continue
		}
		for _, f := range r.Findings {
			severities[string(f.Severity)]++
		}
	}
	var findings []string
	for _, s := range []string{"hold", "warn", "note"} {
		if severities[s] > 0 {
			findings = append(findings, fmt.Sprintf("%d %s", severities[s], s))
		}
	}
	view := jointView{
		Anchor: "joint-" + strings.ReplaceAll(j.Place, "/", "-"), Place: j.Place, Tag: tag,
		Kind: kind, Specification: j.Specification, State: string(j.State),
		Fasteners: fmt.Sprintf("%d of %d", j.Tightened, j.Fasteners),
		Held:      "–", OnHold: len(j.OpenHolds) > 0,
		Findings: or(strings.Join(findings, ", "), "–"), Missing: missing,
	}
	if view.OnHold {
		view.Held = counted(len(j.OpenHolds), "hold")
	}
	about := []string{"specification " + j.Specification}
	if j.PartA != "" || j.PartB != "" {
		about = append(about, "joins "+or(string(j.PartA), "a part not named")+" and "+or(string(j.PartB), "a part not named"))
	}
	if j.TightenedAt != nil {
		about = append(about, "all tightened "+moment(*j.TightenedAt))
	}
	view.About = sentenceCase(strings.Join(about, "; ")) + "."
	for _, hold := range j.OpenHolds {
		view.Holds = append(view.Holds, fmt.Sprintf("Hold on %s since %s (record %s): %s", or(string(hold.Held), j.Place),
			moment(hold.At), sequence(hold.Sequence), ended(string(hold.Reason))))
	}
	for i := range j.Records {
		view.Records = append(view.Records, v.record(&j.Records[i], j.Place))
	}
	view.Brief = len(j.Records) <= briefRecords
	return view
}

func (v *view) record(r *Record, joint string) recordRow {
	row := recordRow{Number: sequence(r.Sequence), Day: r.At.Format(time.DateOnly), Clock: r.At.Format("15:04 MST"),
		Person: or(string(r.Person), "–"), What: sentenceCase(r.Kind)}
	v.content(&row, r, joint)
	if r.Note != "" {
		row.Particulars = append(row.Particulars, "Note: "+string(r.Note))
	}
	for _, f := range r.Findings {
		line := findingLine{Severity: strings.ToUpper(string(f.Severity)), Text: f.Rule + ": " + ended(f.Message)}
		if f.Source != "" {
			line.Source = "Limit from " + ended(string(f.Source))
		}
		row.Findings = append(row.Findings, line)
	}
	for _, a := range r.Attachments {
		row.Attachments = append(row.Attachments, fmt.Sprintf("%s (%s, %d bytes), SHA-256 %s", a.FileName, a.MediaType, a.SizeBytes, a.SHA256))
	}
	if r.CorrectedBy != "" {
		row.Struck, row.Correction = true, v.correction(r)
	}
	return row
}

// correction says why a record is struck and what holds instead.
func (v *view) correction(r *Record) string {
	c, ok := v.records[string(r.CorrectedBy)]
	if !ok || c.Correction == nil {
		return "Struck by correction " + string(r.CorrectedBy) + "."
	}
	return fmt.Sprintf("Struck by correction %s of %s by %s: %s %s", sequence(c.Sequence), moment(c.At), or(string(c.Person), "nobody named"),
		ended(string(c.Correction.Reason)), v.instead(c.Correction))
}

// instead says what holds in place of a corrected record.
func (v *view) instead(c *Correction) string {
	if c.Replacement == "" {
		return "It does not count."
	}
	return "Record " + v.reference(c.Replacement) + " holds instead."
}

// reference is how a record is found on the page: by its number in the chain, or
// by its id when it is not on it.
func (v *view) reference(id Text) string {
	if r, ok := v.records[string(id)]; ok && r.Sequence > 0 {
		return sequence(r.Sequence)
	}
	return string(id)
}
