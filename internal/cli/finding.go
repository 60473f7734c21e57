package cli

import (
	"fmt"
	"slices"
	"strings"

	"jointledger/internal/cli/output"
	"jointledger/internal/rules"
	pb "jointledger/proto/jointledger/v1"
)

// releasers says who may release a hold, decide about an incident and sign off.
const releasers = "a site lead, quality engineer, regional manager or administrator"

func findingColumns() []output.Column[*pb.Finding] {
	type finding = *pb.Finding
	return []output.Column[finding]{
		{Name: "severity", Value: func(f finding) any { return text(wordOf(rules.Severities, f.GetSeverity())) }},
		{Name: "rule", Value: func(f finding) any { return f.GetRule() }},
		{Name: "message", Value: func(f finding) any { return f.GetMessage() }},
		{Name: "figure", Value: func(f finding) any { return pointed(f.Figure) }},
		{Name: "limit", Value: func(f finding) any { return pointed(f.Limit) }},
		{Name: "unit", Value: func(f finding) any { return text(f.GetUnit()) }},
		{Name: "source", Value: func(f finding) any { return text(f.GetSource()) }},
	}
}

func findingObjects(findings []*pb.Finding) []output.Object {
	return output.ObjectsOf(findingColumns(), findings)
}

// bySeverity puts the most severe findings first.
func bySeverity(findings []*pb.Finding) []*pb.Finding {
	sorted := slices.Clone(findings)
	slices.SortStableFunc(sorted, func(a, b *pb.Finding) int { return int(b.GetSeverity()) - int(a.GetSeverity()) })
	return sorted
}

// findingLine is a finding as a person reads it: severity first, the sentence,
// then the rule with its limit and where that comes from.
func findingLine(f *pb.Finding) string {
	return strings.ToUpper(wordOf(rules.Severities, f.GetSeverity())) + "  " + f.GetMessage() + "  (" + limitText(f) + ")"
}

func limitText(f *pb.Finding) string {
	limit, source := "", ""
	if f.Limit != nil {
		limit = strings.TrimSpace("limit " + rounded(f.GetLimit(), 2) + " " + f.GetUnit())
	}
	if f.GetSource() != "" {
		source = "source: " + f.GetSource()
	}
	parts := []string{f.GetRule()}
	for _, p := range []string{limit, source} {
		if p != "" {
			parts = append(parts, p)
		}
	}
	return strings.Join(parts, "; ")
}

// findingLines are the findings of a record for a person, and what a hold among
// them means.
func findingLines(o answer) []string {
	var lines []string
	held := false
	for _, f := range o.findings {
		lines = append(lines, findingLine(f))
		held = held || f.GetSeverity() == pb.Severity_SEVERITY_HOLD
	}
	switch {
	case !held || o.joint == "":
	case o.state == "taken":
		lines = append(lines, fmt.Sprintf("%s is on hold: %s may release it, see trackctl hold list %[1]s", o.joint, releasers))
	case o.state == "waiting":
		lines = append(lines, fmt.Sprintf("%s counts as on hold, and is put on hold when this is sent: %s may release it", o.joint, releasers))
	default:
		lines = append(lines, fmt.Sprintf("%s was put on hold then: trackctl hold list %[1]s shows whether it still is; %s may release it", o.joint, releasers))
	}
	return lines
}

// findingCount is how often a rule was broken.
type findingCount struct {
	rule     string
	severity pb.Severity
	count    int64
}

func findingCountColumns() []output.Column[findingCount] {
	return []output.Column[findingCount]{
		{Name: "severity", Heading: "SEVERITY", Value: func(c findingCount) any { return text(wordOf(rules.Severities, c.severity)) }},
		{Name: "rule", Heading: "RULE", Value: func(c findingCount) any { return c.rule }},
		{Name: "count", Heading: "FINDINGS", Value: func(c findingCount) any { return c.count }},
	}
}
