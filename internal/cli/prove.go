package cli

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/proof"
)

const proveText = `The file is what "trackerd export SITE --to FILE" wrote. Every link of the site's chain
is made again from the bytes of its record; nothing is asked of a server. The first line
that is not as it was written is named, with its record.

Whoever can write a file can make a whole chain anew. --link takes a link that was
noted elsewhere, such as on a hand-over record, and says which record it is of:
everything up to that record is then as it was when the link was noted. The chain
covers what records say and what the rules found on them. It does not cover names of
people, places and things, nor which attachments belong to which record.`

// proved is what became of one export.
type proved struct {
	file    string
	summary proof.Summary
	fault   *proof.Fault
}

func (a *app) proveCommand() *cobra.Command {
	var links []string
	cmd := a.command("prove FILE", "Check an exported chain link by link, without a server", proveText)
	cmd.Flags().StringArrayVar(&links, "link", nil, "a `link` noted elsewhere, 64 hexadecimal digits, to look for in the chain; may be given again")
	return a.runs(cmd, func(_ context.Context, args []string) error {
		sought := make([]ledger.Link, len(links))
		for i, text := range links {
			var err error
			if sought[i], err = proof.ParseLink(text); err != nil {
				return usage("--link %q: expected 64 hexadecimal digits", text)
			}
		}
		p := proved{file: args[0]}
		if err := p.read(sought); err != nil {
			return err
		}
		if err := a.tellProved(p, sought); err != nil {
			return err
		}
		if p.fault != nil {
			return &failure{code: exitData, message: fmt.Sprintf("%s does not prove itself: %v", p.file, p.fault)}
		}
		for _, l := range sought {
			if _, ok := p.summary.At[l]; !ok {
				return &failure{code: exitData, message: fmt.Sprintf("the link %s does not stand in this chain: the chain was made anew since it was noted, or it is of another site or of a later record", l)}
			}
		}
		return nil
	})
}

func (p *proved) read(sought []ledger.Link) error {
	f, err := os.Open(p.file)
	if err == nil {
		defer f.Close()
		p.summary, err = proof.Verify(f, sought...)
	}
	if err != nil && !errors.As(err, &p.fault) {
		return &failure{code: exitNoInput, message: fmt.Sprintf("%s can't be read: %v", p.file, pathCause(err))}
	}
	return nil
}

// tellProved writes what was found; for a person only what holds.
func (a *app) tellProved(p proved, sought []ledger.Link) error {
	if a.format != output.Table {
		return output.Show(a.config(), "proofs", proofColumns(), p)
	}
	if p.fault != nil {
		return nil //nolint:nilerr // the caller ends with the fault
	}
	s := p.summary
	_, err := fmt.Fprintf(a.out, "site %s: %s, every one with its link; exported %s\nlast link %s\n",
		s.Site, counted(int(s.Records), "record"), s.ExportTime.Format("2006-01-02 15:04:05Z"), s.Head)
	for _, l := range sought {
		sequence, ok := s.At[l]
		if !ok || err != nil {
			continue
		}
		_, err = fmt.Fprintf(a.out, "link %s is that of record %d: up to it, all is as it was when the link was noted\n", l, sequence)
	}
	return err
}

func proofColumns() []output.Column[proved] {
	failed := func(p proved, value func(*proof.Fault) any) any {
		if p.fault == nil {
			return nil
		}
		return value(p.fault)
	}
	return []output.Column[proved]{
		{Name: "file", Value: func(p proved) any { return p.file }},
		{Name: "proved", Value: func(p proved) any { return p.fault == nil }},
		{Name: "site", Value: func(p proved) any { return p.summary.Site }},
		{Name: "records", Value: func(p proved) any { return p.summary.Records }},
		{Name: "last_link", Value: func(p proved) any { return p.summary.Head.String() }},
		{Name: "exported_at", Value: func(p proved) any { return p.summary.ExportTime }},
		{Name: "line", Value: func(p proved) any { return failed(p, func(f *proof.Fault) any { return f.Line }) }},
		{Name: "record", Value: func(p proved) any { return failed(p, func(f *proof.Fault) any { return f.Sequence }) }},
		{Name: "problem", Value: func(p proved) any { return failed(p, func(f *proof.Fault) any { return f.Problem }) }},
	}
}
