package main

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// FuzzSettingsFile: a settings file is read whole or refused, with the line of each thing
// that is wrong; what is read are settings that there are, and reading it again gives the
// same.
func FuzzSettingsFile(f *testing.F) {
	for _, text := range []string{
		"listen = \"127.0.0.1:0\"\nrate = 7\nhttp_origin = [\"https://yard.example\"]\n", "listen = \n", "a.b = 1\n[listen]\n[[rate]]\n", "\"li\\u0073ten\" = 'x'\n",
		"listen = \"\"\"\na\nb\"\"\"\nlisen = 1\n", "rate = nan\nrate_burst = 1_000\ndata = 1979-05-27\n", "\ufefflisten = \"x\"\n", "dsn = [\"postgres://u:pw@h/db\"]\n", "rate = 1e400\n", "\xff", "'' = 1\n", "listen = {a = 1}\n",
	} {
		f.Add([]byte(text))
	}
	known := settingFlags()
	path := filepath.Join(f.TempDir(), "trackerd.toml")
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		values, err := (&settings{file: path}).readFile(known)
		again, repeated := (&settings{file: path}).readFile(known)
		if (err == nil) != (repeated == nil) || err != nil && err.Error() != repeated.Error() || len(again) != len(values) {
			t.Errorf("%v, then %v", err, repeated)
		}
		lines := strings.Count(string(data), "\n") + 1
		if err != nil {
			var wrong configError
			if !errors.As(err, &wrong) {
				t.Errorf("%v", err)
			}
			for _, m := range lineInText().FindAllStringSubmatch(err.Error(), -1) {
				checkLine(t, m[1], lines, err.Error())
			}
		}
		for key, v := range values {
			if !known[strings.ReplaceAll(key, "_", "-")] {
				t.Errorf("a setting %q", key)
			}
			_, line, _ := strings.Cut(v.where, ", line ")
			checkLine(t, line, lines, key)
		}
	})
}

func lineInText() *regexp.Regexp { return regexp.MustCompile(`trackerd\.toml, line (\d+): `) }

func checkLine(t *testing.T, text string, lines int, what string) {
	t.Helper()
	if n, err := strconv.Atoi(text); err != nil || n < 1 || n > lines {
		t.Errorf("%s: line %s of %d", what, text, lines)
	}
}
