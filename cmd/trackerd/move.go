package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"jointledger/internal/store"
)

func moveCommand() *cobra.Command {
	var d database
	c := &cobra.Command{
		Use:   "move",
		Short: "Carry the embedded database into an empty PostgreSQL database",
		Long:  "Carries the embedded database into an empty PostgreSQL database.\n\n" + moveText + "\n\n" + exitCodesText,
		Args:  noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := d.complete(); err != nil {
				return err
			}
			if d.dataDir == "" || d.dsn == "" {
				return usageError{errors.New("say both: --data for the folder to move from, --dsn (or " + variableOf("dsn") + ") for the PostgreSQL database to move into")}
			}
			log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil))
			return move(c.Context(), store.Config{DataDir: d.dataDir, Logger: log}, store.Config{DSN: d.dsn, Logger: log}, log, c.OutOrStdout())
		},
	}
	d.flags(c)
	return c
}

const moveText = `Stop the server, run "trackerd migrate up" on both databases, then move. Everything
is carried: records, registers, attachments, running sums, request ids, how far the
alarms have counted. The embedded database is verified first and only read; PostgreSQL
gets everything in one transaction, in which every table is read back and compared,
chains are checked link by link and sums counted anew. After any difference, or when it
is interrupted, PostgreSQL has nothing of it. Afterwards serve with --dsn, and keep the
folder as a backup: nothing more may be recorded in it.`

func move(ctx context.Context, from, to store.Config, log *slog.Logger, stdout io.Writer) error {
	moved, err := store.Move(ctx, from, to, func(table string, rows int64) { log.Info("copied", "table", table, "rows", rows) })
	if err != nil {
		return asked(err)
	}
	w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "table\trows\tSHA-256 of the rows, both sides")
	for _, t := range moved.Tables {
		fmt.Fprintf(w, "%s\t%d\t%s\n", t.Name, t.Rows, t.SHA256)
	}
	w.Flush() //nolint:errcheck // as for every line printed
	fmt.Fprintln(stdout)
	if err := printReport(store.Report{Sites: moved.Sites}, stdout); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "moved %s into PostgreSQL; both sides are the same\n", from.DataDir)
	return nil
}
