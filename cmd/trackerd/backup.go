package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

func backupCommand() *cobra.Command {
	var to string
	c := databaseCommand("backup", "Write a whole copy of the embedded database to a file; a server may go on serving", func(ctx context.Context, config store.Config, stdout io.Writer) error {
		if to == "" {
			return usageError{errors.New("say with --to which file to write")}
		}
		b, err := store.BackUp(ctx, config, to)
		if err != nil {
			return asked(err)
		}
		printChains(stdout, b.Chains)
		fmt.Fprintf(stdout, "backed up to %s: %d bytes, schema version %d\n", to, b.Bytes, b.SchemaVersion)
		return nil
	})
	c.Long = c.Short + ".\n\n" + backupText + "\n\n" + exitCodesText
	c.Flags().StringVar(&to, "to", "", "`file` to write; it must not exist yet")
	return c
}

const backupText = `Everything that was acknowledged before the backup began is in the file, attachments
too. It is written under another name, flushed, read again (integrity, references) and
only then has its name, so that a file of that name is whole. An existing file is never
overwritten. The last link of each site's chain is printed: keep it elsewhere, and
compare it with what a restore prints.

The file holds all that the database holds, names of people and digests of tokens among
it: keep it as safe. PostgreSQL is backed up with its own programs, as the operator's
guide says.`

func restoreCommand() *cobra.Command {
	var from string
	var replace bool
	c := databaseCommand("restore", "Make a backup the embedded database of an empty folder", func(ctx context.Context, config store.Config, stdout io.Writer) error {
		switch {
		case from == "":
			return usageError{errors.New("say with --from which backup to restore")}
		case config.DSN != "":
			return configError{errors.New("this restores the embedded database; say its folder with --data. PostgreSQL is restored with its own programs, as the operator's guide says")}
		}
		r, err := store.Restore(ctx, config, from, replace)
		if len(r.Report.Sites) > 0 || !r.Report.OK() {
			if printed := printReport(r.Report, stdout); err == nil {
				err = printed
			}
		}
		if err != nil {
			return asked(err)
		}
		if r.Replaced != "" {
			fmt.Fprintf(stdout, "what was there before is kept in %s\n", r.Replaced)
		}
		fmt.Fprintf(stdout, "restored %s into %s\n", from, config.DataDir)
		return nil
	})
	c.Long = c.Short + ".\n\n" + restoreText + "\n\n" + exitCodesText
	c.Flags().StringVar(&from, "from", "", "`file` that backup wrote")
	c.Flags().BoolVar(&replace, "replace", false, "restore over a database that is there, which is kept in a folder beside it")
	return c
}

const restoreText = `The backup is copied beside where the database will be, brought to this program's
schema, and verified as "trackerd verify" does; only then has it the database's name. A
backup that does not verify is not restored, and what is wrong with it is printed. A
running server is refused. What was recorded after the backup is not in it: devices that
still keep their entries send them again, and nothing is doubled.`

// asked gives errors of what the command line names their exit status.
func asked(err error) error {
	if errors.Is(err, errProblems) {
		return err
	}
	switch ledger.AsError(err).Kind {
	case ledger.KindPrecondition:
		return problemsError{err}
	case ledger.KindExists, ledger.KindNotFound:
		return configError{err}
	default:
		return err
	}
}

// problemsError is that something does not verify, with what it is.
type problemsError struct{ error }

func (problemsError) Is(target error) bool { return target == errProblems }

func (e problemsError) Unwrap() error { return e.error }

func printChains(stdout io.Writer, chains []store.ChainEnd) {
	w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "site\trecords\tlast link")
	for _, c := range chains {
		fmt.Fprintf(w, "%s\t%d\t%s\n", c.Site, c.Records, c.Link)
	}
	w.Flush() //nolint:errcheck // as for every line printed
}
