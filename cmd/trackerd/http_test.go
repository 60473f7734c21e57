package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"jointledger/internal/cli"
	"jointledger/proto/openapi"
)

// examples are the commands of a document and what they print.
func examples(t *testing.T, text string) (commands, answers []string) {
	t.Helper()
	for _, part := range strings.Split(text, "\n```sh\n")[1:] {
		command, rest, whole := strings.Cut(part, "\n```\n")
		if _, answer, found := strings.Cut(rest, "```json\n"); whole && found {
			answer, _, _ = strings.Cut(answer, "\n```\n")
			commands, answers = append(commands, command), append(answers, answer)
		}
	}
	return commands, answers
}

// values are the JSON values of a text, one after the other.
func values(t *testing.T, text string) []any {
	t.Helper()
	var all []any
	for d := json.NewDecoder(strings.NewReader(text)); ; {
		var v any
		if err := d.Decode(&v); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		all = append(all, v)
	}
}

// like says whether a value is as it was told; "…" stands for any.
func like(told, got any) bool {
	switch told := told.(type) {
	case string:
		return told == "…" || told == got
	case []any:
		got, ok := got.([]any)
		if !ok || len(got) != len(told) {
			return false
		}
		for i := range told {
			if !like(told[i], got[i]) {
				return false
			}
		}
		return true
	case map[string]any:
		got, ok := got.(map[string]any)
		if !ok || len(got) != len(told) {
			return false
		}
		for name := range told {
			if _, there := got[name]; !there || !like(told[name], got[name]) {
				return false
			}
		}
		return true
	}
	return reflect.DeepEqual(told, got)
}

func TestLikeTellsApart(t *testing.T) {
	told := values(t, `{"a": ["…", 1], "b": true}`)[0]
	for text, want := range map[string]bool{
		`{"a": [null, 1], "b": true}`: true, `{"a": [null, 2], "b": true}`: false, `{"a": [1], "b": true}`: false,
		`{"a": [1, 1]}`: false, `{"a": [1, 1], "c": true}`: false, `{"a": [1, 1], "b": true, "c": 1}`: false,
	} {
		if got := like(told, values(t, text)[0]); got != want {
			t.Errorf("%s: %v", text, got)
		}
	}
}

// The examples of docs/http.md are run as they stand there, by curl.
func TestTheExamplesOverHTTPAreReal(t *testing.T) {
	if _, err := exec.LookPath("curl"); err != nil {
		t.Fatal("curl is needed; `make curl` installs it")
	}
	data := t.TempDir()
	p := startProgram(t, nil, "serve", "--data", data, "--listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0")
	address := p.logged(`msg="JSON over HTTP" address=(\S+)`)
	t.Setenv("JOINTLEDGER_SERVER", p.addr)
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	var out, errs bytes.Buffer
	if code := cli.Run(t.Context(), []string{"import", "../../testdata/demo"}, strings.NewReader(""), &out, &errs); code != 0 {
		t.Fatalf("the demo's fleet: status %d; %s", code, errs.String())
	}
	token := strings.TrimSpace(readText(t, filepath.Join(data, "administrator.token")))

	folder := t.TempDir()
	commands, answers := examples(t, readText(t, "../../docs/http.md"))
	if len(commands) < 6 {
		t.Fatalf("only %d examples were found", len(commands))
	}
	for i, command := range commands {
		c := exec.Command("bash", "-euo", "pipefail", "-c", command)
		c.Dir = folder
		c.Env = append(os.Environ(), "URL=http://"+address, "TOKEN="+token, "NO_PROXY=*")
		var stderr bytes.Buffer
		c.Stderr = &stderr
		printed, err := c.Output()
		if err != nil {
			t.Fatalf("%v: %s\n%s", err, stderr.String(), command)
		}
		if told, got := values(t, answers[i]), values(t, string(printed)); !like(told, got) {
			t.Errorf("%s\nprints\n%s\nand is told to print\n%s", command, printed, answers[i])
		}
	}
	p.signal(os.Interrupt)
	if err := p.ended(); err != nil {
		t.Errorf("%v; log: %s", err, p.log)
	}
}

// A stop lets a watch end, and with it the listener for HTTP.
func TestAWatchOverHTTPEndsWithTheServer(t *testing.T) {
	p := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0")
	url := "http://" + p.logged(`msg="JSON over HTTP" address=(\S+)`)
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	answer, err := client.Post(url+"/jointledger.v1.AlarmService/WatchAlarms", "application/json", strings.NewReader("{}"))
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	first := make([]byte, 1)
	if _, err := io.ReadFull(answer.Body, first); err != nil {
		t.Fatal(err)
	}
	p.signal(os.Interrupt)
	rest, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	said := values(t, string(first)+string(rest))
	if last, ok := said[len(said)-1].(map[string]any); !ok || last["error"] == nil {
		t.Errorf("it ends with %v; expected an error that says why", said[len(said)-1])
	}
	if err := p.ended(); err != nil {
		t.Errorf("%v; log: %s", err, p.log)
	}
}

func TestSettingsOfHTTP(t *testing.T) {
	for _, c := range []struct {
		says string
		args []string
	}{
		{"expected HOST:PORT", []string{"--http-listen", "here"}},
		{"http-origin says which pages", []string{"--http-origin", "https://board.example.com"}},
		{"can't be allowed", []string{"--http-listen", "127.0.0.1:0", "--http-origin", "*"}},
		{"expected an origin", []string{"--http-listen", "127.0.0.1:0", "--http-origin", "https://board.example.com/page"}},
		{"give --tls-cert", []string{"--http-listen", "0.0.0.0:0"}},
	} {
		code, _, stderr := trackerd(t, append([]string{"serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0"}, c.args...)...)
		if code == 0 || !strings.Contains(stderr, c.says) {
			t.Errorf("%q: status %d; %s", c.args, code, stderr)
		}
	}
}

// The description that is served is that of the tree.
func TestTheDescriptionIsServed(t *testing.T) {
	p := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0")
	answer, err := http.Get("http://" + p.logged(`msg="JSON over HTTP" address=(\S+)`) + "/openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	defer http.DefaultClient.CloseIdleConnections()
	defer answer.Body.Close()
	got, err := io.ReadAll(answer.Body)
	if err != nil || !bytes.Equal(got, openapi.Document) {
		t.Errorf("%d bytes, %v", len(got), err)
	}
}
