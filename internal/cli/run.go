package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/carry/pack"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
)

// app is one run of trackctl.
type app struct {
	in       io.Reader
	out, err io.Writer
	getenv   func(string) string
	now      func() time.Time
	newID    func() (uuid.UUID, error)

	settings settings
	// fromFile is what the settings file says, once it was read.
	fromFile *fileSettings
	// hand is what is kept for the shift, once it was read; filled is what of it this
	// command filled in.
	hand   inHand
	filled []filled
	// lines is what somebody types, once it is read; questions ask for the arguments
	// that a command did not get.
	lines *bufio.Reader
	// carried are the carried data of sites that were opened, by site.
	carried   map[string]*pack.Pack
	questions map[*cobra.Command]func(context.Context, []string) ([]string, error)
	format    output.Format
	conn      *grpc.ClientConn
	line      lineWatch
	// triedSending says that sending what waits on this device was tried by now.
	triedSending bool
	// running says that a command's own work has begun: what fails before is a
	// mistake in the command line.
	running bool
}

// Run runs trackctl with the arguments after its name and gives the exit code.
func Run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	a := &app{in: in, err: errOut, getenv: os.Getenv, now: time.Now, newID: uuid.NewV7}
	return a.run(ctx, args, out)
}

func (a *app) run(ctx context.Context, args []string, out io.Writer) int {
	buffered := bufio.NewWriter(out)
	a.out = buffered
	root := a.root(args)
	root.SetArgs(args)
	root.SetIn(a.in)
	root.SetOut(a.out)
	root.SetErr(a.err)
	err := root.ExecuteContext(ctx)
	if a.conn != nil {
		// The answer is in hand; nothing that closing says changes it.
		_ = a.conn.Close()
	}
	flushed := buffered.Flush()
	if flushed != nil && (err == nil || errors.Is(err, flushed)) {
		err = &failure{code: exitCantWrite, message: fmt.Sprintf("the output can't be written: %v", flushed)}
	}
	if err == nil {
		return exitDone
	}
	f := a.failureOf(ctx, err)
	if f.message != "" {
		f.tell(a.err)
	}
	return f.code
}

// failureOf reads an error that a command ended with.
func (a *app) failureOf(ctx context.Context, err error) *failure {
	var f *failure
	switch {
	case ctx.Err() != nil:
		interrupted := &failure{code: exitInterrupted, message: "interrupted"}
		if errors.As(err, &f) {
			interrupted.lines = f.lines
		}
		return interrupted
	case errors.As(err, &f):
		return f
	case !a.running:
		return usage("%s", strings.TrimSpace(err.Error()))
	}
	return a.callFailure(err, nil)
}

func (a *app) root(args []string) *cobra.Command {
	root := &cobra.Command{
		Use:   "trackctl",
		Short: "Keep and question the assembly record of cooling towers",
		Long: "trackctl keeps the assembly record of field-erected cooling towers and asks\n" +
			"questions of it: what was sealed, tightened and inspected and what went wrong,\n" +
			"with which lot, treatment and tool, at what rate; which rules were broken, what\n" +
			"is on hold, what is left to do, and which tools fall due.\n\n" + caution,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          func(cmd *cobra.Command, args []string) error { return noSuchCommand(cmd, args) },
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(flagProblem)
	a.settings.flags(root.PersistentFlags())
	mustComplete(root, "output", output.Formats())
	commands := a.commands(args)
	root.AddCommand(commands...)
	// Where the command is named, the one that cobra adds for shells is not asked for.
	root.CompletionOptions.DisableDefaultCmd = len(commands) == 1
	if completing(args) {
		a.completes(root)
	}
	return root
}

// noSuchCommand refuses a word where a command should stand.
func noSuchCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	var names []string
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			names = append(names, c.Name())
		}
	}
	if n, ok := nearest.Name(args[0], names); ok {
		return usage("%s has no command %q; did you mean %s?", cmd.CommandPath(), args[0], n)
	}
	return usage("%s has no command %q; it has %s", cmd.CommandPath(), args[0], strings.Join(names, ", "))
}

// flagProblem words what cobra found wrong with a flag.
func flagProblem(cmd *cobra.Command, err error) error {
	message := err.Error()
	if name, ok := strings.CutPrefix(message, "unknown flag: --"); ok {
		var names []string
		cmd.Flags().VisitAll(func(f *flag) { names = append(names, f.Name) })
		if n, ok := nearest.Name(name, names); ok {
			return usage("%s has no flag --%s; did you mean --%s?", cmd.CommandPath(), name, n)
		}
		return usage("%s has no flag --%s; see %[1]s --help", cmd.CommandPath(), name)
	}
	// A negative number where a count should stand looks like a flag.
	if m := negativeNumber().FindStringSubmatch(message); m != nil {
		for _, word := range strings.Fields(cmd.Use) {
			if most, counts := countArguments[strings.Trim(word, "[]")]; counts {
				_, err := parseCount(strings.Trim(word, "[]"), m[1], 1, most)
				return err
			}
		}
	}
	// cobra's `invalid argument "x" for "--kind" flag: why` says twice what came.
	if m := invalidArgument().FindStringSubmatch(message); m != nil {
		return usage("%s: %s", m[1], m[2])
	}
	return usage("%s", message)
}

// countArguments are the arguments that count things, with the most that each may be.
var countArguments = map[string]int64{"FASTENERS": ledger.MaxFasteners, "QUANTITY": ledger.MaxQuantity}

var negativeNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^unknown shorthand flag: '\d' in (-\d+)$`) })

var invalidArgument = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?s)^invalid argument ".*?" for "(?:-\w, )?(--[a-z0-9-]+)" flag: (.*)$`)
})

// group makes the command of a noun, which only holds others.
func group(use, short string, commands ...*cobra.Command) *cobra.Command {
	cmd := &cobra.Command{
		Use:   use,
		Short: short,
		Args:  noSuchCommand,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cmd.SetOut(cmd.ErrOrStderr())
			if err := cmd.Help(); err != nil {
				return err
			}
			return &failure{code: exitUsage}
		},
	}
	cmd.AddCommand(commands...)
	return cmd
}

// runFunc is the work of a command, with its arguments.
type runFunc func(ctx context.Context, args []string) error

// command makes a command whose arguments are those named in its use line after
// the first word: `set LOT` takes one, `[PLACE]` may be left out.
func (a *app) command(use, short, long string) *cobra.Command {
	words := strings.Fields(use)[1:]
	least := 0
	for _, w := range words {
		if !strings.HasPrefix(w, "[") {
			least++
		}
	}
	return &cobra.Command{
		Use: use, Short: short, Long: strings.TrimSpace(short + ".\n\n" + long),
		DisableFlagsInUseLine: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < least || len(args) > len(words) {
				return usage("%s takes %s; got %d of %s", cmd.CommandPath(), orNothing(words), len(args), counted(len(words), "argument"))
			}
			return nil
		},
	}
}

func orNothing(words []string) string {
	if len(words) == 0 {
		return "no arguments"
	}
	return strings.Join(words, " ")
}

// runs gives a command its work.
func (a *app) runs(cmd *cobra.Command, run runFunc) *cobra.Command {
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		file, err := a.fileSettings()
		if err != nil {
			return err
		}
		if err := a.settings.read(cmd.Flags(), a.getenv, file); err != nil {
			return err
		}
		a.format = a.settings.format
		if err := a.checkParquet(); err != nil {
			return err
		}
		if ask := a.questions[cmd]; ask != nil {
			if args, err = ask(cmd.Context(), args); err != nil {
				return err
			}
		}
		a.running = true
		err = a.exporting(cmd, run, args)
		a.sendAlong(cmd.Context())
		return err
	}
	return cmd
}

func (a *app) config() output.Config {
	return output.Config{Format: a.format, Out: a.out, Err: a.err}
}

// counted writes a number with its noun.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
