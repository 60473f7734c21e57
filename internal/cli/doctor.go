package cli

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
)

// The words for what a check found.
const (
	checkOK    = "ok"
	checkLook  = "look"
	checkWrong = "wrong"
)

// deviceCheck is one thing that doctor looked at.
type deviceCheck struct {
	name, state, message string
	// remedy is what to do; empty where nothing is to be done.
	remedy string
}

const doctorHelp = `Looks at everything that entries depend on: the settings, the server with its version,
token and clock, the line to it, what this device carries and how old it is, what waits
to be sent, and the disk. Each is one line: ok, look (works, but see to it) or wrong,
with what to do.

It exits with 1 when something is wrong.`

func (a *app) doctorCommand() *cobra.Command {
	cmd := a.command("doctor", "Check this device: clock, server, token, carried data, entries that wait, disk", doctorHelp)
	return a.runsAnyway(cmd, func(ctx context.Context, _ []string, wrong error) error {
		checks := []deviceCheck{a.checkSettings(wrong)}
		checks = append(checks, checkEnvironment(os.Environ())...)
		checks = append(checks, a.checkServer(ctx)...)
		checks = append(checks, a.checkZone())
		checks = append(checks, a.checkFolder()...)
		checks = append(checks, a.checkCarried()...)
		checks = append(checks, a.checkOutbox()...)
		checks = append(checks, a.checkInHand()...)
		return a.tellChecks(checks)
	})
}

// runsAnyway gives a command its work, which is done also when the settings are wrong:
// the work is told how.
func (a *app) runsAnyway(cmd *cobra.Command, run func(ctx context.Context, args []string, wrong error) error) *cobra.Command {
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		file, wrong := a.fileSettings()
		if wrong != nil {
			file = &fileSettings{}
			file.path, _ = a.settingsFile() // it was found, or else nothing was wrong with it
			a.fromFile = file
		}
		if err := a.settings.read(cmd.Flags(), a.getenv, file); wrong == nil {
			wrong = err
		}
		a.format = a.settings.format
		if a.format == "" {
			a.format = output.Table
		}
		a.running = true
		return a.exporting(cmd, func(ctx context.Context, args []string) error { return run(ctx, args, wrong) }, args)
	}
	return cmd
}

func checkColumns() []output.Column[deviceCheck] {
	return []output.Column[deviceCheck]{
		{Name: "check", Value: func(c deviceCheck) any { return c.name }},
		{Name: "state", Value: func(c deviceCheck) any { return c.state }},
		{Name: "message", Value: func(c deviceCheck) any { return c.message }},
		{Name: "remedy", Value: func(c deviceCheck) any { return text(c.remedy) }},
	}
}

// tellChecks shows what was found, and fails when something is wrong.
func (a *app) tellChecks(checks []deviceCheck) error {
	wrong := 0
	for _, c := range checks {
		if c.state == checkWrong {
			wrong++
		}
	}
	if err := a.writeChecks(checks); err != nil {
		return err
	}
	if wrong > 0 {
		return &failure{code: exitNotComplete}
	}
	return nil
}

func (a *app) writeChecks(checks []deviceCheck) error {
	if a.format != output.Table {
		w, err := output.New(a.config(), "checks", checkColumns())
		if err != nil {
			return err
		}
		for _, c := range checks {
			if err := w.Row(c); err != nil {
				return err
			}
		}
		return w.Close()
	}
	for _, c := range checks {
		line := fmt.Sprintf("%-6s%s: %s", c.state, c.name, c.message)
		if c.remedy != "" {
			line += "; " + c.remedy
		}
		if _, err := fmt.Fprintln(a.out, output.Printable(line)); err != nil {
			return err
		}
	}
	return nil
}
