package cli

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
)

// What a text means to somebody at a place, without carried data: tags of a kind begin
// alike.
func TestLikelyNext(t *testing.T) {
	for _, tc := range []struct{ here, typed, want string }{
		{"RVB/CT2/C3", "c4", "RVB/CT2/C4"},
		{"RVB/CT2/C3", "ct3", "RVB/CT3"},
		{"RVB/CT2/C3", "ct3/c1", "RVB/CT3/C1"},
		{"RVB/CT2/C3", "j014", "RVB/CT2/C3/J014"},
		{"RVB/CT2", "c1", "RVB/CT2/C1"},
		{"RVB", "ct1", "RVB/CT1"},
		{"RVB", "ct1/c2", "RVB/CT1/C2"},
		// A site, which has no number: the text is a whole name.
		{"RVB/CT2/C3", "pen", ""},
		{"RVB/CT2/C3", "pen/ct1", ""},
		{"RVB/CT2/C3", "c1/j1/x1/y1", ""},
	} {
		here, err := ledger.ParsePlace(tc.here)
		if err != nil {
			t.Fatal(err)
		}
		got, ok := likelyNext(here, tc.typed, 4)
		if got.String() != tc.want && (ok || tc.want != "") {
			t.Errorf("at %s, %s is %s (%v), expected %q", tc.here, tc.typed, got, ok, tc.want)
		}
	}
}

// A torque belongs to the tool that it was kept with and a batch to its treatment:
// neither outlives it, unless it is given anew or the same thing is named again.
func TestTakeForgetsWhatBelonged(t *testing.T) {
	now := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	kept := func() inHand {
		h := inHand{}
		h.take(map[string]string{"tool": "T1", "torque": "24 lbf.ft", "treatment": "anti-seize", "batch": "AS-1"}, now)
		return h
	}
	for _, tc := range []struct {
		typed map[string]string
		want  map[string]string
		lines int
	}{
		{map[string]string{"tool": "T2"}, map[string]string{"tool": "T2", "treatment": "anti-seize", "batch": "AS-1"}, 1},
		{map[string]string{"tool": "T1"}, map[string]string{"tool": "T1", "torque": "24 lbf.ft", "treatment": "anti-seize", "batch": "AS-1"}, 0},
		{map[string]string{"tool": "T2", "torque": "30 N.m"}, map[string]string{"tool": "T2", "torque": "30 N.m", "treatment": "anti-seize", "batch": "AS-1"}, 0},
		{map[string]string{"treatment": "none"}, map[string]string{"tool": "T1", "torque": "24 lbf.ft", "treatment": "none"}, 1},
		{map[string]string{"tool": ""}, map[string]string{"treatment": "anti-seize", "batch": "AS-1"}, 1},
	} {
		h := kept()
		lines := h.take(tc.typed, now)
		got := map[string]string{}
		for key, k := range h {
			got[key] = k.Value
		}
		if d := cmp.Diff(tc.want, got); d != "" || len(lines) != tc.lines {
			t.Errorf("%v: %q (-want +got):\n%s", tc.typed, lines, d)
		}
	}
}

// A shift is said to be another's after 14 hours, and not a moment before.
func TestAnotherShift(t *testing.T) {
	since := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	for after, want := range map[time.Duration]bool{0: false, 14 * time.Hour: false, 14*time.Hour + time.Second: true, -time.Hour: false} {
		if got := (keptValue{"x", since}).anotherShift(since.Add(after)); got != want {
			t.Errorf("after %s: %v", after, got)
		}
	}
}

// The settings file is read strictly, and every fault names its key.
func TestParseSettings(t *testing.T) {
	read, lines := parseSettings([]byte("server = 'h:1'\nperson = \"ab\"\ntimeout = '5s'\noutput = 'json'\nfolder = '/f'\ntoken_file = '/t'\noffline_only = true\n"))
	if len(lines) > 0 || read.server != "h:1" || read.person != "ab" || read.timeout != 5*time.Second || read.output != "json" || read.folder != "/f" || read.tokenFile != "/t" || !*read.offlineOnly {
		t.Errorf("%+v, %q", read, lines)
	}
	for text, want := range map[string]string{
		"sever = 'x'":            "sever: there is no such setting; did you mean server?",
		"person = 7":             "person: expected text between quotation marks, got 7",
		"person = ''":            "person: expected text between quotation marks",
		"timeout = '-1s'":        "timeout: expected a time above 0",
		"output = 'xml'":         "output: expected one of table, json, csv, parquet",
		"offline_only = 'maybe'": "offline_only: expected true or false",
		"person = 'a'\nperson =": "line 2, column",
		"colour = 'red'":         "colour: there is no such setting; there are server, token_file,",
	} {
		if _, lines := parseSettings([]byte(text)); len(lines) != 1 || !strings.Contains(lines[0], want) {
			t.Errorf("%q: %q, expected %q", text, lines, want)
		}
	}
}

// The folders are those of the XDG Base Directory Specification 0.8: a relative path in
// a variable is to be ignored.
func TestDeviceFolders(t *testing.T) {
	for _, tc := range []struct {
		env                  map[string]string
		data, settings, hand string
	}{
		{map[string]string{"HOME": "/home/ab"}, "/home/ab/.local/share/jointledger", "/home/ab/.config/jointledger/settings.toml", "/home/ab/.local/state/jointledger/at.toml"},
		{map[string]string{"HOME": "/home/ab", "XDG_DATA_HOME": "/d", "XDG_CONFIG_HOME": "/c", "XDG_STATE_HOME": "/s"}, "/d/jointledger", "/c/jointledger/settings.toml", "/s/jointledger/at.toml"},
		{map[string]string{"HOME": "/home/ab", "XDG_DATA_HOME": "d"}, "/home/ab/.local/share/jointledger", "/home/ab/.config/jointledger/settings.toml", "/home/ab/.local/state/jointledger/at.toml"},
		{map[string]string{"HOME": "/home/ab", envFolder: "/two"}, "/two", "/two/settings.toml", "/two/at.toml"},
		{nil, "", "", ""},
	} {
		a := &app{getenv: func(name string) string { return tc.env[name] }}
		data, dataErr := a.deviceFolder()
		settings, settingsErr := a.settingsFile()
		hand, handErr := a.atFile()
		if data != tc.data || settings != tc.settings || hand != tc.hand || (tc.data == "") != (dataErr != nil && settingsErr != nil && handErr != nil) {
			t.Errorf("%v: %q %v, %q %v, %q %v", tc.env, data, dataErr, settings, settingsErr, hand, handErr)
		}
	}
}
