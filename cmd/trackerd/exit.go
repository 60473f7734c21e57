package main

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/ledger"
)

// Exit statuses, after sysexits.h where it has one.
const (
	exitDone        = 0
	exitProblems    = 1
	exitUsage       = 64
	exitUnavailable = 69
	exitInternal    = 70
	exitSystem      = 71
	exitConfig      = 78
)

const exitCodesText = `Exit status:
   0  done; a server that was asked to stop has kept all it acknowledged
   1  verify found problems
  64  the command line is wrong
  69  the database can't be reached or used, is not migrated, or is newer than
      this program; the server that health asks does not serve
  70  a fault of this program
  71  the operating system refused: the address can't be listened on
  78  the configuration is wrong: settings file or environment, certificate, token
      file, data folder, connection string, or a listener that is open to others
      without TLS`

// usageError is a command line that is wrong.
type usageError struct{ error }

// configError is a configuration that is wrong.
type configError struct{ error }

// systemError is something that the operating system refused.
type systemError struct{ error }

// errProblems is that verify found problems; they were printed already.
var errProblems = errors.New("the record does not verify")

func exitStatus(err error) int {
	var usage usageError
	var config configError
	var system systemError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errProblems):
		return exitProblems
	case errors.As(err, &usage), strings.HasPrefix(err.Error(), "unknown command"):
		return exitUsage
	case errors.As(err, &config):
		return exitConfig
	case errors.As(err, &system):
		return exitSystem
	}
	switch ledger.AsError(err).Kind {
	case ledger.KindUnavailable, ledger.KindConflict:
		return exitUnavailable
	case ledger.KindInvalid:
		return exitConfig
	default:
		return exitInternal
	}
}

// noArguments is cobra.NoArgs with our exit status.
func noArguments(c *cobra.Command, args []string) error {
	if err := cobra.NoArgs(c, args); err != nil {
		return usageError{err}
	}
	return nil
}
