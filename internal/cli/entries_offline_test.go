//go:build unix

package cli_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"jointledger/internal/cli"
)

// offlineEntry is one command line without a signal.
type offlineEntry struct {
	// command are the words of the command, args what follows them.
	command, args string
	// code is the exit code; says stands in what it prints for a person.
	code int
	says string
	// rules are the rules that it must be told to break, in any order; none for none.
	rules string
}

// offlineEntries is a story in which each command that enters a record has its part. The
// ids in capitals are those of newOfflineDeck.
var offlineEntries = []offlineEntry{
	{"tighten", "ash/ct1/c1/j001 2 --lot M10-A --treatment none --tool T2 --torque 5N.m", 0, "", "tool-calibration-unknown tool-range torque-window torque-basis treatment-missing person-unqualified"},
	{"incident", "galling ash/ct1/c1/j001 1 --lot M10-A --treatment anti-seize", 0, "", ""},
	{"incident", "galling ash/ct1/c1/j006 1 --lot M10-A --treatment anti-seize --at TOMORROW", 0, "", "clock"},
	{"incident", "dropped-tool ash --tool T1", 0, "", ""},
	{"seal", "ash/ct1/c1/j004 --sealant strip --surface 2C --width 25mm", 0, "", "seal-cold person-unqualified"},
	{"inspect", "visual ash/ct1/c1/j001 --result pass", 0, "", ""},
	{"hold place", "ash/ct1/c1/j002 --reason doubtful", 0, "", ""},
	{"hold place", "--lot M10-A --site ash --reason galls", 0, "", ""},
	{"tighten", "ash/ct1/c1/j003 2 --lot M10-A --treatment anti-seize", 0, "", "lot-held person-unqualified"},
	{"hold release", "HOLD --decision rework --reason sealed", 0, "", ""},
	{"hold release", "HOLD --decision rework --reason sealed", 65, "hold HOLD is not open", ""},
	{"hold release", "ash/ct1/c1/j002 --decision rework --reason looked", 0, "", ""},
	{"hold release", "TOOLHOLD --decision repair --reason mended", 0, "", ""},
	{"hold release", "INCIDENT --decision repair --reason mended", 67, "do not know the hold", ""},
	{"hold release", "ash/ct1/c1/j005 --decision repair --reason mended", 67, "has no open hold of its own", ""},
	{"decide", "INCIDENT rework --reason replaced", 0, "", ""},
	{"decide", "INCIDENT rework --reason replaced --person cr", 0, "cr has no role that may decide this", ""},
	{"sign-off", "ash/ct1/c1/j006 --point hold-point", 0, "", ""},
	{"correct", "MINE --fasteners 2 --reason counted", 0, "", ""},
	{"withdraw", "MINE --reason twice", 65, "was corrected already on this device", ""},
	{"withdraw", "incidents/INCIDENT --reason twice", 0, "", ""},
	{"correct", "INCIDENT --fasteners 2 --reason counted", 69, "trackctl withdraw takes it back all the same", ""},
	{"movement add", "received M10-A 5 --site ash", 0, "", ""},
	{"undo", "", 0, "", ""},
	{"custody", "issued T2 --site ash --holder cr", 0, "", "tool-lent-unfit"},
	{"tool take-back", "T2 --site ash", 0, "", ""},
	{"tool lend", "T2 --to cr --site ash", 65, "tool T2 may not be lent to cr: no calibration is on record", ""},
	{"tool lend", "T2 --to cr --site ash --override-by te --because marking", 77, "te has no role that may let this pass", ""},
	{"tool lend", "T2 --to cr --site ash --override-by cr --because marking", 0, "", "tool-lent-unfit"},
	{"tool lend", "T9 --to cr --site ash", 67, "do not know the tool T9", ""},
	{"tool send", "T2 --to-site bri", 65, "tool T2 can't be sent to BRI: lent to cr on", ""},
	{"tool dropped", "T2", 0, "", ""},
	{"tool overloaded", "T2", 0, "", ""},
	{"tool take-back", "T2 --site ash --condition dropped", 0, "", ""},
	{"tool send", "T2 --to-site bri", 0, "", ""},
	{"tool receive", "T2 --site ash", 0, "", ""},
	{"tool repaired", "T3", 0, "", ""},
	{"tool lost", "T3", 0, "", ""},
	{"tool lend", "T3 --to cr --site ash", 65, "reported lost on", ""},
	{"tool check", "H1 periodic-inspection pass", 0, "", ""},
	{"calibration add", "T2 --as-left 8:8.06;8.05±0.096 --as-left 40:40.1;40.2±0.29 --coverage-factor 2 --certificate C-7 --laboratory Lab", 0, "", ""},
	{"calibration add", "T3 --as-left 8:8.06;8.05±0.096 --certificate c-7 --laboratory LAB", 0, "the server will refuse this by what is carried of the tool: --certificate: certificate c-7 of LAB is that of calibrations/", ""},
	{"calibration add", "T1 --as-left 8:8.06;8.05±0.096 --certificate c-6 --laboratory lab", 0, "the server will refuse this by what is carried of the tool: --certificate: certificate c-6 of lab is that of calibrations/CARRIED", ""},
	{"calibration add", "T2 --as-left 80:80.06;80.05±0.096 --certificate far", 0, "the server will refuse this by what is carried of the tool: --as-left 80, target", ""},
}

// newOfflineDeck is a deck whose device carries the site and has no signal any more, and
// the ids that the story names.
func newOfflineDeck(t *testing.T) (*deck, map[string]string) {
	d := newDeck(t)
	ids := map[string]string{}
	other := &deck{t: t, bin: d.bin, folder: t.TempDir(), address: d.address}
	made := func(d *deck, name, line string) {
		out := d.trackctl(strings.Fields(line)...)
		_, after, ok := strings.Cut(out, "(id ")
		id, _, _ := strings.Cut(after, ")")
		if !ok {
			t.Fatalf("%s: %s", line, out)
		}
		ids[name] = id
	}
	for _, line := range []string{
		"site add bri --name Bridge --time-zone Europe/London", "person add cr --name Crib --site ash --role crib", "person add te --name Tess --site ash --role technician",
		"tool add T2 --kind torque-wrench --type-class II-A --site ash --min 8N.m --max 40N.m --interval-months 12",
		"tool add T3 --kind torque-wrench --site ash --min 8N.m --max 40N.m --interval-months 12",
		"tool add H1 --kind hoist --site ash --policy periodic-inspection=12mo",
	} {
		d.trackctl(strings.Fields(line)...)
	}
	made(other, "CARRIED", "calibration add T3 --as-left 8:8.06;8.05±0.096 --certificate C-6 --laboratory Lab")
	made(other, "HOLD", "hold place ash/ct1/c1/j001 --reason gasket")
	made(other, "TOOLHOLD", "hold place --tool T1 --site ash --reason late")
	made(other, "INCIDENT", "incident galling ash/ct1/c1/j002 1 --lot M10-A --treatment anti-seize")
	d.trackctl("carry", "ash")
	made(d, "MINE", "incident galling ash/ct1/c1/j003 1 --lot M10-A --treatment anti-seize")
	d.trackctl("carry", "ash")
	d.stop()
	return d, ids
}

// run runs a command and gives its exit code and what it said.
func (d *deck) run(args ...string) (code int, out, errOut string) {
	d.t.Helper()
	var stdout, stderr bytes.Buffer
	cmd := exec.Command(filepath.Join(d.bin, "trackctl"), args...)
	cmd.Env, cmd.Stdout, cmd.Stderr = d.env(), &stdout, &stderr
	if err := cmd.Run(); err != nil && cmd.ProcessState == nil {
		d.t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), stdout.String(), stderr.String()
}

// found is one finding, as both the device and the server tell it.
type found struct{ Rule, Severity, Message string }

// minutes is how far a record's time lies off the moment at which it was taken in.
var minutes = regexp.MustCompile(`lies [0-9.]+ min`)

// atAnyMoment is the finding without how much time went by until the server took the
// record in.
func (f found) atAnyMoment() found {
	f.Message = minutes.ReplaceAllString(f.Message, "lies some min")
	return f
}

// keptHere is what a command answers for a record.
type keptHere struct {
	ID            string  `json:"id"`
	ReplacementID string  `json:"replacement_id"`
	State         string  `json:"state"`
	ByDataOf      string  `json:"by_data_of"`
	Findings      []found `json:"findings"`
}

// Every command that enters a record works without a signal from what the device
// carries: it is kept, judged, and marked by which data; and when it is sent, the server
// takes it and finds the same.
func TestEveryEntryWorksOffline(t *testing.T) {
	want := cli.EntryCommands()
	driven := []string{"enter"}
	for _, e := range offlineEntries {
		if !slices.Contains(driven, e.command) {
			driven = append(driven, e.command)
		}
	}
	if slices.Sort(driven); !slices.Equal(driven, want) {
		t.Fatalf("commands that enter records: %q\nthose that are driven here: %q", want, driven)
	}
	d, ids := newOfflineDeck(t)
	ids["TOMORROW"] = time.Now().Add(24 * time.Hour).Format(time.RFC3339)
	here := map[string][]found{}
	for _, e := range offlineEntries {
		for name, id := range ids {
			e.args, e.says = replaceWord(e.args, name, id), replaceWord(e.says, name, id)
		}
		d.enterOffline(e, here)
	}
	d.enterSheet()
	d.serve()
	if out, _ := d.send(); !strings.Contains(out, "4 refused") {
		t.Errorf("send: %s\nexpected the decision of a crib attendant, the calibration beyond the scale and those with a certificate that is taken, and no other, to be refused\n%s", out, d.trackctl("pending"))
	}
	// What was refused is told in the words of the command line.
	pending := d.trackctl("pending", "--output", "csv")
	for _, want := range []string{"--as-left 80, target: ", "--certificate: certificate c-7 of LAB is that of calibrations/"} {
		if !strings.Contains(pending, want) || strings.Contains(pending, "target_newton_metres") {
			t.Errorf("pending does not say %q:\n%s", want, pending)
		}
	}
	d.compareFindings(here)
}

func replaceWord(text, name, id string) string {
	words := strings.Split(text, " ")
	for i, w := range words {
		if head, ok := strings.CutSuffix(w, name); ok && (head == "" || strings.HasSuffix(head, "/")) {
			words[i] = head + id
		}
	}
	return strings.Join(words, " ")
}

func (d *deck) enterOffline(e offlineEntry, here map[string][]found) {
	d.t.Helper()
	line := e.command + " " + e.args
	code, out, errOut := d.run(append(strings.Fields(line), "--output", "json")...)
	if code != e.code || !strings.Contains(out+errOut, e.says) {
		d.t.Errorf("%s: exit %d, expected %d and %q\n%s%s", line, code, e.code, e.says, out, errOut)
		return
	}
	if code != 0 {
		return
	}
	var answer struct {
		Outcomes []keptHere `json:"outcomes"`
	}
	if err := json.Unmarshal([]byte(out), &answer); err != nil || len(answer.Outcomes) != 1 {
		d.t.Errorf("%s: %v\n%s", line, err, out)
		return
	}
	o := answer.Outcomes[0]
	if o.State != "waiting" || o.ByDataOf == "" {
		d.t.Errorf("%s: state %q by data of %q; expected that it waits, and by which data it was judged\n%s", line, o.State, o.ByDataOf, errOut)
	}
	var broken []string
	for _, f := range o.Findings {
		broken = append(broken, f.Rule)
	}
	expected := strings.Fields(e.rules)
	slices.Sort(broken)
	if slices.Sort(expected); !slices.Equal(broken, expected) {
		d.t.Errorf("%s breaks %q; expected %q", line, broken, expected)
	}
	id := o.ID
	if o.ReplacementID != "" {
		id = o.ReplacementID
	}
	here[id] = o.Findings
}

// enterSheet enters a sheet of one line.
func (d *deck) enterSheet() {
	d.t.Helper()
	sheet := filepath.Join(d.t.TempDir(), "sheet.csv")
	text := "record,place,at,fasteners,lot,treatment\ntightening,ash/ct1/c1/j006,2026-03-02 07:25,3,M10-A,anti-seize\n"
	if err := os.WriteFile(sheet, []byte(text), 0o600); err != nil {
		d.t.Fatal(err)
	}
	out := d.trackctl("enter", sheet)
	for _, want := range []string{"kept on this device: 1 record", "by data of", "waiting to be sent"} {
		if !strings.Contains(out, want) {
			d.t.Errorf("enter: %q is missing in\n%s", want, out)
		}
	}
}

// send sends what waits, whatever the server says to it.
func (d *deck) send() (out, errOut string) {
	_, out, errOut = d.run("send")
	return out, errOut
}

// compareFindings compares what the device found with what the server has.
func (d *deck) compareFindings(here map[string][]found) {
	d.t.Helper()
	var answer struct {
		Findings []struct {
			Record string `json:"record"`
			found
		} `json:"findings"`
	}
	if err := json.Unmarshal([]byte(d.trackctl("findings", "--output", "json")), &answer); err != nil {
		d.t.Fatal(err)
	}
	there := map[string][]found{}
	for _, f := range answer.Findings {
		_, id, _ := strings.Cut(f.Record, "/")
		there[id] = append(there[id], f.found.atAnyMoment())
	}
	for id, findings := range here {
		for i := range findings {
			findings[i] = findings[i].atAnyMoment()
		}
		sortFound(findings)
		if sortFound(there[id]); !slices.Equal(findings, there[id]) {
			d.t.Errorf("%s: here %q, at the server %q", id, findings, there[id])
		}
	}
}

func sortFound(all []found) {
	slices.SortFunc(all, func(a, b found) int { return strings.Compare(a.Rule+a.Message, b.Rule+b.Message) })
}
