package cli

import (
	"fmt"
	"strings"
	"time"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// How many lines of each part the page shows, so that an ordinary crib fits a
// screen of 80 by 40.
const (
	cribLines   = 6
	cribColumns = 80
)

// tellCrib writes the page for a person.
func (a *app) tellCrib(p *pb.CribPage) error {
	lines := []string{fmt.Sprintf("Crib %s, %s", ledger.ShortName(p.GetSite()), p.GetDay())}
	lines = append(lines, cribList("To lend", serialsByKind(p.GetToLend()))...)
	lines = append(lines, cribPart("Not to lend", refusalLines(p.GetNotToLend()))...)
	lines = append(lines, cribPart("Out", toolLines(p.GetOut(), "since"))...)
	lines = append(lines, cribList("Back today", serialsByKind(p.GetBackToday()))...)
	lines = append(lines, cribPart("On hold", toolLines(p.GetOnHold(), "since"))...)
	lines = append(lines, cribPart("Away", refusalLines(p.GetAway()))...)
	lines = append(lines, cribPart("Due", cribDueLines(p.GetDue()))...)
	lines = append(lines, cribGapLines(p.GetGaps())...)
	if n := len(p.GetBeforeUse()); n > 0 {
		lines = append(lines, fitted(fmt.Sprintf("Before use: %s a check first: %s", owes(n), serialList(p.GetBeforeUse()))))
	}
	for i, c := range p.GetCautions() {
		if i < 2 {
			lines = append(lines, wrapped("caution: "+c, "  ")...)
		}
	}
	_, err := fmt.Fprintln(a.out, strings.Join(lines, "\n"))
	return err
}

func owes(n int) string {
	if n == 1 {
		return "1 tool owes"
	}
	return fmt.Sprintf("%d tools owe", n)
}

// cribPart is a heading with its count and the first of its lines.
func cribPart(title string, rows []string) []string {
	if len(rows) == 0 {
		return []string{title + ": none"}
	}
	lines := []string{fmt.Sprintf("%s: %d", title, len(rows))}
	for i, r := range rows {
		if i == cribLines && len(rows) > cribLines+1 {
			lines = append(lines, fmt.Sprintf("  and %d more: --output json", len(rows)-cribLines))
			break
		}
		lines = append(lines, fitted("  "+r))
	}
	return lines
}

// cribGapLines has the sentences of the first gaps whole: they name what closes each.
func cribGapLines(gaps []*pb.CoverageGap) []string {
	const shown = 2
	if len(gaps) == 0 {
		return []string{"Gaps ahead: none"}
	}
	lines := []string{fmt.Sprintf("Gaps ahead: %d", len(gaps))}
	for i, g := range gaps {
		if i == shown {
			return append(lines, fmt.Sprintf("  and %d more: trackctl coverage --only-gaps", len(gaps)-shown))
		}
		lines = append(lines, wrapped("  "+g.GetSentence(), "    ")...)
	}
	return lines
}

// wrapped breaks a line at blanks so that it fits the screen.
func wrapped(line, indent string) []string {
	var lines []string
	for r := []rune(output.Printable(line)); ; {
		if len(r) <= cribColumns {
			return append(lines, string(r))
		}
		at := cribColumns
		for at > len(indent) && r[at] != ' ' {
			at--
		}
		if at <= len(indent) {
			at = cribColumns
		}
		lines = append(lines, strings.TrimRight(string(r[:at]), " "))
		r = append([]rune(indent), []rune(strings.TrimLeft(string(r[at:]), " "))...)
	}
}

// cribList is a heading with a line for each kind of tool.
func cribList(title string, rows []string) []string {
	if len(rows) == 0 {
		return []string{title + ": none"}
	}
	lines := []string{title + ":"}
	for _, r := range rows {
		lines = append(lines, fitted("  "+r))
	}
	return lines
}

// fitted cuts a line that is too long for the screen.
func fitted(line string) string {
	r := []rune(output.Printable(line))
	if len(r) <= cribColumns {
		return string(r)
	}
	return strings.TrimRight(string(r[:cribColumns-2]), " ") + " …"
}

// serialsByKind writes the tools of each kind in one line; they come by kind.
func serialsByKind(tools []*pb.CribTool) []string {
	var order []pb.ToolKind
	serials := map[pb.ToolKind][]string{}
	for _, t := range tools {
		if len(serials[t.GetKind()]) == 0 {
			order = append(order, t.GetKind())
		}
		serials[t.GetKind()] = append(serials[t.GetKind()], ledger.ShortName(t.GetTool()))
	}
	var lines []string
	for _, k := range order {
		lines = append(lines, fmt.Sprintf("%d %s: %s", len(serials[k]), wordOf(ledger.ToolKinds, k), strings.Join(serials[k], ", ")))
	}
	return lines
}

func serialList(names []string) string {
	short := make([]string, len(names))
	for i, n := range names {
		short[i] = ledger.ShortName(n)
	}
	return strings.Join(short, ", ")
}

func refusalLines(refusals []*pb.ToolRefusal) []string {
	lines := make([]string, len(refusals))
	for i, r := range refusals {
		lines[i] = fmt.Sprintf("%s  %s", ledger.ShortName(r.GetTool()), r.GetDetail())
	}
	return lines
}

func toolLines(tools []*pb.CribTool, since string) []string {
	lines := make([]string, len(tools))
	for i, t := range tools {
		parts := []string{ledger.ShortName(t.GetTool())}
		if t.GetHolder() != "" {
			parts = append(parts, holderText(t.GetHolder(), t.GetHolderName()))
		}
		if t.GetSinceTime() != nil {
			parts = append(parts, since+" "+t.GetSinceTime().AsTime().Format(time.DateOnly))
		}
		if note := strings.TrimPrefix(t.GetNote(), ledger.ShortName(t.GetTool())+": "); note != "" {
			parts = append(parts, note)
		}
		lines[i] = strings.Join(parts, "  ")
	}
	return lines
}

func cribDueLines(items []*pb.DueItem) []string {
	lines := make([]string, len(items))
	for i, d := range items {
		lines[i] = fmt.Sprintf("%s  %s  %s", dueText(d), ledger.ShortName(d.GetTool()), wordOf(ledger.PolicyActions, d.GetAction()))
		if d.GetHolder() != "" {
			lines[i] += "  with " + holderText(d.GetHolder(), d.GetHolderName())
		}
	}
	return lines
}
