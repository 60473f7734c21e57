package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// noPolicy takes the policies of a tool back.
const noPolicy = "none"

// policyField binds the flag of a tool's policies: again for more. Those given take
// the place of those that it had.
func policyField(f *fields, policies *[]*pb.ToolPolicy) {
	f.bind("policy", "policies", "POLICY", "when an action falls due, such as periodic-inspection=12mo,after-event; again for more; none for none at all",
		func(text string) error {
			if text == noPolicy {
				*policies = nil
				return nil
			}
			p, err := ledger.ParsePolicy(text)
			if err != nil {
				return err
			}
			*policies = append(*policies, policyMessage(p))
			return nil
		})
	var words []string
	for _, action := range ledger.PolicyActions.All()[1:] {
		words = append(words, action+"=")
	}
	mustComplete(f.cmd, "policy", append(words, noPolicy))
}

func policyMessage(p ledger.Policy) *pb.ToolPolicy {
	return &pb.ToolPolicy{
		Action: pb.ToolAction(p.Action), Months: int32(p.Months), Days: int32(p.Days), Cycles: int32(p.Cycles),
		AfterEvent: p.AfterEvent, EachShift: p.EachShift,
	}
}

// policyTexts are policies as they are typed.
func policyTexts(policies []*pb.ToolPolicy) []string {
	texts := make([]string, len(policies))
	for i, p := range policies {
		texts[i] = ledger.Policy{
			Action: ledger.PolicyAction(p.GetAction()), Months: int(p.GetMonths()), Days: int(p.GetDays()), Cycles: int(p.GetCycles()),
			AfterEvent: p.GetAfterEvent(), EachShift: p.GetEachShift(),
		}.String()
	}
	return texts
}

// policiesLacking says what is usually asked of a tool of the kind and no policy of this
// one asks for: what nothing asks for never falls due, and keeps no tool from being lent.
func policiesLacking(t *pb.Tool) []string {
	asked := map[ledger.PolicyAction]bool{ledger.ActionCalibration: t.GetIntervalMonths() > 0 || t.GetIntervalCycles() > 0}
	for _, p := range t.GetPolicies() {
		asked[ledger.PolicyAction(p.GetAction())] = true
	}
	var lacking []string
	for _, d := range analysis.PolicyDefaults() {
		if action := d.Policy.Action; d.Kind == ledger.ToolKind(t.GetKind()) && d.Where == "" && !asked[action] {
			asked[action] = true
			lacking = append(lacking, ledger.PolicyActions.Name(action))
		}
	}
	if lacking == nil {
		return nil
	}
	them := "it"
	if len(lacking) > 1 {
		them = "them"
	}
	return []string{"look: " + ledger.ShortName(t.GetName()) + " has no policy for " + strings.Join(lacking, " and ") + ": neither time nor use ever makes " + them +
		" due; what is usual is shown by trackctl tool policies " + wordOf(ledger.ToolKinds, t.GetKind())}
}

func (a *app) toolPolicies() *cobra.Command {
	cmd := a.command("policies [KIND]", "Due policies that are usual for a kind of tool, with their sources",
		"A row without WHERE is the default while the owner has no better rule; the others\n"+
			"stand for one jurisdiction or service. The maker's manual and the law of the place\n"+
			"come first. Nothing of this is set on a tool by itself.")
	completeFirst(cmd, ledger.ToolKinds.All())
	return a.runs(cmd, func(_ context.Context, args []string) error {
		var kind ledger.ToolKind
		if len(args) > 0 {
			var err error
			if kind, err = ledger.ToolKinds.Parse(args[0]); err != nil {
				return usage("KIND: %v", err)
			}
		}
		w, err := output.New(a.config(), "policies", policyDefaultColumns())
		if err != nil {
			return err
		}
		for _, d := range analysis.PolicyDefaults() {
			if kind != 0 && d.Kind != kind {
				continue
			}
			if err := w.Row(d); err != nil {
				return err
			}
		}
		return w.Close(policyCaution())
	})
}

func policyCaution() output.Note {
	text := "A kind that is not listed measures and lifts nothing, and has no default. The maker's manual, the law of the place and the competent person come first."
	return output.Note{Key: "cautions", Value: []string{text}, Text: []string{text}}
}

func policyDefaultColumns() []output.Column[analysis.PolicyDefault] {
	type row = analysis.PolicyDefault
	return []output.Column[row]{
		{Name: "kind", Heading: "KIND", Value: func(d row) any { return ledger.ToolKinds.Name(d.Kind) }},
		{Name: "where", Heading: "WHERE", Value: func(d row) any { return text(d.Where) }},
		{Name: "policy", Heading: "POLICY", Value: func(d row) any { return defaultPolicy(d).String() }},
		{Name: "rule", Heading: "RULE", Value: func(d row) any { return d.Rule }},
		{Name: "sources", Heading: "SOURCES", Value: func(d row) any { return sourcesOf(d) }, Text: func(d row) string {
			return strings.Join(sourcesOf(d), "; ")
		}},
	}
}

func defaultPolicy(d analysis.PolicyDefault) ledger.Policy {
	p := d.Policy
	return ledger.Policy{
		Action: p.Action, Months: p.Months, Days: p.Days, Cycles: p.Cycles, AfterEvent: p.AfterEvent, EachShift: p.EachShift,
	}
}

func sourcesOf(d analysis.PolicyDefault) []string {
	sources := make([]string, len(d.Sources))
	for i, s := range d.Sources {
		sources[i] = s.String()
	}
	return sources
}
