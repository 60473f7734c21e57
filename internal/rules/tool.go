package rules

import (
	"fmt"
	"strings"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

func toolRules() []Rule {
	return []Rule{
		{
			Code: CodeCalibrationLapsed, Severities: []Severity{Hold}, Kinds: toolUses, check: checkCalibrationLapsed,
			Limit:    "the tool's own due policy: months to the end of the local day, cycles, events",
			Sentence: "The tool was past due, by date, by cycles or after an event, when it was used.",
		},
		{
			Code: CodeCalibrationUnknown, Severities: []Severity{Hold}, Kinds: toolUses, check: checkCalibrationUnknown,
			Limit:    "one calibration on record for every torque tool and every tool with an interval (" + proveTools.String() + ")",
			Sentence: "The tool had never been calibrated when it was used, or nothing is known of it.",
		},
		{
			Code: CodeCalibrationFailed, Severities: []Severity{Hold}, Kinds: toolUses, check: checkCalibrationFailed,
			Limit: "the permissible deviation of the tool's type and class, 4 or 6 % of the reference reading, " +
				"for every reading, under the calibration's decision rule, simple acceptance where it names none (ISO 6789-1, edition 2017, clause 5.1.5)",
			Sentence: "The tool's newest calibration before its use did not let it pass.",
		},
		{
			Code: CodeToolHeld, Severities: []Severity{Hold}, Kinds: toolUses, check: checkToolHeld,
			Limit:    "no open hold on the tool",
			Sentence: "The tool was used while it was on hold.",
		},
		{
			Code: CodeToolRange, Severities: []Severity{Hold}, Kinds: tightenings, check: checkToolRange,
			Limit: fmt.Sprintf("%s to %s %% of the tool's maximum, not below its lowest mark (%s)",
				decimal(defaultRangeLow.Limit.Value, 2), decimal(defaultRangeHigh.Limit.Value, 2), defaultRangeLow.Limit.Source),
			Sentence: "The torque lies outside the usable range of the torque tool.",
		},
		{
			Code: CodeToolElsewhere, Severities: []Severity{Warn}, Kinds: toolUses, check: checkToolElsewhere,
			Limit:    "the tool's newest custody record",
			Sentence: "Custody says that the tool was at another site, with another person, away or lost.",
		},
		{
			Code: CodeToolLentUnfit, Severities: []Severity{Note, Warn}, Kinds: custodies, check: checkToolLentUnfit,
			Limit:    "none of: lost, on hold, elsewhere, lent already, failed, never proved, past due by the tool's own policies",
			Sentence: "The tool was issued although it was not fit for it; a note when somebody let it pass by name.",
		},
		{
			Code: CodeToolOutOfTurn, Severities: []Severity{Warn}, Kinds: custodies, check: checkToolOutOfTurn,
			Limit:    "the tool's newest custody record: received what was sent off or lost, taken back what somebody had or what was lost",
			Sentence: "The tool was received though nobody sent it off, or taken back though nobody had it.",
		},
	}
}

func checkToolHeld(f *Facts) []Finding {
	serial := f.usedTool()
	if serial == "" || !f.ToolHeld {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("Tool %s was on hold when it was used on %s.", serial, f.localDay()),
		Source:  "the open hold on the tool",
	})
}

// checkToolRange judges the torque that was set or read at tightening. The
// readings of an audit are what was found, not what anybody chose.
func checkToolRange(f *Facts) []Finding {
	r, ok := f.tightening()
	t := f.knownTool()
	if !ok || t == nil || r.TorqueNewtonMetres == nil || !torqueTool(t) {
		return nil
	}
	usable, err := metrology.TorqueRange{
		Lowest: t.MinimumNewtonMetres, Maximum: t.MaximumNewtonMetres, Graduation: t.ResolutionNewtonMetres,
	}.Usable()
	if err != nil {
		return nil
	}
	torque, limit, bound := *r.TorqueNewtonMetres, 0.0, ""
	switch {
	case below(torque, usable.Low):
		limit, bound = usable.Low, "below the least"
	case above(torque, usable.High):
		limit, bound = usable.High, "above the greatest"
	default:
		return nil
	}
	shown, shownLimit := apart(torque, limit)
	return one(Finding{
		Message: fmt.Sprintf("A torque of %s N.m is %s that tool %s is to be used for, %s N.m.", shown, bound, t.Serial, shownLimit),
		Source:  defaultRangeLow.Limit.Source.String(),
	}.against(torque, limit, "N.m"))
}

// checkToolElsewhere compares the site always, the person only while the tool
// is in somebody's hands: what the crib received or took back, anybody at that
// site may draw. A drop or an overload happens in the hands of its holder.
func checkToolElsewhere(f *Facts) []Finding {
	serial, c := f.usedTool(), f.Custody
	if serial == "" || c == nil {
		return nil
	}
	since := localDate(c.OccurTime, f.zone())
	site, person := f.Record.SiteCode(), f.Record.Head().Person
	held := c.Kind == ledger.CustodyIssued || c.Kind == ledger.CustodyDropped || c.Kind == ledger.CustodyOverloaded
	var why []string
	switch {
	case c.Kind == ledger.CustodyLost:
		why = append(why, fmt.Sprintf("it was reported lost on %s", since))
	case c.Kind == ledger.CustodySent:
		why = append(why, fmt.Sprintf("it was sent off on %s and not received again", since))
	case c.Site != site:
		why = append(why, fmt.Sprintf("it has been at site %s since %s", c.Site, since))
	}
	if held && c.Holder != "" && person != "" && c.Holder != person {
		why = append(why, fmt.Sprintf("%s has held it since %s", c.Holder, since))
	}
	if len(why) == 0 {
		return nil
	}
	by := ""
	if person != "" {
		by = " by " + person
	}
	return one(Finding{
		Message: fmt.Sprintf("Tool %s was used at site %s%s, but custody says that %s.", serial, site, by, strings.Join(why, " and ")),
		Source:  "custody record " + c.ID.String(),
	})
}

// checkToolLentUnfit speaks of an issue that was kept from paper, from a device
// without signal or by an override: the crib itself would have refused it.
func checkToolLentUnfit(f *Facts) []Finding {
	c, ok := f.Record.(*ledger.Custody)
	if !ok || c.Kind != ledger.CustodyIssued || len(f.Unfit) == 0 {
		return nil
	}
	finding := Finding{
		Severity: Warn, Source: "the record of tool " + c.Tool,
		Message: fmt.Sprintf("Tool %s was issued to %s on %s although it was not fit for it: %s.", c.Tool, c.Holder, f.localDay(), strings.Join(f.Unfit, "; ")),
	}
	if c.OverrideBy != "" {
		finding.Severity = Note
		finding.Message += fmt.Sprintf(" %s let it pass: %s", c.OverrideBy, strings.TrimSuffix(c.OverrideReason, ".")+".")
	}
	return one(finding)
}

// checkToolOutOfTurn speaks of a tool that was received without having been sent off,
// or taken back from nobody. The record is true, so it is kept: what came before it is
// missing, or one of them names the wrong tool.
func checkToolOutOfTurn(f *Facts) []Finding {
	c, ok := f.Record.(*ledger.Custody)
	if !ok || f.Tool == nil || c.Kind != ledger.CustodyReceived && c.Kind != ledger.CustodyReturned {
		return nil
	}
	before, was := f.Custody, "has never moved from its home site "+f.Tool.HomeSite
	source := "the register of tool " + c.Tool
	switch {
	case before == nil && c.Kind == ledger.CustodyReceived && c.Site == f.Tool.HomeSite:
		return nil // a new tool comes to where it belongs
	case before != nil && (before.Kind == ledger.CustodyLost || c.Kind == ledger.CustodyReceived && before.Kind == ledger.CustodySent ||
		c.Kind == ledger.CustodyReturned && before.Holder != ""):
		return nil
	case before != nil:
		was, source = f.stood(before), "custody record "+before.ID.String()
	}
	did, want := "received", "nothing says that it was sent off"
	if c.Kind == ledger.CustodyReturned {
		did, want = "taken back", "nothing says that anybody had it"
	}
	return one(Finding{
		Message: fmt.Sprintf("Tool %s was %s at site %s on %s, but %s: by custody it %s.", c.Tool, did, c.Site, f.localDay(), want, was),
		Source:  source,
	})
}

// stood says where a change of custody left its tool.
func (f *Facts) stood(c *ledger.Custody) string {
	day := c.OccurTime.In(f.zone()).Format(time.DateOnly)
	switch {
	case c.Holder != "":
		return fmt.Sprintf("has been with %s at site %s since %s", c.Holder, c.Site, day)
	case c.Kind == ledger.CustodySent:
		return fmt.Sprintf("has been on its way from site %s since %s", c.Site, day)
	}
	return fmt.Sprintf("has lain in the crib of site %s since %s", c.Site, day)
}
