package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"

	"github.com/spf13/cobra"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

func migrateCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "migrate",
		Short: "Bring the database to this program's schema, or see where it stands",
		Args:  noArguments,
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(
		databaseCommand("up", "Bring the database to this program's schema; the embedded one is backed up first", migrateUp),
		databaseCommand("status", "Say which schema the database has; changes nothing", migrateStatus))
	return c
}

// databaseCommand is a command that needs a database and nothing else.
func databaseCommand(use, short string, run func(context.Context, store.Config, io.Writer) error) *cobra.Command {
	var d database
	c := &cobra.Command{
		Use: use, Short: short, Long: short + ".\n\n" + exitCodesText, Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			config, err := d.config(slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil)))
			if err != nil {
				return err
			}
			return run(c.Context(), config, c.OutOrStdout())
		},
	}
	d.flags(c)
	return c
}

func migrateUp(ctx context.Context, config store.Config, stdout io.Writer) error {
	from, to, err := store.MigrateUp(ctx, config)
	if err != nil {
		return err
	}
	if from == to {
		fmt.Fprintf(stdout, "schema version %d is the newest; nothing to do\n", to)
		return nil
	}
	fmt.Fprintf(stdout, "migrated from schema version %d to %d\n", from, to)
	return nil
}

func migrateStatus(ctx context.Context, config store.Config, stdout io.Writer) error {
	current, latest, dirty, err := store.MigrationStatus(ctx, config)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "schema version of the database: %d\nschema version of this program: %d\n", current, latest)
	switch {
	case dirty:
		return notUsable("a migration failed half-way; restore the backup made before it")
	case current > latest:
		return notUsable("the database is newer than this program; use a newer trackerd")
	case current < latest:
		return notUsable("the database is not migrated; run `trackerd migrate up`")
	}
	fmt.Fprintln(stdout, "up to date")
	return nil
}

// notUsable is an error for a database that a server would not serve.
func notUsable(message string) error {
	return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable, Message: message}
}
