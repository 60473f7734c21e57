package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"jointledger/internal/cli/output"
)

// writeToken writes the token that was typed to a file that only its owner reads, and
// gives the file's name.
func (a *app) writeToken(ctx context.Context, s *setup, path string) (string, error) {
	before, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist) || s.replace || err == nil && strings.TrimSpace(string(before)) == s.token:
	case err != nil:
		return "", &failure{code: exitNoInput, message: fmt.Sprintf("the token file can't be read: %v", err)}
	default:
		yes, err := a.confirm(ctx, path+" holds another token. Replace it?")
		if err != nil {
			return "", err
		}
		if !yes {
			return "", &failure{code: exitCantWrite, message: "nothing was written: " + path + " is as it was"}
		}
	}
	return path, writeDeviceFile(path, []byte(s.token+"\n"))
}

// settingsText is the settings file that says what is set now. What the file said
// besides is carried over.
func (a *app) settingsText() string {
	var b strings.Builder
	b.WriteString("# Written by trackctl setup; trackctl settings shows what counts.\n")
	write := func(key, value string) {
		if value != "" {
			b.WriteString(tomlLine(key, value))
		}
	}
	write("server", a.settings.server)
	if path := a.settings.tokenFile; path != "" {
		if full, err := filepath.Abs(path); err == nil {
			path = full
		}
		write("token_file", path)
	}
	l := a.settings.line.full()
	if l.tls != "" {
		fmt.Fprintf(&b, "tls = %t\n", l.secured())
	}
	write("ca_file", l.caFile)
	write("client_cert", l.clientCert)
	write("client_key", l.clientKey)
	write("person", a.settings.person)
	if file := a.fromFile; file != nil {
		write("output", file.output)
		if file.timeout > 0 {
			write("timeout", file.timeout.String())
		}
		write("folder", file.folder)
		if file.offlineOnly != nil {
			fmt.Fprintf(&b, "offline_only = %t\n", *file.offlineOnly)
		}
	}
	return b.String()
}

// written is what setup wrote.
type written struct{ file, server, tokenFile, person string }

func writtenColumns() []output.Column[written] {
	return []output.Column[written]{
		{Name: "file", Value: func(w written) any { return w.file }},
		{Name: "server", Value: func(w written) any { return w.server }},
		{Name: "token_file", Value: func(w written) any { return text(w.tokenFile) }},
		{Name: "person", Value: func(w written) any { return text(w.person) }},
	}
}

func (a *app) tellSetup(path string) error {
	if a.format != output.Table {
		return output.Show(a.config(), "written", writtenColumns(), written{path, a.settings.server, a.settings.tokenFile, a.settings.person})
	}
	_, err := fmt.Fprintf(a.out, "written: %s\ntrackctl doctor checks this device; trackctl carry SITE brings what is needed without signal\n", output.Printable(path))
	return err
}

// checkServerName checks what was typed for a server.
func checkServerName(text string) error {
	s := settings{server: text, timeout: defaultTimeout, output: string(output.Table)}
	return s.checkServer("server", exitUsage)
}

// tokenProblem says what keeps a text from being a token; empty for nothing.
func tokenProblem(token string) string {
	if token == "" || strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' }) {
		return "expected one token without spaces"
	}
	return ""
}
