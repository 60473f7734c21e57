package cli

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"reflect"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"jointledger/internal/cli/output"
)

// question is something that a command needs and may ask for on a terminal.
type question struct {
	// what is its name, such as JOINT; about says what belongs there.
	what, about string
	// check says what is wrong with an answer.
	check func(string) error
}

// mayAsk says whether there is somebody to ask: never in a script, never where the
// answer is for a program.
func (a *app) mayAsk() bool {
	in, ok := a.in.(*os.File)
	return ok && !a.settings.noInput && a.format == output.Table && a.settings.export == "" &&
		term.IsTerminal(int(in.Fd())) && isTerminal(a.err)
}

// asking makes a command ask for the arguments that it needs and did not get, by
// their order.
func (a *app) asking(cmd *cobra.Command, questions ...question) {
	strict := cmd.Args
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) < len(questions) {
			// Whether one may ask is known once the settings are read.
			return nil
		}
		return strict(cmd, args)
	}
	if a.questions == nil {
		a.questions = map[*cobra.Command]func(context.Context, []string) ([]string, error){}
	}
	a.questions[cmd] = func(ctx context.Context, args []string) ([]string, error) {
		if len(args) >= len(questions) {
			return args, nil
		}
		if !a.mayAsk() {
			return nil, strict(cmd, args)
		}
		for _, q := range questions[len(args):] {
			text, err := a.ask(ctx, q)
			if err != nil {
				return nil, err
			}
			args = append(args, text)
		}
		return args, nil
	}
}

// require checks that the flags were given, or asks for those that were not.
func (a *app) require(ctx context.Context, f *fields, names ...string) error {
	if !a.mayAsk() {
		return f.require(names...)
	}
	for _, name := range names {
		if f.cmd.Flags().Changed(name) {
			continue
		}
		flag := f.cmd.Flags().Lookup(name)
		_, err := a.ask(ctx, question{what: name, about: flag.Usage, check: func(text string) error { return f.cmd.Flags().Set(name, text) }})
		if err != nil {
			return err
		}
	}
	return nil
}

// ask asks one question until the answer is right. An empty answer, or the end of
// the input, means that nothing is to be done.
func (a *app) ask(ctx context.Context, q question) (string, error) {
	for {
		// The prompt stands in one write, so that it is not cut by other output.
		a.prompt(ctx, "%s (%s): ", q.what, output.Printable(q.about))
		text, err := a.readLine(ctx)
		if err != nil {
			return "", err
		}
		if text == "" {
			return "", usage("nothing was done: %s was left empty", q.what)
		}
		if q.check == nil {
			return text, nil
		}
		if err := q.check(text); err == nil {
			return text, nil
		} else {
			fmt.Fprintf(a.err, "  %s\n", output.Printable(answerProblem(err)))
		}
	}
}

// answerProblem words what is wrong with an answer without the name of a flag that
// nobody typed.
func answerProblem(err error) string {
	if m := invalidArgument().FindStringSubmatch(err.Error()); m != nil {
		return m[2]
	}
	return err.Error()
}

// confirm asks a question that is answered with yes or no; an empty answer is no.
func (a *app) confirm(ctx context.Context, question string) (bool, error) {
	for {
		a.prompt(ctx, "%s (yes or no): ", output.Printable(question))
		text, err := a.readLine(ctx)
		if err != nil {
			return false, err
		}
		switch strings.ToLower(text) {
		case "y", "yes":
			return true, nil
		case "", "n", "no":
			return false, nil
		}
	}
}

// prompt tells somebody what is awaited. An interrupt is listened to before that: whoever
// reads the prompt may press it at once.
func (a *app) prompt(ctx context.Context, format string, args ...any) {
	_ = ctx.Done()
	fmt.Fprintf(a.err, format, args...)
}

// readLine reads one line that somebody types; the end of the input reads as an empty
// one. An interrupt ends the wait.
func (a *app) readLine(ctx context.Context) (string, error) {
	if a.lines == nil {
		a.lines = bufio.NewReader(a.in)
	}
	type line struct {
		text string
		err  error
	}
	read := make(chan line, 1)
	go func() {
		text, err := a.lines.ReadString('\n')
		read <- line{text, err}
	}()
	select {
	case <-ctx.Done():
		fmt.Fprintln(a.err)
		return "", ctx.Err()
	case l := <-read:
		if l.err != nil {
			// The end of the input leaves the cursor behind the prompt.
			fmt.Fprintln(a.err)
		}
		return strings.TrimSpace(l.text), nil
	}
}

// hiddenWithin is how many milliseconds a terminal may take to hide what is typed.
const hiddenWithin = 1000

// readHidden reads one line without showing it.
func (a *app) readHidden(ctx context.Context) (string, error) {
	in, ok := a.in.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) {
		return a.readLine(ctx)
	}
	before, err := term.GetState(int(in.Fd()))
	if err != nil {
		return "", &failure{code: exitIO, message: fmt.Sprintf("the terminal can't be read: %v", err)}
	}
	type line struct {
		text []byte
		err  error
	}
	read := make(chan line, 1)
	go func() {
		text, err := term.ReadPassword(int(in.Fd()))
		read <- line{text, err}
	}()
	defer fmt.Fprintln(a.err)
	// Until the reader has hidden what is typed, putting the terminal back would come too
	// early.
	for range hiddenWithin {
		if now, err := term.GetState(int(in.Fd())); err != nil || !reflect.DeepEqual(now, before) || len(read) > 0 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	select {
	case <-ctx.Done():
		// The reader still waits; the terminal must show again what is typed.
		if err := term.Restore(int(in.Fd()), before); err != nil {
			return "", &failure{code: exitInterrupted, message: fmt.Sprintf("interrupted; the terminal can't be put back: %v; type reset", err)}
		}
		return "", ctx.Err()
	case l := <-read:
		return strings.TrimSpace(string(l.text)), nil
	}
}
