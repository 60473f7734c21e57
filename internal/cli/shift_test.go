//go:build unix

package cli_test

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"jointledger/internal/shift/terminal"
)

// deck is a site with a server, and a device of a technician.
type deck struct {
	t              *testing.T
	bin, data      string
	folder         string
	address        string
	server         *exec.Cmd
	serverLog      strings.Builder
	columns, lines int
}

// serve starts the server, at the address that it had before.
func (d *deck) serve() {
	d.t.Helper()
	listen := d.address
	if listen == "" {
		listen = "127.0.0.1:0"
	}
	d.server = exec.Command(filepath.Join(d.bin, "trackerd"), "serve", "--data", d.data, "--listen", listen)
	d.server.Stderr = &d.serverLog
	out, err := d.server.StdoutPipe()
	if err == nil {
		err = d.server.Start()
	}
	if err != nil {
		d.t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	address, ok := strings.CutPrefix(strings.TrimSpace(line), "listening on ")
	if err != nil || !ok {
		d.t.Fatalf("trackerd said %q: %v\n%s", line, err, d.serverLog.String())
	}
	d.address = address
}

// stop ends the server, if it runs.
func (d *deck) stop() {
	if d.server == nil {
		return
	}
	if err := d.server.Process.Kill(); err != nil {
		d.t.Errorf("trackerd: %v", err)
	}
	_ = d.server.Wait() // it was killed
	d.server = nil
}

func (d *deck) env() []string {
	return []string{
		"PATH=" + d.bin + ":" + os.Getenv("PATH"), "HOME=" + d.folder, "JOINTLEDGER_FOLDER=" + d.folder, "JOINTLEDGER_SERVER=" + d.address,
		"JOINTLEDGER_PERSON=ab", "TZ=UTC", "TERM=xterm-256color", "LANG=C.UTF-8",
	}
}

// trackctl runs a command that must succeed.
func (d *deck) trackctl(args ...string) string {
	d.t.Helper()
	cmd := exec.Command(filepath.Join(d.bin, "trackctl"), args...)
	cmd.Env = d.env()
	out, err := cmd.CombinedOutput()
	if err != nil {
		d.t.Fatalf("trackctl %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return string(out)
}

// records are the records of a kind at a cell, as the server has them, each with its
// columns by name.
func (d *deck) records(kind, cell string) []map[string]string {
	d.t.Helper()
	cmd := exec.Command(filepath.Join(d.bin, "trackctl"), "record", "list", kind, "--place", cell, "--output", "csv")
	cmd.Env = append(d.env(), "JOINTLEDGER_FOLDER="+filepath.Join(d.folder, "another"))
	out, err := cmd.Output()
	if err != nil {
		d.t.Fatalf("record list %s: %v", kind, err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(out))).ReadAll()
	if err != nil {
		d.t.Fatal(err)
	}
	var records []map[string]string
	for _, row := range rows[1:] {
		r := map[string]string{}
		for i, name := range rows[0] {
			r[name] = row[i]
		}
		records = append(records, r)
	}
	return records
}

// device is another device of the same person, with what is in hand for the shift.
func (d *deck) device(t *testing.T, columns, lines int) *deck {
	other := &deck{t: t, bin: d.bin, data: d.data, folder: t.TempDir(), address: d.address, server: d.server, columns: columns, lines: lines}
	other.trackctl("at", "/ash", "--lot", "M10-A", "--treatment", "anti-seize", "--tool", "T1", "--torque", "32 N.m")
	return other
}

func (d *deck) shift(cell string) *terminal.Terminal {
	d.t.Helper()
	cmd := exec.Command(filepath.Join(d.bin, "trackctl"), "shift", cell)
	cmd.Env = d.env()
	return terminal.Start(d.t, cmd, d.columns, d.lines)
}

// newDeck builds the programs, and a site with cells of six joints, of which the
// fourth is a seam.
func newDeck(t *testing.T) *deck {
	d := &deck{t: t, bin: buildPrograms(t), data: t.TempDir(), folder: t.TempDir()}
	d.serve()
	t.Cleanup(d.stop)
	for _, line := range []string{
		"site add ash --name Ashmere --time-zone Europe/Dublin",
		"person add ab --name Abel --site ash --role technician --role site-lead",
		"spec add S1 --thread M10 --material 316 --treatment anti-seize --locking none --torque 32N.m --torque-tolerance-pct 10 --torque-basis lubricated",
		"spec add SEAM --thread ST5.5 --material 316 --sealant strip --seal-width 25mm --treatment none --locking none --torque 32N.m --torque-tolerance-pct 10 --torque-basis dry",
		"lot add M10-A --supplier Boltworks --thread M10 --material 316",
		"tool add T1 --kind torque-wrench --site ash --min 8N.m --max 40N.m --interval-months 12",
		"movement add received M10-A 1000 --site ash --reference DN-1",
		"tower add ash/ct1 --material 316",
	} {
		d.trackctl(strings.Fields(line)...)
	}
	d.trackctl("calibration", "add", "T1", "--as-left", "8: 8.06;8.05 ± 0.096", "--as-left", "40: 40.1;40.2 ± 0.29", "--coverage-factor", "2")
	for cell := 1; cell <= 4; cell++ {
		name := fmt.Sprintf("ash/ct1/c%d", cell)
		d.trackctl("cell", "add", name)
		for joint := 1; joint <= 6; joint++ {
			kind, spec := "structural", "S1"
			if joint == 4 {
				kind, spec = "seam", "SEAM"
			}
			d.trackctl("joint", "add", fmt.Sprintf("%s/j%03d", name, joint), "--kind", kind, "--spec", spec, "--fasteners", "12")
		}
	}
	return d
}

// pause is longer than the key that confirms must be up.
func pause() { time.Sleep(550 * time.Millisecond) }

func TestShift(t *testing.T) {
	d := newDeck(t)
	t.Run("on a phone, with the server", func(t *testing.T) { d.device(t, 40, 20).wholeShift("ash/ct1/c1") })
	t.Run("wide, from carried data", func(t *testing.T) {
		wide := d.device(t, 120, 40)
		wide.trackctl("carry", "ash")
		wide.wholeShift("ash/ct1/c2")
	})
	t.Run("killed in the middle", func(t *testing.T) { d.device(t, 40, 20).killedShift("ash/ct1/c3") })
	t.Run("no terminal", func(t *testing.T) {
		cmd := exec.Command(filepath.Join(d.bin, "trackctl"), "shift", "ash/ct1/c1")
		cmd.Env = d.env()
		out, _ := cmd.CombinedOutput()
		if code := cmd.ProcessState.ExitCode(); code != 64 || !strings.Contains(string(out), "this is none") {
			t.Errorf("exit %d: %s", code, out)
		}
	})
	// The last one, since it takes the server away.
	t.Run("without a signal", func(t *testing.T) { d.shiftWithoutSignal(t, "ash/ct1/c4") })
}

// wholeShift makes one entry of each sort and finds it on the server.
func (d *deck) wholeShift(cell string) {
	t := d.t
	x := d.shift(cell)
	x.See(strings.ToUpper(cell), "6 of 6 left", "on-line", "0 waiting", "lot M10-A", "T1", "32 N.m", "> J001", "The equipment maker's manual", "Enter tighten", "? keys")
	x.Press(terminal.Enter)
	x.See("KEPT: ", "J001, 12 fasteners tightened", "5 of 6 left", "> J002", "WARN: Person ab has no qualification for bolting", "as the server judged it", "0 waiting")
	x.Press("p", "5", terminal.Enter)
	x.See("J002, 5 fasteners tightened", "> J002 5 of 12", "as the server judged it", "0 waiting")
	x.Press("i", "a", "2", terminal.Enter)
	// "keeping J002, galling" stands there before it is kept, and can't be undone.
	x.See("KEPT: ", "J002, galling, 2 fasteners", "the server has it", "0 waiting")
	x.Press("u")
	x.See("UNDONE: J002, galling, 2 fasteners", "0 waiting")
	x.Press("4", terminal.Enter)
	x.See("> J004 0 of 12", "Enter seal")
	pause()
	x.Press(terminal.Enter)
	x.See("J004: seal", "sealant strip")
	x.Press(terminal.Enter, "25", terminal.Enter, "3", terminal.Enter, "9", terminal.Enter, "60", terminal.Enter, terminal.Enter, terminal.Enter)
	// 3 °C on the surface is below the 4.4 °C of common practice, and says so.
	x.See("KEPT: ", "J004 sealed, strip", "HOLD: ", "J004 is on hold until released", "0 waiting")
	x.Resize(d.columns, d.lines+3)
	x.See(strings.ToUpper(cell), "waiting", "? keys")
	x.Press("q")
	x.See("q once more ends")
	x.Press("q")
	if code := x.End(true); code != 0 {
		t.Errorf("exit code %d:\n%s", code, strings.Join(x.Seen(), "\n"))
	}
	x.See("3 entries of this shift at " + strings.ToUpper(cell) + " were kept")
	tightenings := d.records("tightenings", cell)
	if len(tightenings) != 2 || tightenings[0]["fasteners"]+"+"+tightenings[1]["fasteners"] != "12+5" && tightenings[0]["fasteners"]+"+"+tightenings[1]["fasteners"] != "5+12" {
		t.Errorf("tightenings on the server: %v", tightenings)
	}
	for _, r := range tightenings {
		if r["lot"] != "M10-A" || r["treatment"] != "anti-seize" || r["tool"] != "T1" || r["torque_n_m"] != "32" || r["torque_as_typed"] != "32 N.m" || r["person"] != "ab" || r["offline"] != "true" {
			t.Errorf("tightening %v", r)
		}
	}
	if r := d.records("incidents", cell); len(r) != 1 || r[0]["kind"] != "galling" || r[0]["fasteners"] != "2" || r[0]["corrected_by"] == "" {
		t.Errorf("incidents on the server: %v", r)
	}
	if r := d.records("sealings", cell); len(r) != 1 || r[0]["width_mm"] != "25" || r[0]["surface_c"] != "3" {
		t.Errorf("sealings on the server: %v", r)
	}
}

// killedShift kills the program again and again; what it said was kept is there.
func (d *deck) killedShift(cell string) {
	t := d.t
	said := 0
	for round := range 5 {
		x := d.shift(cell)
		x.See("waiting", "of 6 left")
		for entry := range round + 1 {
			tag := fmt.Sprintf("%d", []int{1, 2, 3, 5, 6}[entry])
			x.Press(tag, terminal.Enter, "p", "1", terminal.Enter)
			x.See("KEPT: ", "J00"+tag+", 1 fastener tightened")
			said++
		}
		if round%2 == 0 { // an entry that may or may not have been kept
			x.Press("p", "1", terminal.Enter)
		}
		x.Signal(syscall.SIGKILL)
		x.End(false)
	}
	d.trackctl("send")
	if n := len(d.records("tightenings", cell)); n < said || n > said+3 {
		t.Errorf("%d entries on the server, %d were said to be kept and at most 3 more were made", n, said)
	}
	if out := d.trackctl("pending"); !strings.Contains(out, "nothing waits") {
		t.Errorf("after it was sent: %s", out)
	}
}

// shiftWithoutSignal works while the server is away and sees it come back.
func (d *deck) shiftWithoutSignal(t *testing.T, cell string) {
	device := d.device(t, 40, 20)
	device.trackctl("carry", "ash")
	x := device.shift(cell)
	x.See("6 of 6 left", "on-line", "0 waiting")
	d.stop()
	x.See("OFF-LINE")
	for i := range 3 {
		x.Press(terminal.Enter)
		x.See(fmt.Sprintf("J00%d, 12 fasteners tightened", i+1), fmt.Sprintf("%d waiting", i+1), "OFF-LINE", "WARN: Person ab has no qualification for bolting", "by data of")
		pause()
	}
	x.Press("u")
	x.See("UNDONE: J003", "4 waiting")
	x.Press(terminal.CtrlC)
	if code := x.End(true); code != 0 {
		t.Errorf("exit code %d", code)
	}
	x.See("4 entries stay on this device, waiting to be sent")
	// What waits counts when it is looked at again.
	y := device.shift(cell)
	y.See("OFF-LINE", "4 waiting", "4 of 6 left", "> J003 0 of 12")
	if n := strings.Count(y.Text(), "J001"); n != 0 {
		t.Errorf("a joint that is done is listed:\n%s", strings.Join(y.Seen(), "\n"))
	}
	d.serve()
	y.See("on-line", "0 waiting", "sent")
	y.Press("qq")
	if code := y.End(true); code != 0 {
		t.Errorf("exit code %d", code)
	}
	counted := 0
	for _, r := range device.records("tightenings", cell) {
		if r["corrected_by"] == "" {
			counted++
		}
	}
	if n := len(device.records("tightenings", cell)); n != 3 || counted != 2 {
		t.Errorf("%d tightenings on the server of which %d count; expected 3 and 2", n, counted)
	}
}
