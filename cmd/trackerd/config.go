package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// A setting is a flag of serve. It may also be given in the environment, as
// JOINTLEDGER_ and its name in capitals, and in the settings file, with underscores. A
// flag goes before the environment, the environment before the file.

// configVariable names the environment variable of the settings file.
const configVariable = "JOINTLEDGER_CONFIG"

// secrets are the settings that hold a password; they are never shown.
var secrets = map[string]bool{"dsn": true, "read-dsn": true}

const settingsText = `Each flag of "trackerd serve" may also be given in the environment, as JOINTLEDGER_
and its name in capitals (--log-level as JOINTLEDGER_LOG_LEVEL), and in the TOML file
that --config or JOINTLEDGER_CONFIG names, with underscores (log_level = "warn"). A
flag goes before the environment, the environment before the file. "trackerd config"
shows what counts, and where it came from.`

// keyOf is the name of a flag in the settings file.
func keyOf(flag string) string { return strings.ReplaceAll(flag, "-", "_") }

// variableOf is the name of a flag in the environment.
func variableOf(flag string) string { return variablePrefix + strings.ToUpper(keyOf(flag)) }

// isSetting says whether a flag is one: every one of serve but for those that say where
// settings are, or ask for help.
func isSetting(flag string) bool { return flag != "config" && flag != "help" }

// settingFlags are all settings that there are, by the name of the flag.
func settingFlags() map[string]bool {
	all := map[string]bool{}
	serveCommand().Flags().VisitAll(func(f *pflag.Flag) {
		if isSetting(f.Name) {
			all[f.Name] = true
		}
	})
	return all
}

// rank tells which of two sources goes before the other.
type rank int

const (
	asBuilt rank = iota
	inFile
	inEnvironment
	onCommandLine
)

// origin is where a setting came from.
type origin struct {
	rank rank
	// name is what to show: the flag, the variable, or file and line.
	name string
}

// settings are the flags of a command that are settings, and where each came from.
type settings struct {
	flags *pflag.FlagSet
	file  string
	from  map[string]origin
}

// complete gives each setting that the command line does not name the value of the
// environment or of the file, once. Its errors name the flag, the variable or the line
// of the file, and what was expected.
func (s *settings) complete() error {
	if s.from != nil {
		return nil
	}
	known := settingFlags()
	inFile, err := s.readFile(known)
	if err != nil {
		return err
	}
	s.from = map[string]origin{}
	s.flags.VisitAll(func(f *pflag.Flag) {
		if !known[f.Name] {
			return
		}
		from, problem := take(f, inFile)
		s.from[f.Name] = from
		if problem != nil {
			err = errors.Join(err, configError{fmt.Errorf("%s: %w", from.name, problem)})
		}
	})
	return err
}

// take sets one flag from where it is given.
func take(f *pflag.Flag, file map[string]fileValue) (origin, error) {
	text := os.Getenv(variableOf(f.Name))
	value, ok := file[keyOf(f.Name)]
	switch {
	case f.Changed:
		return origin{onCommandLine, "--" + f.Name}, nil
	case text != "":
		values := []string{text}
		if _, list := f.Value.(pflag.SliceValue); list {
			values = strings.Split(text, ",")
		}
		return origin{inEnvironment, variableOf(f.Name)}, set(f, values, text)
	case ok:
		return origin{inFile, value.where}, set(f, value.texts, value.raw)
	}
	return origin{}, nil
}

// set gives a flag its value without marking it as given on the command line.
func set(f *pflag.Flag, texts []string, shown string) error {
	if list, ok := f.Value.(pflag.SliceValue); ok {
		trimmed := make([]string, 0, len(texts))
		for _, t := range texts {
			trimmed = append(trimmed, strings.TrimSpace(t))
		}
		return list.Replace(trimmed)
	}
	if len(texts) != 1 {
		return fmt.Errorf("%s: expected one value, not a list", keyOf(f.Name))
	}
	if f.Value.Set(texts[0]) == nil {
		return nil
	}
	// The library's own words name its types and repeat the value, which may be secret.
	if secrets[f.Name] {
		shown = hidden
	}
	return fmt.Errorf("%s: expected %s, got %s", keyOf(f.Name), expected(f), shown)
}

var kindWords = map[string]string{
	"bool": "true or false", "duration": "a time such as 30s", "int": "a whole number", "float64": "a number",
	"string": "text between quotation marks",
}

func expected(f *pflag.Flag) string {
	if w, ok := kindWords[f.Value.Type()]; ok {
		return w
	}
	return f.Value.Type()
}

// given says how high the source of a setting ranks.
func (s *settings) given(flag string) rank { return s.from[flag].rank }

// configFlag adds the flag that names the settings file.
func (s *settings) configFlag(c *cobra.Command) {
	s.flags = c.Flags()
	s.flags.StringVar(&s.file, "config", "", "TOML `file` with settings (environment: "+configVariable+")")
}
