package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"jointledger/internal/store"
)

func verifyCommand() *cobra.Command {
	c := databaseCommand("verify", "Check every site's chain and count the tallies anew; changes nothing", verify)
	c.Long = c.Short + ".\n\n" + verifyText + "\n\n" + exitCodesText
	return c
}

const verifyText = `It reads every record again, with what was found on it, against the chain of its
site; counts tallies, use of tools and stock of lots again from the records; reads
every attached content against its SHA-256; and looks for the triggers with which
the database refuses to change a record.

The chain does not cover the registers (sites, towers, cells, joints, people,
tools, lots, batches, substitutions, specifications with their revisions), nor the
names and media types of attachments and what they are attached to. Whoever can write to the
database itself can change those unseen, and can make a whole chain anew: keep the
last links elsewhere, such as on the hand-over records, and compare.`

func verify(ctx context.Context, config store.Config, stdout io.Writer) error {
	s, err := openAsItIs(ctx, config)
	if err != nil {
		return err
	}
	defer s.Close() // nothing was written
	report, err := s.Verify(ctx)
	if err != nil {
		return err
	}
	return printReport(report, stdout)
}

// openAsItIs opens a database that is to be read. Opening by itself would make or
// migrate the embedded one.
func openAsItIs(ctx context.Context, config store.Config) (*store.Store, error) {
	current, latest, _, err := store.MigrationStatus(ctx, config)
	switch {
	case err != nil:
		return nil, err
	case current == 0:
		return nil, notUsable("there is no record here to read; say where it is with --data or --dsn")
	case current < latest:
		return nil, notUsable(fmt.Sprintf("the database has schema version %d and this program needs %d; run `trackerd migrate up` first", current, latest))
	}
	return store.Open(ctx, config)
}

func printReport(report store.Report, stdout io.Writer) error {
	w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "site\trecords\tresult\tlast link")
	for _, s := range report.Sites {
		result := "whole"
		if n := len(s.Problems); n > 0 {
			result = fmt.Sprintf("%d problems", n)
		}
		fmt.Fprintf(w, "%s\t%d\t%s\t%s\n", s.Site, s.Records, result, s.Head)
	}
	w.Flush() //nolint:errcheck // as for every line printed
	for _, s := range report.Sites {
		for _, p := range s.Problems {
			fmt.Fprintf(stdout, "%s: %s\n", s.Site, p)
		}
	}
	for _, of := range []struct {
		what     string
		problems []string
	}{{"tallies", report.TallyProblems}, {"guards", report.GuardProblems}, {"attachments", report.AttachmentProblems}} {
		for _, p := range of.problems {
			fmt.Fprintf(stdout, "%s: %s\n", of.what, p)
		}
	}
	if !report.OK() {
		return errProblems
	}
	fmt.Fprintln(stdout, "tallies equal a recount")
	return nil
}
