package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/nearest"
)

// fileSettings is what the settings file says; empty for what it does not.
type fileSettings struct {
	// path is where the file is or would be; empty where there is no place for one.
	path                                      string
	server, tokenFile, person, output, folder string
	timeout                                   time.Duration
	offlineOnly                               *bool
	line                                      line
}

// settingKeys are the keys of the settings file, in the order in which they are
// written.
var settingKeys = []string{"server", "token_file", "tls", "ca_file", "client_cert", "client_key", "person", "output", "timeout", "folder", "offline_only"}

// fileSettings reads the settings file, once in a run; what a file that is not there
// says is nothing. It fails with exitConfig, naming file and key.
func (a *app) fileSettings() (*fileSettings, error) {
	if a.fromFile != nil {
		return a.fromFile, nil
	}
	path, err := a.settingsFile()
	if err != nil {
		// No folder to look in: there is no file either.
		a.fromFile = &fileSettings{}
		return a.fromFile, nil //nolint:nilerr // see above
	}
	data, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		a.fromFile = &fileSettings{path: path}
		return a.fromFile, nil
	case err != nil:
		return nil, &failure{code: exitConfig, message: fmt.Sprintf("the settings file can't be read: %v", err)}
	}
	read, lines := parseSettings(data)
	if len(lines) > 0 {
		return nil, &failure{code: exitConfig, message: "the settings file " + path + " is wrong", lines: lines}
	}
	read.path = path
	a.fromFile = read
	return read, nil
}

// parseSettings reads the text of a settings file; lines say what is wrong, a key
// each.
func parseSettings(data []byte) (read *fileSettings, lines []string) {
	given := map[string]any{}
	if err := toml.Unmarshal(data, &given); err != nil {
		return nil, []string{tomlProblem(err)}
	}
	read = &fileSettings{}
	texts := map[string]*string{"server": &read.server, "token_file": &read.tokenFile, "person": &read.person, "output": &read.output, "folder": &read.folder,
		"ca_file": &read.line.caFile, "client_cert": &read.line.clientCert, "client_key": &read.line.clientKey}
	for key, value := range given {
		problem := ""
		switch {
		case texts[key] != nil:
			problem = readText(texts[key], value)
		case key == "timeout":
			problem = readTimeout(&read.timeout, value)
		case key == "tls":
			yes, ok := value.(bool)
			if read.line.tls = fmt.Sprint(yes); !ok {
				problem = fmt.Sprintf("expected true or false, got %v", value)
			}
		case key == "offline_only":
			yes, ok := value.(bool)
			if read.offlineOnly = &yes; !ok {
				problem = fmt.Sprintf("expected true or false, got %v", value)
			}
		default:
			problem = unknownSetting(key)
		}
		if problem == "" && key == "output" {
			if _, err := output.ParseFormat(read.output); err != nil {
				problem = err.Error()
			}
		}
		if problem != "" {
			lines = append(lines, key+": "+problem)
		}
	}
	slices.Sort(lines)
	return read, lines
}

func readText(dst *string, value any) string {
	text, ok := value.(string)
	if !ok || strings.TrimSpace(text) == "" {
		return fmt.Sprintf(`expected text between quotation marks, got %v`, value)
	}
	*dst = text
	return ""
}

func readTimeout(dst *time.Duration, value any) string {
	text, ok := value.(string)
	d, err := time.ParseDuration(text)
	if !ok || err != nil || d <= 0 {
		return fmt.Sprintf(`expected a time above 0 between quotation marks such as "30s", got %v`, value)
	}
	*dst = d
	return ""
}

func unknownSetting(key string) string {
	if n, ok := nearest.Name(key, settingKeys); ok {
		return "there is no such setting; did you mean " + n + "?"
	}
	return "there is no such setting; there are " + strings.Join(settingKeys, ", ")
}

// tomlProblem says where a file is no TOML.
func tomlProblem(err error) string {
	var wrong *toml.DecodeError
	if !errors.As(err, &wrong) {
		return err.Error()
	}
	line, column := wrong.Position()
	return fmt.Sprintf("line %d, column %d: %s", line, column, strings.TrimPrefix(wrong.Error(), "toml: "))
}

// tomlLine writes one key and its text.
func tomlLine(key, text string) string {
	line, err := toml.Marshal(map[string]string{key: text})
	if err != nil {
		// Any text can be written; only a mistake in this program comes here.
		return fmt.Sprintf("# %s: %v\n", key, csvfile.Quote(text))
	}
	return string(line)
}
