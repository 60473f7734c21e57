package cli

import (
	"fmt"
	"io"

	"jointledger/internal/cli/output"
)

// Exit codes, after sysexits.h of 4.3BSD; 130 is the shells' 128 + SIGINT.
const (
	exitDone        = 0
	exitUsage       = 64
	exitData        = 65
	exitNoInput     = 66
	exitUnknown     = 67
	exitUnavailable = 69
	exitInternal    = 70
	exitCantWrite   = 73
	exitIO          = 74
	exitTryAgain    = 75
	exitDenied      = 77
	exitConfig      = 78
	exitInterrupted = 130
)

const exitCodesHelp = `Exit codes, after sysexits.h:

   0  done
   1  handover: the record was written and is not complete
      ready --strict: the kit list is not filled
      doctor: something is wrong on this device
  64  the command line is wrong
  65  the data is not valid or was refused
  66  an input file or folder is missing or not readable
  67  something that was named does not exist
  69  the server can't be reached or is not available
  70  a fault inside the server
  73  the output can't be written
  74  reading or writing failed on the way
  75  try again: a conflict, a limit, or the time ran out
  77  the server asks for a token, or does not allow this
  78  the configuration is wrong: an environment variable, the token file
 130  interrupted
`

// failure is an error as a person is told of it.
type failure struct {
	code int
	// message is one sentence.
	message string
	// lines stand indented below it: a field each.
	lines []string
}

func (f *failure) Error() string { return f.message }

// usage is a failure of the command line.
func usage(format string, args ...any) *failure {
	return &failure{code: exitUsage, message: fmt.Sprintf(format, args...)}
}

// tell writes the failure for a person.
func (f *failure) tell(w io.Writer) {
	fmt.Fprintf(w, "trackctl: %s\n", output.Printable(f.message))
	for _, l := range f.lines {
		fmt.Fprintf(w, "  %s\n", output.Printable(l))
	}
}
