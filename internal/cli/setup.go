package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

const setupHelp = `Asks for the server, its token where it wants one, and who reports, tries each at once,
and writes them to the settings file of this device. The token goes into a file of its
own that only you can read; it is never shown.

In a script give --no-input and what is to be set: --server, --token-file, --person.
Nothing is written when a check fails, unless --unchecked says to write it all the same.
What is there already is left alone unless --replace is given, or you say yes.`

// setup is a first run under way.
type setup struct {
	replace, unchecked bool
	// token is one that was typed; empty where a file is named, or none is needed.
	token string
}

func (a *app) setupCommand() *cobra.Command {
	var s setup
	cmd := a.command("setup", "First run: name the server, its token and yourself", setupHelp)
	cmd.Example = "  trackctl setup\n  trackctl setup --no-input --server tower-yard:7733 --token-file /run/secrets/token --person ab"
	cmd.Flags().BoolVar(&s.replace, "replace", false, "replace what is there already without asking")
	cmd.Flags().BoolVar(&s.unchecked, "unchecked", false, "write also what can't be checked now")
	return a.runsAnyway(cmd, func(ctx context.Context, _ []string, wrong error) error { return a.setup(ctx, &s, wrong) })
}

func (a *app) setup(ctx context.Context, s *setup, wrong error) error {
	path, err := a.settingsFile()
	if err != nil {
		return err
	}
	if wrong != nil {
		// It may be the file that is wrong: what it says is not carried over.
		a.say("what the settings say now can't be used: " + wrong.Error())
	}
	given := func(setting string) bool { return a.settings.from[setting] != "" }
	if wrong == nil && !a.mayAsk() && !given("server") && !given("token-file") && !given("person") {
		return usage("expected what is to be set, since nobody can be asked here: --server, --token-file or --person")
	}
	if a.mayAsk() {
		a.say("An empty answer takes what stands in brackets. Ctrl-C ends this and changes nothing.")
	}
	if err := a.setUpServer(ctx, s); err != nil {
		return err
	}
	if err := a.setUpPerson(ctx, s); err != nil {
		return err
	}
	if err := a.allowReplacing(ctx, s, path); err != nil {
		return err
	}
	if s.token != "" {
		if a.settings.tokenFile, err = a.writeToken(ctx, s, filepath.Join(filepath.Dir(path), "token")); err != nil {
			return err
		}
	}
	if err := writeDeviceFile(path, []byte(a.settingsText())); err != nil {
		return err
	}
	return a.tellSetup(path)
}

// say tells somebody who is asked; a script gets the answer alone.
func (a *app) say(line string) {
	fmt.Fprintln(a.err, output.Printable(line))
}

// askOr asks a question that has an answer already.
func (a *app) askOr(ctx context.Context, q question, otherwise string) (string, error) {
	if !a.mayAsk() {
		return otherwise, nil
	}
	for {
		a.prompt(ctx, "%s (%s) [%s]: ", q.what, output.Printable(q.about), output.Printable(orWord(otherwise, "none")))
		text, err := a.readLine(ctx)
		if err != nil {
			return "", err
		}
		if text == "" {
			return otherwise, nil
		}
		if q.check != nil {
			if err := q.check(text); err != nil {
				a.say("  " + answerProblem(err))
				continue
			}
		}
		return text, nil
	}
}

// setUpServer settles the server and its token: both are right when it answers.
func (a *app) setUpServer(ctx context.Context, s *setup) error {
	for {
		text, err := a.askOr(ctx, question{"server", "host and port of trackerd", checkServerName}, a.settings.server)
		if err != nil {
			return err
		}
		a.settings.server = text
		a.redial()
		r, err := a.reach(ctx)
		if err == nil && !r.wantsToken {
			return a.greet(ctx, s, r)
		}
		if err == nil {
			again, err := a.setUpToken(ctx, s, r.why)
			if err != nil || !again {
				return err
			}
			continue
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if s.unchecked {
			a.say("not checked: " + err.Error())
			return nil
		}
		if !a.mayAsk() {
			return err
		}
		a.say("  " + err.Error())
		anyway, err := a.confirm(ctx, "Keep this server all the same, since it may be off now?")
		if err != nil || anyway {
			s.unchecked = anyway
			return err
		}
	}
}

// greet says which server answered.
func (a *app) greet(ctx context.Context, s *setup, r reached) error {
	if r.denied {
		a.say("  the server knows who this is, and lets it do nothing: " + r.why)
		return a.anyway(ctx, s, exitDenied, r.why+"; ask whoever runs the server for a role")
	}
	if r.old {
		a.say("  " + a.settings.server + " does not say which API it speaks: it is older than this trackctl, or not trackerd")
		return a.anyway(ctx, s, exitUnavailable, "the server at "+a.settings.server+" is older than this trackctl, or not trackerd")
	}
	sentence, understood, same := compatibility(r.server)
	if !understood {
		a.say("  " + sentence)
		return a.anyway(ctx, s, exitUnavailable, sentence)
	}
	if !same {
		a.say("  " + sentence)
	}
	if a.mayAsk() {
		a.say(fmt.Sprintf("  reached: trackerd %s in %d ms", r.server.GetVersion(), r.latency.Milliseconds()))
		if c := checkClock(r); c.state != checkOK {
			a.say("  the clock of this device is " + c.message + "; " + c.remedy)
		}
	}
	return nil
}

// anyway asks whether to go on with what does not check; in a script it is the end,
// unless --unchecked was given.
func (a *app) anyway(ctx context.Context, s *setup, code int, message string) error {
	if s.unchecked {
		return nil
	}
	if a.mayAsk() {
		if yes, err := a.confirm(ctx, "Keep it all the same?"); err != nil || yes {
			return err
		}
	}
	return &failure{code: code, message: "nothing was written: " + message}
}

// setUpToken asks for the token of a server that wants one. It says whether the
// server is to be asked again. why is what the server said.
func (a *app) setUpToken(ctx context.Context, s *setup, why string) (again bool, err error) {
	what := "the server asks for a token"
	if a.settings.tokenFile != "" || s.token != "" {
		what = "the server does not accept the token: " + why
	}
	if !a.mayAsk() {
		return false, a.anyway(ctx, s, exitDenied, what+"; name the file with it with --token-file")
	}
	a.say("  " + what)
	a.prompt(ctx, "token (it is not shown; empty to leave it out): ")
	text, err := a.readHidden(ctx)
	if err != nil {
		return false, err
	}
	if text == "" {
		return false, a.anyway(ctx, s, exitDenied, what)
	}
	if problem := tokenProblem(text); problem != "" {
		a.say("  " + problem)
		return a.setUpToken(ctx, s, why)
	}
	s.token, a.settings.typedToken = text, text
	a.redial()
	r, err := a.reach(ctx)
	if err != nil {
		return true, nil //nolint:nilerr // it is asked again, and told then
	}
	if r.wantsToken {
		return a.setUpToken(ctx, s, r.why)
	}
	a.say("  the token is accepted")
	return false, a.greet(ctx, s, r)
}

// setUpPerson settles who reports; nobody, where a device is shared.
func (a *app) setUpPerson(ctx context.Context, s *setup) error {
	for {
		text, err := a.askOr(ctx, question{"person", "who reports on this device: initials or badge; - for nobody", nil}, a.settings.person)
		if err != nil {
			return err
		}
		a.settings.person = strings.ToLower(strings.TrimPrefix(text, "people/"))
		if text == "-" || text == "" {
			a.settings.person = ""
			return nil
		}
		name, err := resourceArg(a.settings.person, "people")
		if err == nil {
			if name, err = a.knownPerson(ctx, name); err == nil {
				if a.mayAsk() && name != "" {
					a.say("  known: " + name)
				}
				return nil
			}
		}
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case s.unchecked:
			a.say("not checked: " + err.Error())
			return nil
		case !a.mayAsk():
			return err
		}
		a.say("  " + err.Error())
		anyway, err := a.confirm(ctx, "Keep this person all the same?")
		if err != nil || anyway {
			return err
		}
	}
}

// knownPerson is the name of a person whom the server knows.
func (a *app) knownPerson(ctx context.Context, person string) (string, error) {
	conn, err := a.dial()
	if err != nil {
		return "", err
	}
	got, err := pb.NewPersonServiceClient(conn).GetPerson(ctx, &pb.GetPersonRequest{Name: person})
	if err != nil {
		f := a.callFailure(err, nil)
		if status.Code(err) == codes.NotFound {
			f.lines = append(f.lines, "whoever runs the register adds people with trackctl person add")
		}
		return "", f
	}
	return got.GetDisplayName(), nil
}

// allowReplacing sees to it that no settings are lost unasked.
func (a *app) allowReplacing(ctx context.Context, s *setup, path string) error {
	before, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && string(before) == a.settingsText() && s.token == "" || s.replace {
		return nil
	}
	if err != nil {
		return &failure{code: exitNoInput, message: fmt.Sprintf("the settings file can't be read: %v", err)}
	}
	if !a.mayAsk() {
		return &failure{code: exitCantWrite, message: "nothing was written: " + path + " is there already and says something else; --replace replaces it"}
	}
	yes, err := a.confirm(ctx, path+" is there already. Replace it?")
	if err == nil && !yes {
		err = &failure{code: exitCantWrite, message: "nothing was written: " + path + " is as it was"}
	}
	return err
}
