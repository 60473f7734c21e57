package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // sites keep their own time, whatever zones the machine knows

	"github.com/spf13/cobra"

	"jointledger/internal/ledger"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// Once it is stopping, a second signal ends it at once.
	context.AfterFunc(ctx, stop)
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// rootCommand is the command line with all its commands.
func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:           "trackerd",
		Short:         "Server of the assembly record",
		Long:          "trackerd keeps the assembly record of field-erected cooling towers and answers questions on it.\n\n" + exitCodesText,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddCommand(configCommand(), healthCommand(), serveCommand(), migrateCommand(), verifyCommand(), versionCommand())
	root.AddCommand(backupCommand(), restoreCommand(), exportCommand(), moveCommand())
	root.AddCommand(principalCommand(), tokenCommand(), auditCommand())
	return root
}

// run runs the command line and gives the exit status. The end of ctx asks a
// server to stop.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	root := rootCommand()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err != nil {
		fmt.Fprintf(stderr, "trackerd: %v\n", err)
		// An operator, unlike a client, is told what the driver said.
		if e := ledger.AsError(err); e.Cause != nil && e.Cause.Error() != err.Error() {
			fmt.Fprintf(stderr, "  cause: %v\n", e.Cause)
		}
	}
	return exitStatus(err)
}
