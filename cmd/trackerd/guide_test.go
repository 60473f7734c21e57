package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"

	"jointledger/cmd/trackerd/metrics"
)

func readText(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

const guide = "../../docs/operating.md"

// fenced gives the blocks of a document in a language.
func fenced(text, language string) []string {
	var blocks []string
	for _, found := range regexp.MustCompile("(?ms)^```"+language+"\n(.*?)^```$").FindAllStringSubmatch(text, -1) {
		blocks = append(blocks, found[1])
	}
	return blocks
}

// wantCommand looks up a command line of trackerd: the command and each flag must be
// there.
func wantCommand(t *testing.T, where, line string) {
	t.Helper()
	args := strings.Fields(line)
	c, _, err := rootCommand().Find(args)
	if err != nil || c.Name() == "trackerd" {
		t.Errorf("%s: there is no command %q: %v", where, line, err)
		return
	}
	for _, a := range args {
		flag, _, _ := strings.Cut(a, "=")
		if name, ok := strings.CutPrefix(flag, "--"); ok && c.Flags().Lookup(name) == nil {
			t.Errorf("%s: %s has no flag %s", where, c.CommandPath(), flag)
		}
	}
}

func TestTheUnitFileIsTrue(t *testing.T) {
	unit := readText(t, "deploy/trackerd.service")
	start := regexp.MustCompile(`(?m)^ExecStart=/usr/local/bin/trackerd (.*)$`).FindStringSubmatch(unit)
	if start == nil {
		t.Fatal("it starts something else")
	}
	wantCommand(t, "unit", start[1])
	for _, hardened := range []string{"NoNewPrivileges=yes", "ProtectSystem=strict", "ProtectHome=yes", "CapabilityBoundingSet=\n", "User=jointledger", "StateDirectory=jointledger", "ExecReload=/bin/kill -HUP $MAINPID"} {
		if !strings.Contains(unit, hardened) {
			t.Errorf("%s is missing", strings.TrimSpace(hardened))
		}
	}
	// It waits longer than the server may take as built.
	if !strings.Contains(unit, "TimeoutStopSec=90") {
		t.Error("the time to stop is another; is it still above stop_time?")
	}
	wantExitStatuses(t, unit)
}

// wantExitStatuses looks whether the statuses after which it is not started again are
// those of a command line and of a configuration that are wrong.
func wantExitStatuses(t *testing.T, unit string) {
	t.Helper()
	line := regexp.MustCompile(`(?m)^RestartPreventExitStatus=(\d+) (\d+)$`).FindStringSubmatch(unit)
	if line == nil || line[1] != "64" || line[2] != "78" || exitUsage != 64 || exitConfig != 78 {
		t.Errorf("%v; expected %d and %d", line, exitUsage, exitConfig)
	}
}

func TestTheContainerFileIsTrue(t *testing.T) {
	file := readText(t, "deploy/Containerfile")
	known := settingFlags()
	variables := regexp.MustCompile(`JOINTLEDGER_([A-Z_]+)=`).FindAllStringSubmatch(file, -1)
	if len(variables) < 4 {
		t.Errorf("only %d variables are set", len(variables))
	}
	for _, v := range variables {
		if flag := strings.ToLower(strings.ReplaceAll(v[1], "_", "-")); !known[flag] {
			t.Errorf("%s is no setting", v[0])
		}
	}
	for _, of := range []string{"HEALTHCHECK", "CMD"} {
		command := regexp.MustCompile(`(?m)^` + of + `.*\[(.*)\]$`).FindStringSubmatch(file)
		if command == nil {
			t.Fatalf("no %s", of)
		}
		args := strings.Fields(strings.NewReplacer(`"`, "", ",", " ", "/trackerd", "").Replace(command[1]))
		wantCommand(t, of, strings.Join(args, " "))
	}
	for _, line := range []string{"\nFROM scratch\n", "\nUSER 65532:65532\n", "CGO_ENABLED=0 go build"} {
		if !strings.Contains(file, line) {
			t.Errorf("%q is missing", line)
		}
	}
}

func TestTheSettingsInTheGuideAreReal(t *testing.T) {
	text := readText(t, guide)
	blocks := append(fenced(text, "toml"), readText(t, "deploy/trackerd.toml"))
	if len(blocks) < 2 {
		t.Fatal("there is no settings file in the guide")
	}
	for _, block := range blocks {
		if err := toml.Unmarshal([]byte(block), &map[string]any{}); err != nil {
			t.Errorf("%v in %s", err, block)
		}
		if code, _, stderr := trackerd(t, "config", "--config", settingsFile(t, block)); code != 0 {
			t.Errorf("status %d; %s", code, stderr)
		}
	}
	// Every setting is told of, and no other.
	known := settingFlags()
	_, table, _ := strings.Cut(text, "| key | built in |")
	table, _, _ = strings.Cut(table, "\n\n")
	told := map[string]bool{}
	for row := range strings.Lines(table) {
		cells := strings.Split(row, "|")
		if len(cells) < 2 {
			continue
		}
		for _, key := range regexp.MustCompile("`([a-z_]+)`").FindAllStringSubmatch(cells[1], -1) {
			flag := strings.ReplaceAll(key[1], "_", "-")
			told[flag] = true
			if !known[flag] {
				t.Errorf("%s is no setting", key[1])
			}
		}
	}
	for flag := range known {
		if !told[flag] {
			t.Errorf("the guide does not tell of %s", keyOf(flag))
		}
	}
}

// commandLine is a line of a shell that runs trackerd, as somebody, or in a container.
var commandLine = regexp.MustCompile(`^(?:sudo -u jointledger (?:\S+=\S+ )?|podman exec trackerd /)?trackerd (.+)$`)

func TestTheCommandsInTheGuideAreReal(t *testing.T) {
	text := readText(t, guide)
	lines := 0
	for _, block := range append(fenced(text, "sh"), inline(text)...) {
		for line := range strings.Lines(block) {
			if m := commandLine.FindStringSubmatch(strings.TrimSpace(line)); m != nil {
				lines++
				wantCommand(t, "guide", m[1])
			}
		}
	}
	if lines < 20 {
		t.Errorf("only %d commands were found", lines)
	}
}

// inline gives what stands between back quotes and begins with a command.
func inline(text string) []string {
	var found []string
	for _, m := range regexp.MustCompile("`(trackerd [a-z][^`]*)`").FindAllStringSubmatch(text, -1) {
		if m[1] != "trackerd COMMAND --help" {
			found = append(found, m[1])
		}
	}
	return found
}

func TestTheMetricsInTheGuideAreReal(t *testing.T) {
	told := regexp.MustCompile(`jointledger_[a-z_]+`).FindAllString(readText(t, guide), -1)
	if len(told) < 15 {
		t.Errorf("only %d are told of", len(told))
	}
	real := metrics.New("v", "1.0").Names()
	for _, name := range append(told, real...) {
		base := strings.TrimSuffix(name, "_bucket")
		if base == "jointledger_certificate_expiry_timestamp_seconds" {
			continue // only with TLS; TestMetricsOverTLS reads it
		}
		if !containsName(real, base) {
			t.Errorf("%s is not measured", name)
		}
		if !containsName(told, name) {
			t.Errorf("the guide does not tell of %s", name)
		}
	}
}

func containsName(names []string, name string) bool {
	for _, n := range names {
		if n == name {
			return true
		}
	}
	return false
}

// A message that the guide explains is one that a program says.
func TestTheMessagesInTheGuideAreReal(t *testing.T) {
	_, table, found := strings.Cut(readText(t, guide), "| message | where |")
	if !found {
		t.Fatal("there is no table of messages")
	}
	var sources strings.Builder
	for _, folder := range []string{"..", "../../internal/rpc", "../../internal/store", "../../internal/cli"} {
		err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
			if err == nil && strings.HasSuffix(path, ".go") && !strings.HasSuffix(path, "_test.go") {
				sources.WriteString(readText(t, path))
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	library := map[string]bool{"private key does not match public key": true} // crypto/tls; TestTLSByConfiguration reads it
	rows := 0
	for row := range strings.Lines(table) {
		m := regexp.MustCompile("^\\| `([^`]+)` \\|").FindStringSubmatch(row)
		if m == nil {
			continue
		}
		rows++
		if !library[m[1]] && !strings.Contains(sources.String(), m[1]) {
			t.Errorf("no program says %q", m[1])
		}
	}
	if rows < 10 {
		t.Errorf("only %d messages were found", rows)
	}
}

// Links within the documents lead somewhere.
func TestLinksOfTheDocuments(t *testing.T) {
	links := 0
	for _, document := range []string{guide, "../../README.md", "../../DEVELOPERS.md"} {
		text := readText(t, document)
		for _, m := range regexp.MustCompile(`\]\(([^)\s]+)\)`).FindAllStringSubmatch(text, -1) {
			target, anchor, _ := strings.Cut(m[1], "#")
			if strings.Contains(target, "://") {
				continue
			}
			links++
			in := text
			if target != "" {
				path := filepath.Join(filepath.Dir(document), target)
				if _, err := os.Stat(path); err != nil {
					t.Errorf("%s: %v", document, err)
					continue
				}
				if anchor == "" {
					continue
				}
				in = readText(t, path)
			}
			if !anchors(in)[anchor] {
				t.Errorf("%s: there is no heading #%s", document, anchor)
			}
		}
	}
	if links < 15 {
		t.Errorf("only %d links were found", links)
	}
}

// anchors are those that a document's headings get where it is shown.
func anchors(text string) map[string]bool {
	all := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^#+ (.*)$`).FindAllStringSubmatch(text, -1) {
		all[regexp.MustCompile(`[^a-z0-9 _-]`).ReplaceAllString(strings.ToLower(m[1]), "")] = true
	}
	spaced := map[string]bool{}
	for a := range all {
		spaced[strings.ReplaceAll(a, " ", "-")] = true
	}
	return spaced
}
