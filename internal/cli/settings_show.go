package cli

import (
	"context"
	"errors"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
)

// setting is one setting as it counts in this run.
type setting struct {
	name  string
	value any
	// from is where it came from: a flag, a variable of the environment, a file;
	// empty for what counts when nothing is said.
	from string
}

const settingsHelp = `A flag goes before the environment, the environment before the settings file. The
file is TOML; its keys are the names below, such as

  server = "tower-yard:7733"
  person = "ab"

setup writes it. The token is never shown, only the file that it is in.`

func (a *app) settingsCommand() *cobra.Command {
	return a.runs(a.command("settings", "Show the settings that count, and where each came from", settingsHelp), func(context.Context, []string) error {
		all, err := a.effectiveSettings()
		if err != nil {
			return err
		}
		w, err := output.New(a.config(), "settings", settingColumns())
		if err != nil {
			return err
		}
		for _, s := range all {
			if err := w.Row(s); err != nil {
				return err
			}
		}
		return w.Close()
	})
}

func settingColumns() []output.Column[setting] {
	return []output.Column[setting]{
		{Name: "name", Heading: "SETTING", Value: func(s setting) any { return s.name }},
		{Name: "value", Heading: "VALUE", Value: func(s setting) any { return s.value }},
		{Name: "from", Heading: "FROM", Value: func(s setting) any { return text(s.from) }, Text: func(s setting) string { return orWord(s.from, "as built") }},
	}
}

// effectiveSettings are the settings and files of this run.
func (a *app) effectiveSettings() ([]setting, error) {
	s := &a.settings
	all := []setting{
		{"server", s.server, s.from["server"]},
		{"token_file", text(s.tokenFile), s.from["token-file"]},
		{"tls", s.line.secured(), s.from["tls"]},
		{"ca_file", text(s.line.caFile), s.from["ca-file"]},
		{"client_cert", text(s.line.clientCert), s.from["client-cert"]},
		{"client_key", text(s.line.clientKey), s.from["client-key"]},
		{"person", text(s.person), s.from["person"]},
		{"output", s.output, s.from["output"]},
		{"timeout", s.timeout.String(), s.from["timeout"]},
		{"offline_only", s.offlineOnly, s.from["offline-only"]},
	}
	file, err := a.fileSettings()
	if err != nil {
		return nil, err
	}
	folderFrom := s.from["folder"]
	if folderFrom == "" && file.folder != "" {
		folderFrom = file.path
	}
	for _, f := range []struct {
		name string
		find func() (string, error)
		from string
	}{
		{"folder", a.deviceFolder, folderFrom},
		{"settings_file", a.settingsFile, s.from["folder"]},
		{"at_file", a.atFile, s.from["folder"]},
	} {
		path, err := f.find()
		if err != nil {
			// There is no place for it: nothing is kept, and nothing is wrong with asking.
			path = ""
		}
		if path != "" {
			if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
				path += " (not there yet)"
			}
		}
		all = append(all, setting{f.name, text(path), f.from})
	}
	return all, nil
}
