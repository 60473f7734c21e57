package report

import (
	"fmt"
	"strings"
	"time"
)

// content fills in what a record of its kind says.
func (v *view) content(row *recordRow, r *Record, joint string) {
	switch {
	case r.Tightening != nil:
		v.tightening(row, r.Tightening)
	case r.Sealing != nil:
		v.sealing(row, r)
	case r.Incident != nil:
		v.incident(row, r)
	case r.Inspection != nil:
		v.inspection(row, r.Inspection)
	case r.Hold != nil:
		v.hold(row, r.Hold, joint)
	case r.Disposition != nil:
		row.About = []string{strings.ToUpper(spoken(r.Disposition.Decision))}
		row.Particulars = []string{"Of " + v.incidentText(r.Disposition.Incident) + ".", "Reason: " + ended(string(r.Disposition.Reason))}
	case r.SignOff != nil:
		row.About = []string{spoken(r.SignOff.Point)}
		row.Particulars = []string{joined(", ", "Accepted: "+string(r.SignOff.Place), string(r.SignOff.Title)) + "."}
	case r.Correction != nil:
		row.Particulars = []string{"Of record " + v.reference(r.Correction.Corrects) + ": " + ended(string(r.Correction.Reason)), v.instead(r.Correction)}
	}
}

// used says with what fasteners were turned.
func used(lot, treatment, batch, tool, method Text) string {
	threads := "threads: " + string(treatment)
	if batch != "" {
		threads += ", batch " + string(batch)
	}
	if treatment == "" {
		threads = ""
	}
	toolText := "no tracked tool"
	if tool != "" {
		toolText = "tool " + string(tool)
	}
	driven := ""
	if method != "" {
		driven = "driven by " + spoken(method)
	}
	lotText := ""
	if lot != "" {
		lotText = "lot " + string(lot)
	}
	return sentenceCase(joined("; ", lotText, threads, toolText, driven)) + "."
}

func (v *view) tightening(row *recordRow, t *Tightening) {
	row.About = []string{counted(int(t.Fasteners), "fastener"), string(t.Pass) + " pass"}
	torque := "Torque not recorded"
	if t.TorqueNM != nil {
		torque = "Torque " + v.units.torque(*t.TorqueNM)
	}
	if t.TorqueAsTyped != "" {
		torque += ", typed as “" + string(t.TorqueAsTyped) + "”"
	}
	if s, ok := v.specs[string(t.Specification)]; ok {
		torque += "; window " + v.units.window(s.LowNM, s.HighNM)
	}
	row.Particulars = []string{torque + ".", used(t.Lot, t.Treatment, t.Batch, t.Tool, t.Method)}
	row.under(t.Specification)
}

// under names the revision of the specification that held.
func (row *recordRow) under(specification Text) {
	if specification != "" {
		row.Particulars = append(row.Particulars, "Under specification "+revisionText(specification)+".")
	}
}

func (v *view) sealing(row *recordRow, r *Record) {
	s := r.Sealing
	row.About = []string{string(s.Sealant)}
	laid := []string{}
	if s.Batch != "" {
		laid = append(laid, "batch "+string(s.Batch))
	}
	if s.WidthMM != nil {
		laid = append(laid, v.units.length(*s.WidthMM)+" wide")
	}
	if s.Splice != "" {
		laid = append(laid, "splice: "+spoken(s.Splice))
	}
	if s.FlangeStraight != nil {
		flange := "flange straight"
		if !*s.FlangeStraight {
			flange = "flange NOT straight"
		}
		laid = append(laid, flange)
	}
	if len(laid) > 0 {
		row.Particulars = append(row.Particulars, sentenceCase(strings.Join(laid, "; "))+".")
	}
	if s.Solvent != "" || s.CleanedAt != nil {
		cleaned := "Cleaned"
		if s.Solvent != "" {
			cleaned += " with " + string(s.Solvent)
		}
		if s.CleanedAt != nil {
			cleaned += fmt.Sprintf(" at %s, %d min before", s.CleanedAt.Format("15:04"), int(r.At.Sub(*s.CleanedAt)/time.Minute))
		}
		row.Particulars = append(row.Particulars, cleaned+".")
	}
	row.Particulars = append(row.Particulars, v.weather(s))
	row.under(s.Specification)
}

// weather is what was measured at the joint; what was not is said.
func (v *view) weather(s *Sealing) string {
	measured := func(what string, celsius *float64) string {
		if celsius == nil {
			return what + " temperature not measured"
		}
		return what + " " + v.units.temperature(*celsius)
	}
	humidity := "humidity not measured"
	if s.HumidityPct != nil {
		humidity = "relative humidity " + number(*s.HumidityPct) + "\u00a0%"
	}
	return sentenceCase(joined("; ", measured("air", s.AirC), measured("surface", s.SurfaceC), humidity)) + "."
}

func (v *view) incident(row *recordRow, r *Record) {
	i := r.Incident
	row.About = []string{strings.ToUpper(spoken(i.Kind))}
	if i.Fasteners > 0 {
		row.About = append(row.About, counted(int(i.Fasteners), "fastener"))
	}
	if i.Lot != "" || i.Tool != "" {
		row.Particulars = append(row.Particulars, used(i.Lot, i.Treatment, "", i.Tool, i.Method))
	}
	if i.Noticed != "" {
		row.Particulars = append(row.Particulars, "Noticed: "+ended(string(i.Noticed)))
	}
	if i.Action != "" {
		row.Particulars = append(row.Particulars, "Done at once: "+ended(string(i.Action)))
	}
	row.under(i.Specification)
	if r.CorrectedBy == "" {
		row.Particulars = append(row.Particulars, v.disposed(r.ID))
	}
}

// disposed says what was decided about an incident.
func (v *view) disposed(incident string) string {
	var decided []string
	for _, r := range v.dispositions[incident] {
		decided = append(decided, fmt.Sprintf("%s (record %s)", spoken(r.Disposition.Decision), sequence(r.Sequence)))
	}
	if len(decided) == 0 {
		return "No disposition on record."
	}
	return "Disposition: " + strings.Join(decided, "; ") + "."
}

// incidentText names an incident that something else speaks of.
func (v *view) incidentText(id Text) string {
	if r, ok := v.records[string(id)]; ok && r.Incident != nil {
		return fmt.Sprintf("%s, record %s", spoken(r.Incident.Kind), sequence(r.Sequence))
	}
	return "incident " + string(id)
}

func (v *view) inspection(row *recordRow, i *Inspection) {
	row.About = []string{spoken(i.Kind), strings.ToUpper(string(i.Result))}
	var parts []string
	if i.Sample > 0 {
		parts = append(parts, "sample of "+counted(int(i.Sample), "fastener"))
	}
	if i.Plan != "" {
		parts = append(parts, "plan: "+string(i.Plan))
	}
	if i.Tool != "" {
		parts = append(parts, "tool "+string(i.Tool))
	}
	if len(parts) > 0 {
		row.Particulars = append(row.Particulars, sentenceCase(strings.Join(parts, "; "))+".")
	}
	if len(i.ReadingsNM) > 0 {
		row.Particulars = append(row.Particulars, "Readings "+v.units.torques("; ", i.ReadingsNM...)+".")
	}
}

func (v *view) hold(row *recordRow, h *Hold, joint string) {
	if h.Releases != "" {
		row.What, row.About = "Hold released", []string{strings.ToUpper(spoken(h.Decision))}
		row.Particulars = []string{"Releases the hold of record " + v.reference(h.Releases) + ".", "Reason: " + ended(string(h.Reason))}
		return
	}
	row.What = "Hold placed"
	if h.Held != "" && string(h.Held) != joint {
		row.About = []string{"on " + string(h.Held)}
	}
	row.Particulars = []string{"Reason: " + ended(string(h.Reason))}
	if h.Rule != "" {
		row.Particulars = append(row.Particulars, fmt.Sprintf("Placed by rule %s on record %s.", h.Rule, v.reference(h.Cause)))
	}
	if h.ReleasedBy == "" {
		row.About = append(row.About, "OPEN")
	} else {
		row.Particulars = append(row.Particulars, "Released by record "+v.reference(h.ReleasedBy)+".")
	}
}
