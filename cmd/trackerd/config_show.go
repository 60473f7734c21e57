package main

import (
	"fmt"
	"io"
	"regexp"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func configCommand() *cobra.Command {
	var o serveOptions
	c := &cobra.Command{
		Use:   "config",
		Short: "Show the settings that count, and where each came from",
		Long: `Shows every setting as "trackerd serve" would take it with the same flags, in the
same environment and with the same file, and beside it where it came from. Passwords
are not shown. What it prints is TOML, so it can begin a settings file.

` + settingsText + "\n\n" + exitCodesText,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := o.complete(); err != nil {
				return err
			}
			o.settings.show(c.OutOrStdout())
			return o.check()
		},
	}
	o.allFlags(c)
	return c
}

// show prints every setting as a line of the settings file.
func (s *settings) show(w io.Writer) {
	var lines [][2]string
	widest := 0
	s.flags.VisitAll(func(f *pflag.Flag) {
		if from, ok := s.from[f.Name]; ok {
			line := keyOf(f.Name) + " = " + shownValue(f)
			widest = max(widest, min(len(line), 60))
			lines = append(lines, [2]string{line, from.shown()})
		}
	})
	for _, l := range lines {
		fmt.Fprintf(w, "%-*s  # %s\n", widest, l[0], l[1])
	}
}

func (o origin) shown() string {
	if o.rank == asBuilt {
		return "as built"
	}
	return o.name
}

// shownValue is a value as TOML, without what is secret in it.
func shownValue(f *pflag.Flag) string {
	text := f.Value.String()
	if secrets[f.Name] {
		text = withoutPassword(text)
	}
	switch f.Value.Type() {
	case "bool", "int", "float64":
		return text
	}
	var value any = text
	if list, ok := f.Value.(pflag.SliceValue); ok {
		value = list.GetSlice()
	}
	line, err := toml.Marshal(map[string]any{"v": value})
	if err != nil {
		return "'(can't be shown)'"
	}
	return strings.TrimSpace(strings.TrimPrefix(string(line), "v = "))
}

// hidden stands where a secret was.
const hidden = "(hidden)"

// passwordWord finds a password given by its name, in a connection string of either
// form.
var passwordWord = regexp.MustCompile(`(?i)((?:ssl)?password\s*=\s*)('(?:[^'\\]|\\.)*'?|[^\s&]*)`)

// withoutPassword gives a connection string without its passwords. Where it is not
// plain what belongs to one, more is hidden than need be.
func withoutPassword(dsn string) string {
	if start := strings.Index(dsn, "://"); start >= 0 {
		start += len("://")
		end := strings.LastIndexByte(dsn, '@')
		if colon := strings.IndexByte(dsn[start:], ':'); colon >= 0 && start+colon < end {
			dsn = dsn[:start+colon+1] + hidden + dsn[end:]
		}
	}
	return passwordWord.ReplaceAllString(dsn, "${1}"+hidden)
}
