package analysis

import (
	"fmt"
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// sentence says what fills the line, what is missing and why others do not count.
func (l ReadyLine) sentence(assigned [][]string, tools []TrackedTool, line int, refused map[string]ToolRefusal) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %d of %d", l.Line.need(), l.Have, l.Line.Quantity)
	if l.Have > 0 {
		fmt.Fprintf(&b, " (%s)", list(l.Tools))
	}
	if l.Short > 0 {
		fmt.Fprintf(&b, ", %d short", l.Short)
		if elsewhere := l.onOtherLines(assigned, tools, line, refused); len(elsewhere) > 0 {
			fmt.Fprintf(&b, "; %s would suit, and is counted on another line", list(elsewhere))
		}
		if len(l.Refused) == 0 && l.Have == 0 {
			b.WriteString("; no other tool of the kind is on record here")
		}
		var why []string
		for _, r := range l.Refused {
			why = append(why, r.Serial+", "+r.Detail)
		}
		if len(why) > 0 {
			fmt.Fprintf(&b, "; refused: %s", joinMost(why))
		}
	}
	return b.String() + "."
}

// joinMost joins clauses and counts those beyond the most that are named.
func joinMost(clauses []string) string {
	if extra := len(clauses) - mostNamed; extra > 0 {
		return fmt.Sprintf("%s; and %d more", strings.Join(clauses[:mostNamed], "; "), extra)
	}
	return strings.Join(clauses, "; ")
}

func (l ReadyLine) onOtherLines(assigned [][]string, tools []TrackedTool, line int, refused map[string]ToolRefusal) []string {
	taken := map[string]bool{}
	for i, serials := range assigned {
		for _, s := range serials {
			taken[s] = taken[s] || i != line
		}
	}
	var names []string
	for _, t := range tools {
		serial := t.Due.Tool.Serial
		if taken[serial] && t.Due.Tool.Kind == l.Line.Kind && t.refusedFor(l.Line, refused) == nil {
			names = append(names, serial)
		}
	}
	return names
}

// need names what a line asks for.
func (l KitLine) need() string {
	text := ledger.ToolKinds.Name(l.Kind)
	if l.HighestNewtonMetres > 0 {
		text += " for " + l.torque()
	}
	if l.CapacityKilograms > 0 {
		text += fmt.Sprintf(" for %g kg", l.CapacityKilograms)
	}
	return text
}

func (a *ReadyAnswer) describe(o ReadyOptions, owed bool) {
	short, lines := 0, 0
	for _, l := range a.Lines {
		short += l.Short
		if l.Short > 0 {
			lines++
		}
	}
	if a.Ready {
		a.Verdict = fmt.Sprintf("Ready: every line of the kit is filled at %s through %s.", o.Site, o.Finish)
	} else {
		a.Verdict = fmt.Sprintf("Not ready: %s short on %s of the kit at %s through %s.",
			quantity(int64(short), "tool"), quantity(int64(lines), "line"), o.Site, o.Finish)
	}
	a.Method = "Each tool fills at most one place of the kit; the greatest number of places is filled (bipartite matching by augmenting paths), with the smallest tools that suffice. A torque suits within " +
		"20 to 100 % of a tool's maximum and not below its lowest mark (" + metrology.UsableRangeSource.String() + ")."
	a.Assumption = "Custody, holds and what was done on each tool are all on record, and recent use goes on where cycles are forecast; a tool is good through the end of the local day on which it falls due."
	a.Cautions = []string{"A tool that is lent, in transit or at another site does not count, even when it could be back in time."}
	if owed {
		a.Cautions = append(a.Cautions, "Some of the tools owe a check before the first use in every shift; this answer does not stand for it.")
	}
	for _, c := range metrology.Cautions() {
		if c.Topic == "tool-status" {
			a.Cautions = append(a.Cautions, c.Text)
		}
	}
}
