package ledger_test

import (
	"encoding/hex"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
)

const (
	golden1 = `sequence=1
received=1772463905123456
day=20514
specification="SS-M10-STR"
revision=2
kind=tightening
id=019ca73e-4d10-7aaa-8bbb-cccccccccc01
occurred=1772463845123456
offset=-420
person="a.reyes"
device="handheld-7"
note="windy"
joint="RVB/CT2/C3/J014"
lot="M10-316-4471"
treatment=anti-seize
batch="AS-19"
tool="TW-0107"
torque=32.5
typed="24 lbf.ft"
fasteners=8
pass=first
method=hand
`
	golden2 = `sequence=2
received=1772463905123456
day=20514
specification="SS-M10-STR"
revision=2
kind=incident
id=019ca73e-4d10-7aaa-8bbb-cccccccccc02
occurred=1772463845123456
offset=-420
person="a.reyes"
device="handheld-7"
note="windy"
incident=galling
site="RVB"
joint="RVB/CT2/C3/J014"
fasteners=1
lot="M10-316-4471"
treatment=none
tool="TW-0107"
method=impact
noticed="at three turns"
action="cut off"
`
)

// points are the lines of a calibration's readings.
const points = `points=2
phase=as-found
target=20
reading=19.9
reading=0
uncertainty=0.25
coverage=2
phase=as-left
target=62500
reading=0.30000000000000004
`

const verdictLines = `verdict.rule=guard-band
verdict.edition="2017"
verdict.limit=4
verdict.as_found=fail
verdict.as_left=conditional-pass
verdict.worst_as_found=-5.5
verdict.worst_as_left=0
verdict.probability=0.97
verdict.ratio=4
verdict.deficiency="no test point at 20 N.m"
`

// head is what the other golden records begin with.
func head(sequence, assigned, kind, last string) string {
	return "sequence=" + sequence + "\nreceived=1772463905123456\nday=20514\n" + assigned + "kind=" + kind +
		"\nid=019ca73e-4d10-7aaa-8bbb-cccccccccc" + last + "\noccurred=1772463845123456\noffset=-420\nperson=\"a.reyes\"\ndevice=\"handheld-7\"\nnote=\"windy\"\n"
}

// TestCanonicalGolden pins the bytes that links are made over. They must never
// change: every chain that was ever written hangs on them.
func TestCanonicalGolden(t *testing.T) {
	t.Parallel()
	golden := []string{
		golden1, golden2,
		head("3", "site=\"RVB\"\n"+verdictLines, "calibration", "03") + `tool="TW-0107"
laboratory="Torque Laboratory 3"
certificate="C-26-118"
document=calibration-certificate
rule=guard-band
stated=pass
air=0
humidity=45
device=0.25
` + points,
		head("4", "", "lot-movement", "04") + `lot="M10-316-4471"
site="RVB"
movement=received
quantity=1000
reference="PO 8812"
handled="crib"
`,
		head("5", "specification=\"SS-SEAM\"\nrevision=1\n", "sealing", "05") + `joint="RVB/CT2/C3/J014"
sealant="polyurethane"
batch="PU-7"
width=9.5
solvent="isopropanol"
cleaned=1772460245123456
air=0
surface=-1.5
humidity=60
splice=corner
straight=no
`,
		head("6", "", "inspection", "06") + `joint="RVB/CT2/C3/J014"
inspection=torque-audit
sample=2
plan="10 %, at least two"
reading=31
reading=0
result=pass
tool="TW-0107"
`,
		head("7", "", "custody", "07") + `tool="TW-0107"
custody=issued
site="RVB"
holder="a.reyes"
override="q.lead"
because="no other wrench"
`,
		head("8", "", "hold", "08") + `hold=released
place="RVB/CT2/C3/J014"
site="RVB"
reason="gone over again"
rule="torque-window"
cause=019ca73e-4d10-7aaa-8bbb-cccccccccc01
releases=019ca73e-4d10-7aaa-8bbb-cccccccccc09
decision=rework
`,
		head("9", "site=\"RVB\"\n", "disposition", "0a") + `incident=019ca73e-4d10-7aaa-8bbb-cccccccccc02
decision=use-as-is
reason="cosmetic"
`,
		head("10", "", "sign-off", "0b") + `place="RVB/CT2"
point=witness-point
title="fan deck"
`,
		head("11", "site=\"RVB\"\n", "correction", "0c") + `corrects=019ca73e-4d10-7aaa-8bbb-cccccccccc01
replacement=019ca73e-4d10-7aaa-8bbb-cccccccccc0d
reason="another lot"
`,
		head("12", "", "tool-check", "0e") + `tool="TW-0107"
site="RVB"
action=proof-test
result=fail
certificate="PT-9"
`,
		head("13", "", "alarm", "0f") + `rule="GALL-LOT"
site="RVB"
lot="M10-316-4471"
test=cusum
statistic=207
threshold=200.5
failures=6
attempts=120
sentence="It is likely raised."
cause=019ca73e-4d10-7aaa-8bbb-cccccccccc02
`,
	}
	records := everyRecord()
	if len(golden) != len(records) || len(golden) != len(ledger.RecordKinds.All()) {
		t.Fatalf("%d golden records for %d records of %d kinds", len(golden), len(records), len(ledger.RecordKinds.All()))
	}
	for i, r := range records {
		if diff := cmp.Diff(golden[i], string(ledger.Canonical(r))); diff != "" {
			t.Errorf("%s (-golden +got):\n%s", ledger.RecordKinds.Name(r.RecordKind()), diff)
		}
	}
}

// TestCanonicalOfRecordsBeforeTheirFields holds records without what later
// versions added to the bytes they had before: their links were made over those.
func TestCanonicalOfRecordsBeforeTheirFields(t *testing.T) {
	t.Parallel()
	c := calibration()
	c.Document, c.Rule, c.StatedVerdict, c.AirCelsius, c.HumidityPercent, c.DeviceUncertaintyPercent, c.Verdict = 0, 0, 0, nil, nil, 0, nil
	want := head("3", "site=\"RVB\"\n", "calibration", "03") + "tool=\"TW-0107\"\nlaboratory=\"Torque Laboratory 3\"\ncertificate=\"C-26-118\"\n" + points
	if diff := cmp.Diff(want, string(ledger.Canonical(c))); diff != "" {
		t.Errorf("calibration (-golden +got):\n%s", diff)
	}
	v := custody()
	v.OverrideBy, v.OverrideReason = "", ""
	want = head("7", "", "custody", "07") + "tool=\"TW-0107\"\ncustody=issued\nsite=\"RVB\"\nholder=\"a.reyes\"\n"
	if diff := cmp.Diff(want, string(ledger.Canonical(v))); diff != "" {
		t.Errorf("custody (-golden +got):\n%s", diff)
	}
}

// TestChainByHand links two records. The expected links were computed outside the
// project, with printf, xxd -r -p and sha256sum (GNU coreutils 9.1), over the
// literal bytes of golden1 and golden2: the first link over the text below, each
// next one over the 32 bytes of the link before it and the record's bytes.
func TestChainByHand(t *testing.T) {
	t.Parallel()
	const (
		first  = "19c55cfce9c0512a4622fd98b30738cb1f216b17a969e5dfc0086fa64cb22633" // printf 'jointledger chain 1\nRVB\n' | sha256sum
		second = "505cd8b26e23ab3425344bfca913862bb328344dccafa5623c08c99aa5d4abfd"
		third  = "39e4ff63fa23c71a4216399faa7b769236874acc4d3928eb736dea89de8ce384"
	)
	link := ledger.FirstLink("RVB")
	if link.String() != first {
		t.Errorf("first link %s; expected %s", link, first)
	}
	if link = ledger.NextLink(link, tightening()); link.String() != second {
		t.Errorf("second link %s; expected %s", link, second)
	}
	if link = ledger.NextLink(link, incident()); link.String() != third {
		t.Errorf("third link %s; expected %s", link, third)
	}
	if hex.EncodeToString(link[:]) != link.String() {
		t.Errorf("%s is not the link in hexadecimal", link)
	}
	if ledger.FirstLink("RVB") == ledger.FirstLink("KVR") {
		t.Error("the chains of two sites begin alike")
	}
}

// TestCanonicalText pins how odd texts are written: in ASCII alone, so that the
// bytes do not hang on which characters a version of Unicode knows. The expected
// escapes are those of the Go specification, "String literals".
func TestCanonicalText(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		`it's "so" \n`:      `"it's \"so\" \\n"`,
		"two\nlines\r\n\tx": `"two\nlines\r\n\tx"`,
		"38 °F":             `"38 \u00b0F"`,
		"🔩":                 `"\U0001f529"`,
		"\U0001FAE9":        `"\U0001fae9"`, // a face of Unicode 16.0, unknown to earlier versions
		"e\u0301 é":         `"e\u0301 \u00e9"`,
		"\ufeff\u202e":      `"\ufeff\u202e"`,
		"a=b\nnote=c":       `"a=b\nnote=c"`, // no second line
	} {
		r := tightening()
		r.Note = text
		if !strings.Contains(string(ledger.Canonical(r)), "\nnote="+want+"\njoint=") {
			t.Errorf("%q: %s lacks note=%s", text, ledger.Canonical(r), want)
		}
	}
}

// TestCanonicalNumbers pins how numbers are written: the shortest that reads back
// the same, minus zero as zero.
func TestCanonicalNumbers(t *testing.T) {
	t.Parallel()
	for number, want := range map[float64]string{
		0: "0", 0.1: "0.1", 0.30000000000000004: "0.30000000000000004", 100_000: "100000", 1e6: "1e+06", 1e-5: "1e-05", 1.0 / 3: "0.3333333333333333",
		math.SmallestNonzeroFloat64: "5e-324", math.MaxFloat64: "1.7976931348623157e+308",
	} {
		r := tightening()
		r.TorqueNewtonMetres = &number
		if !strings.Contains(string(ledger.Canonical(r)), "\ntorque="+want+"\n") {
			t.Errorf("%v: %s lacks torque=%s", number, ledger.Canonical(r), want)
		}
	}
	r := tightening()
	r.TorqueNewtonMetres = ptr(math.Copysign(0, -1))
	if !strings.Contains(string(ledger.Canonical(r)), "\ntorque=0\n") {
		t.Errorf("minus zero: %s", ledger.Canonical(r))
	}
	r.TorqueNewtonMetres = nil
	if strings.Contains(string(ledger.Canonical(r)), "torque") {
		t.Errorf("no torque: %s", ledger.Canonical(r))
	}
}

// TestCanonicalLeavesOutWhatIsEmpty holds a record with nothing in it to its kind,
// id and time: a field that is added later must leave old bytes as they are.
func TestCanonicalLeavesOutWhatIsEmpty(t *testing.T) {
	t.Parallel()
	for _, r := range everyRecord() {
		empty := reflect.New(reflect.TypeOf(r).Elem()).Interface().(ledger.Record)
		empty.Head().ID = id(1)
		want := "kind=" + ledger.RecordKinds.Name(r.RecordKind()) + "\nid=" + id(1).String() + "\n"
		if got := string(ledger.Canonical(empty)); got != want {
			t.Errorf("%q; expected %q", got, want)
		}
	}
	offline := tightening()
	offline.Offline = true
	if want := strings.Replace(golden1, "note=\"windy\"\n", "note=\"windy\"\noffline=yes\n", 1); string(ledger.Canonical(offline)) != want {
		t.Errorf("off-line: %s", ledger.Canonical(offline))
	}
	later := tightening()
	later.CorrectedBy, later.Link = id(7), ledger.Link{1}
	if string(ledger.Canonical(later)) != golden1 {
		t.Errorf("what became of a record since is in its bytes: %s", ledger.Canonical(later))
	}
}

// TestCanonicalNamesUnknownNumbers tells a number that has no word, as tampering
// leaves behind, from none at all.
func TestCanonicalNamesUnknownNumbers(t *testing.T) {
	t.Parallel()
	none, odd := incident(), incident()
	none.Treatment, none.Method, odd.Treatment, odd.Method = 0, 0, 99, 77
	if text := string(ledger.Canonical(odd)); !strings.Contains(text, "treatment=99\n") || !strings.Contains(text, "method=77\n") {
		t.Errorf("%s lacks the numbers", text)
	}
	if ledger.SameContent(none, odd) {
		t.Error("a number without a word is taken for none")
	}
}

// TestSameContent changes one thing at a time in each kind of record: what the
// client said counts, what the server added does not.
func TestSameContent(t *testing.T) {
	t.Parallel()
	for i, r := range everyRecord() {
		same := everyRecord()[i]
		head := same.Head()
		head.Sequence, head.ReceiveTime, head.Link, head.LocalDay, head.CorrectedBy = 99, time.Now(), ledger.Link{9}, 9, id(9)
		switch s := same.(type) {
		case *ledger.Tightening:
			s.Specification = ledger.SpecificationRef{Code: "OTHER", Revision: 7}
		case *ledger.Incident:
			s.Specification, s.Site = ledger.SpecificationRef{}, "" // the joint says the site
		case *ledger.Calibration:
			s.Site, s.Verdict = "KVR", nil
		case *ledger.Disposition:
			s.Site = "KVR"
		case *ledger.Correction:
			s.Site = "KVR"
		case *ledger.Sealing:
			s.Specification.Revision++
		}
		head.OccurTime = head.OccurTime.In(time.FixedZone("", 3600)).Add(999 * time.Nanosecond)
		if !ledger.SameContent(r, same) || !ledger.SameContent(same, r) {
			t.Errorf("%s: what the server added counts", ledger.RecordKinds.Name(r.RecordKind()))
		}
		for k, other := range everyRecord() {
			other.Head().ID = r.Head().ID
			if (k == i) != ledger.SameContent(r, other) {
				t.Errorf("%s and %s: same content %t", ledger.RecordKinds.Name(r.RecordKind()), ledger.RecordKinds.Name(other.RecordKind()), k != i)
			}
		}
		for _, change := range []func(*ledger.Entry){
			func(e *ledger.Entry) { e.ID = id(99) },
			func(e *ledger.Entry) { e.OccurTime = e.OccurTime.Add(time.Microsecond) },
			func(e *ledger.Entry) { e.OffsetMinutes = 330 },
			func(e *ledger.Entry) { e.Person = "" },
			func(e *ledger.Entry) { e.Device += " " },
			func(e *ledger.Entry) { e.Note = "Windy" },
			func(e *ledger.Entry) { e.Offline = true },
		} {
			other := everyRecord()[i]
			change(other.Head())
			if ledger.SameContent(r, other) {
				t.Errorf("%+v counts as the same as %+v", other.Head(), r.Head())
			}
		}
	}
}

// serverGiven are the fields of records that the server gives, or that stand for
// something else; all others must count as content.
var serverGiven = map[string]bool{"Specification": true, "Site": true, "With": true, "Entry": true, "Verdict": true}

// TestEveryFieldIsContent empties each field of each kind of record in turn: a
// field that is left out of the canonical bytes could be tampered with unseen.
func TestEveryFieldIsContent(t *testing.T) {
	t.Parallel()
	for i, r := range everyRecord() {
		kind := reflect.TypeOf(r).Elem()
		for f := range kind.NumField() {
			field := kind.Field(f)
			if serverGiven[field.Name] {
				continue
			}
			other := everyRecord()[i]
			value := reflect.ValueOf(other).Elem().Field(f)
			if value.IsZero() {
				if r.RecordKind() != ledger.KindHold { // a hold is on one thing only
					t.Errorf("%s.%s is empty in the test's record", kind.Name(), field.Name)
				}
				continue
			}
			value.SetZero()
			if ledger.SameContent(r, other) {
				t.Errorf("%s.%s is not in the canonical bytes", kind.Name(), field.Name)
			}
		}
	}
	onLot, onTool := hold(), hold()
	onLot.Lot, onTool.Tool = "L", "L"
	if ledger.SameContent(onLot, hold()) || ledger.SameContent(onTool, hold()) || ledger.SameContent(onLot, onTool) {
		t.Error("what is held is not in the canonical bytes")
	}
	moved := calibration()
	moved.Points[0].ReadingsNewtonMetres, moved.Points[1].ReadingsNewtonMetres = []float64{19.9}, []float64{0, 0.30000000000000004}
	if ledger.SameContent(moved, calibration()) {
		t.Error("a reading may move from one point to the next")
	}
	split := calibration()
	split.Points = append(split.Points, ledger.CalibrationPoint{})
	if ledger.SameContent(split, calibration()) {
		t.Error("an empty point may be added")
	}
}
