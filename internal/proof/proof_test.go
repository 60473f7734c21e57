package proof_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/proof"
	"jointledger/internal/rules"
)

var exportTime = time.Date(2026, 3, 4, 5, 6, 7, 890_000_000, time.UTC)

// chainOf makes a chain of tightenings of a site by ledger's own links.
func chainOf(site string, records int) []proof.Record {
	var chain []proof.Record
	link := ledger.FirstLink(site)
	for i := 1; i <= records; i++ {
		r := &ledger.Tightening{
			Entry: ledger.Entry{ID: uuid.MustParse(fmt.Sprintf("0195a1b2-0000-7000-8000-%012d", i)), OccurTime: exportTime.Add(-time.Hour), Person: "a.reyes",
				Note: "2 °C, \"cold\"\n<windy> & wet", ReceiveTime: exportTime.Add(-time.Minute), Sequence: int64(i), LocalDay: 20516},
			Joint: ledger.Place{Site: site, Tower: "CT1", Cell: "C1", Joint: "J001"}, Lot: "M10-316-4471", Fasteners: 8, Pass: ledger.PassFirst,
			Specification: ledger.SpecificationRef{Code: "SS-M10-STR", Revision: 2},
		}
		one := proof.Record{Sequence: int64(i)}
		if i%3 == 0 {
			figure, limit := 41.5, 35.2
			one.Findings = []rules.Finding{{Rule: "TORQUE-HIGH", Severity: rules.Warn, Message: "41.5 N.m is above 35.2 N.m", Figure: &figure, Limit: &limit, Unit: "N.m", Source: "specification"}}
			r.FindingsSum = rules.Sum(one.Findings)
		}
		if i%4 == 0 {
			one.Attachments = []proof.Attachment{{SHA256: strings.Repeat("ab", 32), FileName: "photo.jpg", MediaType: "image/jpeg", Size: 120_000}}
		}
		link = ledger.NextLink(link, r)
		one.Canonical, one.Link = ledger.Canonical(r), link
		chain = append(chain, one)
	}
	return chain
}

// exported writes an export under a site's name.
func exported(tb testing.TB, site string, chain []proof.Record) []byte {
	tb.Helper()
	head := ledger.FirstLink(site)
	if len(chain) > 0 {
		head = chain[len(chain)-1].Link
	}
	var b bytes.Buffer
	w, err := proof.NewWriter(&b, proof.Header{Site: site, ExportTime: exportTime, Records: int64(len(chain)), Head: head})
	if err != nil {
		tb.Fatal(err)
	}
	for _, r := range chain {
		if err := w.Record(r); err != nil {
			tb.Fatal(err)
		}
	}
	for _, r := range []proof.Register{
		{Register: "sites", Name: site, Fields: map[string]string{"time_zone": "America/Denver", "display_name": "Riverbend"}},
		{Register: "people", Name: "a.reyes", Fields: map[string]string{"display_name": "A. Reyes"}},
		{Register: "lots", Name: "M10-316-4471"},
	} {
		if err := w.Register(r); err != nil {
			tb.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

const chainLength = 12

func sound(tb testing.TB) []byte { return exported(tb, "RVB", chainOf("RVB", chainLength)) }

func TestASoundExportIsProved(t *testing.T) {
	chain := chainOf("RVB", chainLength)
	of7, stranger := chain[6].Link, ledger.Link{1}
	text := sound(t)
	for name, read := range map[string]func() (proof.Summary, error){
		"at once": func() (proof.Summary, error) {
			return proof.Verify(bytes.NewReader(text), of7, stranger, ledger.FirstLink("RVB"))
		},
		"byte by byte": func() (proof.Summary, error) {
			return proof.Verify(iotest.OneByteReader(bytes.NewReader(text)), of7, stranger, ledger.FirstLink("RVB"))
		},
	} {
		s, err := read()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if s.Site != "RVB" || s.Records != chainLength || s.Registers != 3 || s.Attachments != chainLength/4 || s.Head != chain[chainLength-1].Link || !s.ExportTime.Equal(exportTime) {
			t.Errorf("%s: %+v", name, s)
		}
		if _, found := s.At[stranger]; found || s.At[of7] != 7 {
			t.Errorf("%s: links stand at %v; expected that of record 7 alone, and the first at 0", name, s.At)
		}
	}
	empty, err := proof.Verify(bytes.NewReader(exported(t, "KVR", nil)))
	if err != nil || empty.Records != 0 || empty.Head != ledger.FirstLink("KVR") {
		t.Errorf("a chain without records: %+v, %v", empty, err)
	}
}

func TestTheReadersErrorIsGivenOn(t *testing.T) {
	broken := errors.New("the disk reports an error")
	_, err := proof.Verify(iotest.ErrReader(broken))
	if !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
	// In the midst of a line.
	text := sound(t)
	_, err = proof.Verify(iotest.TimeoutReader(iotest.OneByteReader(bytes.NewReader(text))))
	if !errors.Is(err, iotest.ErrTimeout) {
		t.Errorf("%v", err)
	}
}

// lines of a sound export: the header is line 1, record n is line n+1.
func linesOf(text []byte) []string {
	return strings.SplitAfter(strings.TrimSuffix(string(text), "\n"), "\n")
}

func joined(lines ...[]string) []byte {
	var all []string
	for _, some := range lines {
		all = append(all, some...)
	}
	return []byte(strings.TrimSuffix(strings.Join(all, ""), "\n") + "\n")
}

func TestWhatIsWrongIsNamed(t *testing.T) {
	text := sound(t)
	l := linesOf(text)
	for i := range l {
		l[i] = strings.TrimSuffix(l[i], "\n") + "\n"
	}
	other := linesOf(exported(t, "KVR", chainOf("KVR", chainLength)))
	changed := func(line int, old, with string) []byte {
		t.Helper()
		c := append([]string{}, l...)
		c[line-1] = strings.Replace(c[line-1], old, with, 1)
		if c[line-1] == l[line-1] {
			t.Fatalf("line %d has no %q: %s", line, old, l[line-1])
		}
		return joined(c)
	}
	swapped := func(a, b int) []byte {
		c := append([]string{}, l...)
		c[a-1], c[b-1] = c[b-1], c[a-1]
		return joined(c)
	}
	for name, tc := range map[string]struct {
		text           []byte
		line, sequence int64
		problem        string
	}{
		"empty":                        {nil, 1, 0, "the file is empty"},
		"another file":                 {[]byte("site,records\nRVB,12\n"), 1, 0, "is not JSON"},
		"another JSON":                 {[]byte(`{"type":"header","format":"something else","version":1}` + "\n"), 1, 0, "does not end with a sum"},
		"no header":                    {joined(l[1:]), 1, 0, "expected the header"},
		"a later version":              {changed(1, `"version":1`, `"version":2`), 1, 0, "version 2 of the format"},
		"header changed":               {changed(1, "2026-03-04", "2026-03-05"), 1, 0, "does not match its sum"},
		"header of another site":       {joined(other[:1], l[1:]), 2, 1, "does not stand here in the chain of site KVR"},
		"records of another site":      {joined(l[:1], other[1:]), 2, 1, "does not stand here in the chain of site RVB"},
		"one record of another site":   {joined(l[:5], other[5:6], l[6:]), 6, 5, "does not match its link"},
		"a record changed":             {changed(6, "fasteners=8", "fasteners=9"), 6, 5, "does not match its link"},
		"a link changed":               {changed(6, `"link":"`, `"link":"0`), 6, 5, "can't be read"},
		"a link's digit changed":       {changed(6, chainOf("RVB", 5)[4].Link.String(), chainOf("KVR", 5)[4].Link.String()), 6, 5, "does not match its link"},
		"a sequence changed":           {changed(6, `"sequence":5`, `"sequence":6`), 6, 5, "record 6 stands in its place"},
		"a finding changed":            {changed(7, "is above", "is below"), 7, 6, "findings on it are not those"},
		"a finding gone":               {changed(7, `"findings":[{`, `"attachments":[],"findings":[{`), 7, 6, "can't be read"},
		"a severity of none":           {changed(7, `"severity":"warn"`, `"severity":"mild"`), 7, 6, "a finding can't be read"},
		"an attachment changed":        {changed(5, "photo.jpg", "photo.png"), 5, 4, "where no link covers it"},
		"a field more":                 {changed(5, `"attachments"`, `"by":"x","attachments"`), 5, 4, "can't be read"},
		"a field twice":                {changed(5, `"sequence":4`, `"sequence":4,"sequence":4`), 5, 4, "another form"},
		"a space":                      {changed(5, `"sequence":4`, `"sequence": 4`), 5, 4, "another form"},
		"a record missing":             {joined(l[:5], l[6:]), 6, 5, "record 6 stands in its place"},
		"the first record missing":     {joined(l[:1], l[2:]), 2, 1, "record 2 stands in its place"},
		"the last record missing":      {joined(l[:chainLength], l[chainLength+1:]), chainLength + 1, chainLength, "is missing: the registers begin here"},
		"all that follows missing":     {joined(l[:5], l[len(l)-1:]), 6, 5, "is missing: the footer stands here"},
		"records swapped":              {swapped(6, 7), 6, 5, "record 6 stands in its place"},
		"a record twice":               {joined(l[:6], l[5:]), 7, 6, "record 5 stands here again"},
		"a register changed":           {changed(chainLength+3, "A. Reyes", "B. Reyes"), chainLength + 3, 0, "does not match its sum"},
		"registers swapped":            {swapped(chainLength+3, chainLength+4), chainLength + 3, 0, "does not match its sum"},
		"a register missing":           {joined(l[:chainLength+2], l[chainLength+3:]), chainLength + 3, 0, "does not match its sum"},
		"a record after the registers": {joined(l[:chainLength+2], l[chainLength:]), chainLength + 3, 0, "a record after the registers"},
		"a header twice":               {joined(l[:1], l), 2, 1, "a second header"},
		"an unknown type":              {changed(6, `"type":"record"`, `"type":"photo"`), 6, 5, `of type "photo"`},
		"footer with another head":     {changed(len(l), `"head":"`+chainOf("RVB", chainLength)[chainLength-1].Link.String(), `"head":"`+strings.Repeat("0", 64)), int64(len(l)), 0, "the footer says"},
		"footer with another count":    {changed(len(l), `"registers":3`, `"registers":4`), int64(len(l)), 0, "there are 12, 3 and 3"},
		"a line after the footer":      {joined(l, l[1:2]), int64(len(l)) + 1, 0, "after the footer"},
		"cut between lines":            {joined(l[:8]), 9, 8, "cut off after 7 of 12 records"},
		"cut within a line":            {text[:len(joined(l[:8]))+40], 9, 8, "ends within it"},
		"cut in the registers":         {joined(l[:chainLength+2]), chainLength + 3, 0, "before its footer"},
		"the last line end cut":        {bytes.TrimSuffix(text, []byte("\n")), int64(len(l)), 0, "ends within it"},
		"line ends of another system":  {bytes.ReplaceAll(text, []byte("\n"), []byte("\r\n")), 1, 0, "does not end with a sum"},
	} {
		s, err := proof.Verify(bytes.NewReader(tc.text))
		var f *proof.Fault
		if !errors.As(err, &f) {
			t.Errorf("%s: proved, %+v; expected a fault", name, s)
			continue
		}
		if f.Line != tc.line || f.Sequence != tc.sequence || !strings.Contains(f.Problem, tc.problem) {
			t.Errorf("%s: %v; expected line %d, record %d: %s", name, f, tc.line, tc.sequence, tc.problem)
		}
	}
}

// TestAWrongHead has the header announce another last link, with sums that fit.
func TestAWrongHead(t *testing.T) {
	chain := chainOf("RVB", 3)
	var b bytes.Buffer
	w, err := proof.NewWriter(&b, proof.Header{Site: "RVB", ExportTime: exportTime, Records: 3, Head: ledger.Link{7}})
	for _, r := range chain {
		err = errors.Join(err, w.Record(r))
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err == nil || !strings.Contains(err.Error(), "3 records were written") {
		t.Errorf("the writer closed it: %v", err)
	}
	_, err = proof.Verify(bytes.NewReader(b.Bytes()))
	if err == nil || !strings.Contains(err.Error(), "line 5: the file ends here") {
		t.Errorf("%v", err)
	}
}

// TestAChainMadeForAnotherSite has records of one site, linked anew under another's
// name: every link fits, and what the records say does not.
func TestAChainMadeForAnotherSite(t *testing.T) {
	chain := chainOf("KVR", 3)
	link := ledger.FirstLink("RVB")
	for i := range chain {
		link = nextLink(link, chain[i].Canonical)
		chain[i].Link = link
	}
	_, err := proof.Verify(bytes.NewReader(exported(t, "RVB", chain)))
	var f *proof.Fault
	if !errors.As(err, &f) || f.Line != 2 || f.Sequence != 1 || !strings.Contains(f.Problem, `a record of site "KVR", not of RVB`) {
		t.Errorf("%v", err)
	}
	// A record that says that it stands elsewhere in the chain.
	chain = chainOf("RVB", 3)
	chain[1].Canonical = bytes.Replace(chain[1].Canonical, []byte("sequence=2"), []byte("sequence=3"), 1)
	link = ledger.FirstLink("RVB")
	for i := range chain {
		link = nextLink(link, chain[i].Canonical)
		chain[i].Link = link
	}
	_, err = proof.Verify(bytes.NewReader(exported(t, "RVB", chain)))
	if !errors.As(err, &f) || f.Sequence != 2 || !strings.Contains(f.Problem, `says of itself that it is record "3"`) {
		t.Errorf("%v", err)
	}
}

// TestAFlippedByteIsNoticed flips one byte of an export after another, every fifth of them.
func TestAFlippedByteIsNoticed(t *testing.T) {
	text := exported(t, "RVB", chainOf("RVB", 4))
	line, atLine := int64(1), 0
	for i := range text {
		if text[i] == '\n' {
			line, atLine = line+1, i+1
		}
		if i%5 != 0 || text[i] == '\n' {
			continue
		}
		flipped := bytes.Clone(text)
		flipped[i] ^= 0x04
		_, err := proof.Verify(bytes.NewReader(flipped))
		var f *proof.Fault
		switch {
		case !errors.As(err, &f):
			t.Fatalf("byte %d, %q in line %d at %d, was flipped unseen", i, text[i], line, i-atLine)
		case f.Line != line && line > 1: // with another site or length in the header, records are wrong
			t.Errorf("byte %d of line %d was flipped: %v", i-atLine, line, f)
		}
	}
}

func TestALineThatHasNoEnd(t *testing.T) {
	endless := &repeated{text: "a"}
	_, err := proof.Verify(endless)
	var f *proof.Fault
	if !errors.As(err, &f) || f.Line != 1 || !strings.Contains(f.Problem, "longer than") {
		t.Errorf("%v", err)
	}
	if endless.given > 20<<20 {
		t.Errorf("%d bytes were read of a line without end", endless.given)
	}
}

// repeated gives a text for ever.
type repeated struct {
	text  string
	given int
}

func (r *repeated) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = r.text[i%len(r.text)]
	}
	r.given += len(p)
	return len(p), nil
}

func TestTheWriterKeepsTheOrder(t *testing.T) {
	chain := chainOf("RVB", 3)
	var b bytes.Buffer
	w, err := proof.NewWriter(&b, proof.Header{Site: "RVB", ExportTime: exportTime, Records: 3, Head: chain[2].Link})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Record(chain[1]); err == nil {
		t.Error("the second record was taken first")
	}
	if err := w.Register(proof.Register{Register: "sites", Name: "RVB"}); err != nil {
		t.Fatal(err)
	}
	if err := w.Record(chain[0]); err == nil {
		t.Error("a record was taken after the registers")
	}
	if err := w.Close(); err == nil {
		t.Error("it was closed without its records")
	}
}

func TestNamedIn(t *testing.T) {
	n := proof.NamedIn([]byte("sequence=4\nspecification=\"SS-M10-STR\"\nrevision=2\nkind=tightening\nperson=\"a.reyes\"\njoint=\"RVB/CT1/C1/J001\"\nlot=\"M10 \\\"4471\\\"\"\nbatch=\"AS-19\"\ntool=\"TW-0107\"\n"))
	if got := fmt.Sprint(n); got != `{[a.reyes] [M10 "4471"] [TW-0107] [AS-19] [] SS-M10-STR 2}` {
		t.Errorf("%s", got)
	}
	if n := proof.NamedIn([]byte("kind=hold\nrule=\"TORQUE\"\n")); len(n.AlarmRules) != 0 {
		t.Errorf("a hold names the alarm rule %v", n.AlarmRules)
	}
	if n := proof.NamedIn([]byte("kind=alarm\nrule=\"GALL\"\n")); len(n.AlarmRules) != 1 {
		t.Errorf("an alarm names %v", n.AlarmRules)
	}
}

func TestParseLink(t *testing.T) {
	want := ledger.FirstLink("RVB")
	if got, err := proof.ParseLink(want.String()); err != nil || got != want {
		t.Errorf("%v, %v", got, err)
	}
	for _, text := range []string{"", "abc", strings.Repeat("g", 64), want.String() + "0"} {
		if _, err := proof.ParseLink(text); err == nil {
			t.Errorf("%q was read", text)
		}
	}
}
