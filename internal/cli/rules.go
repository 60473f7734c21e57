package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// newRulesCommand makes the command that shows the rules table.
func newRulesCommand(a *app) *cobra.Command {
	cmd := a.command("rules [CODE]", "The rules that every record is judged by",
		"A record that breaks a rule is kept and flagged: a note is to be known, a warn to be\nlooked into, a hold keeps the joint until somebody with the authority releases it.\nLimits of a specification, a tool or a batch go before those shown here.\n\n"+caution)
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return ruleCodes(), cobra.ShellCompDirectiveNoFileComp
	}
	return a.runs(cmd, func(_ context.Context, args []string) error {
		table := rules.Table()
		if len(args) > 0 {
			i, err := chosen("rule", ruleCodes(), args[0])
			if err != nil {
				return &failure{code: exitUnknown, message: err.Error()}
			}
			table = table[i-1 : i]
		}
		if a.format == output.Table {
			return a.tellRules(table)
		}
		w, err := output.New(a.config(), "rules", ruleColumns())
		if err != nil {
			return err
		}
		for _, r := range table {
			if err := w.Row(r); err != nil {
				return err
			}
		}
		return w.Close()
	})
}

func ruleCodes() []string {
	var codes []string
	for _, r := range rules.Table() {
		codes = append(codes, r.Code)
	}
	return codes
}

func ruleColumns() []output.Column[rules.Rule] {
	return []output.Column[rules.Rule]{
		{Name: "code", Value: func(r rules.Rule) any { return r.Code }},
		{Name: "severities", Value: func(r rules.Rule) any { return severityWords(r) }},
		{Name: "records", Value: func(r rules.Rule) any { return recordWords(r) }},
		{Name: "limit", Value: func(r rules.Rule) any { return r.Limit }},
		{Name: "sentence", Value: func(r rules.Rule) any { return r.Sentence }},
	}
}

func severityWords(r rules.Rule) []string {
	var words []string
	for _, s := range r.Severities {
		words = append(words, s.String())
	}
	return words
}

func recordWords(r rules.Rule) []string {
	var words []string
	for _, k := range r.Kinds {
		words = append(words, ledger.RecordKinds.Name(k))
	}
	return words
}

// tellRules writes the rules for a person. Their sentences are too long for the
// columns of a table.
func (a *app) tellRules(table []rules.Rule) error {
	for i, r := range table {
		if i > 0 {
			if _, err := fmt.Fprintln(a.out); err != nil {
				return err
			}
		}
		for _, line := range []string{
			fmt.Sprintf("%s (%s)", r.Code, strings.Join(severityWords(r), ", ")),
			output.Wrap("  " + r.Sentence),
			output.Wrap("  limit: " + r.Limit),
			output.Wrap("  judges: " + strings.Join(recordWords(r), ", ")),
		} {
			if _, err := fmt.Fprintln(a.out, line); err != nil {
				return err
			}
		}
	}
	return nil
}
