package proof

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Fault is the first thing in an export that is not as it was written.
type Fault struct {
	// Line counts from 1.
	Line int64
	// Sequence is the record's place in the chain; 0 where the line is of none.
	Sequence int64
	// Problem is a clause that says what is wrong.
	Problem string
}

// Error gives the sentence for a person.
func (f *Fault) Error() string {
	if f.Sequence > 0 {
		return fmt.Sprintf("line %d, record %d: %s", f.Line, f.Sequence, f.Problem)
	}
	return fmt.Sprintf("line %d: %s", f.Line, f.Problem)
}

// Summary says what was proved.
type Summary struct {
	Site       string
	ExportTime time.Time
	// Records is how many there are, each with a link that was made again.
	Records int64
	// Registers and Attachments are how many are named. The chain does not cover
	// them.
	Registers, Attachments int64
	// Head is the last link.
	Head ledger.Link
	// At gives, of each link that was asked for and stands in the chain, the
	// sequence of its record; 0 for what the first record is linked to.
	At map[ledger.Link]int64
}

// longestLine bounds a line, so that no file takes all memory.
const longestLine = 16 << 20

// Verify reads an export line by line and makes every link again. The links asked
// for, such as one that was printed on a hand-over record, are looked for in the
// chain: what stands up to such a link is what stood there when it was noted, also
// when somebody has made the whole chain anew since. The error is a *Fault that
// names the first line that is not as it was written, or what the reader gave.
func Verify(r io.Reader, sought ...ledger.Link) (Summary, error) {
	v := verifier{r: bufio.NewReaderSize(r, 64<<10), wanted: map[ledger.Link]bool{}}
	v.summary.At = map[ledger.Link]int64{}
	for _, l := range sought {
		v.wanted[l] = true
	}
	for {
		line, err := v.read()
		if errors.Is(err, io.EOF) {
			return v.summary, v.end()
		}
		if err == nil {
			err = v.take(line)
		}
		if err != nil {
			return v.summary, err
		}
	}
}

type verifier struct {
	r       *bufio.Reader
	number  int64 // of the line
	stage   string
	sum     running
	header  headerLine
	last    ledger.Link
	wanted  map[ledger.Link]bool
	summary Summary
}

func (v *verifier) fault(format string, args ...any) *Fault {
	return &Fault{Line: v.number, Problem: fmt.Sprintf(format, args...)}
}

// recordFault is a fault where the next record is expected.
func (v *verifier) recordFault(format string, args ...any) *Fault {
	f := v.fault(format, args...)
	f.Sequence = v.summary.Records + 1
	return f
}

// lineFault names the record where one is expected.
func (v *verifier) lineFault(format string, args ...any) *Fault {
	if (v.stage == headerType || v.stage == recordType) && v.summary.Records < v.header.Records {
		return v.recordFault(format, args...)
	}
	return v.fault(format, args...)
}

// read gives the next line without its end; io.EOF when there is none.
func (v *verifier) read() ([]byte, error) {
	var line []byte
	for {
		part, err := v.r.ReadSlice('\n')
		line = append(line, part...)
		switch {
		case len(line) > longestLine:
			v.number++
			return nil, v.lineFault("is longer than %d bytes", longestLine)
		case err == nil:
			v.number++
			return line[:len(line)-1], nil
		case errors.Is(err, bufio.ErrBufferFull):
		case errors.Is(err, io.EOF) && len(line) > 0:
			v.number++
			return nil, v.lineFault("is cut off: the file ends within it")
		default:
			return nil, err
		}
	}
}

// end says what is missing where the file ends.
func (v *verifier) end() error {
	if v.stage == footerType {
		return nil
	}
	v.number++
	if v.stage == "" {
		return v.fault("the file is empty; expected the header of an export")
	}
	return v.lineFault("the file ends here, before its footer: it was cut off after %d of %d records", v.summary.Records, v.header.Records)
}

// take checks one line. What the links prove comes before the sum of the line, so
// that a change is told by what it changed.
func (v *verifier) take(line []byte) error {
	if v.stage == footerType {
		return v.fault("stands after the footer")
	}
	var kind struct {
		Type string `json:"type"`
	}
	if err := json.Unmarshal(line, &kind); err != nil {
		return v.lineFault("is not JSON: %v", err)
	}
	if len(line) < sumTail+1 || !bytes.HasPrefix(line[len(line)-sumTail:], []byte(sumKey)) {
		return v.lineFault("does not end with a sum")
	}
	body := append(line[:len(line)-sumTail:len(line)-sumTail], '}')
	if v.stage == "" && kind.Type != headerType {
		return v.fault("is of type %q; expected the header of an export", kind.Type)
	}
	var err error
	switch kind.Type {
	case headerType:
		err = v.takeHeader(body)
	case recordType:
		err = v.takeRecord(body)
	case registerType:
		err = v.takeRegister(body)
	case footerType:
		err = v.takeFooter(body)
	default:
		err = v.lineFault("is of type %q; expected %s, %s or %s", kind.Type, recordType, registerType, footerType)
	}
	if err != nil {
		return err
	}
	v.sum.next(body)
	if got := string(line[len(line)-sumTail+len(sumKey) : len(line)-2]); got != hex.EncodeToString(v.sum[:]) {
		f := v.fault("does not match its sum: it was changed where no link covers it, or lines are missing or out of order")
		if kind.Type == recordType {
			f.Sequence = v.summary.Records
		}
		return f
	}
	return nil
}

// decode reads a line that has the one form that it was written in: no field
// unknown, twice or in another order, no space between.
func decode[T any](body []byte, into *T) error {
	d := json.NewDecoder(bytes.NewReader(body))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	again, err := encode(*into)
	if err == nil && !bytes.Equal(again, body) {
		err = errors.New("it has another form than it was written in")
	}
	return err
}

func (v *verifier) takeHeader(body []byte) error {
	if v.stage != "" {
		return v.lineFault("is a second header")
	}
	var form struct {
		Format  string `json:"format"`
		Version int    `json:"version"`
	}
	switch err := json.Unmarshal(body, &form); {
	case err != nil || form.Format != Format:
		return v.fault("is not the header of an export of a chain")
	case form.Version != Version:
		return v.fault("the export has version %d of the format, and this program reads version %d", form.Version, Version)
	}
	if err := decode(body, &v.header); err != nil {
		return v.fault("the header can't be read: %v", err)
	}
	if v.header.Records < 0 || v.header.Site == "" {
		return v.fault("the header names no site or no number of records")
	}
	v.stage = headerType
	v.last = ledger.FirstLink(v.header.Site)
	v.note(0)
	v.summary.Site, v.summary.ExportTime, v.summary.Head = v.header.Site, v.header.ExportTime, v.last
	return nil
}

// note remembers where a link that was asked for stands.
func (v *verifier) note(sequence int64) {
	if v.wanted[v.last] {
		v.summary.At[v.last] = sequence
	}
}

func (v *verifier) takeRecord(body []byte) error {
	next := v.summary.Records + 1
	if v.stage == registerType {
		return v.fault("is a record after the registers: lines are out of order")
	}
	var r recordLine
	if err := decode(body, &r); err != nil {
		return v.recordFault("can't be read: %v", err)
	}
	switch {
	case r.Sequence < next:
		return v.recordFault("record %d stands here again, or is out of order", r.Sequence)
	case r.Sequence > next:
		return v.recordFault("is missing or out of order: record %d stands in its place", r.Sequence)
	case next > v.header.Records:
		return v.recordFault("stands beyond the %d records that the header announces", v.header.Records)
	}
	var link ledger.Link
	h := sha256.New()
	h.Write(v.last[:])
	h.Write([]byte(r.Canonical))
	h.Sum(link[:0])
	if link != ledger.Link(r.Link) {
		return v.recordFault("does not match its link: it was changed, or does not stand here in the chain of site %s", v.header.Site)
	}
	if err := v.content(r); err != nil {
		return err
	}
	v.stage, v.last = recordType, link
	v.summary.Records, v.summary.Head = next, link
	v.summary.Attachments += int64(len(r.Attachments))
	v.note(next)
	return nil
}

// content checks that what the canonical bytes say is what the line says.
func (v *verifier) content(r recordLine) error {
	f := fieldsOf(r.Canonical)
	if got := f["sequence"]; got != strconv.FormatInt(r.Sequence, 10) {
		return v.recordFault("says of itself that it is record %q", got)
	}
	if site := f.site(); site != v.header.Site {
		return v.recordFault("is a record of site %q, not of %s", site, v.header.Site)
	}
	findings := make([]rules.Finding, 0, len(r.Findings))
	for _, one := range r.Findings {
		severity, err := rules.Severities.Parse(one.Severity)
		if err != nil {
			return v.recordFault("a finding can't be read: %v", err)
		}
		findings = append(findings, rules.Finding{Rule: one.Rule, Severity: severity, Message: one.Message,
			Figure: one.Figure, Limit: one.Limit, Unit: one.Unit, Source: one.Source})
	}
	want := ""
	if len(findings) > 0 {
		want = ledger.Link(rules.Sum(findings)).String()
	}
	if f["findings"] != want {
		return v.recordFault("the findings on it are not those that its link covers")
	}
	return nil
}

func (v *verifier) takeRegister(body []byte) error {
	if v.summary.Records < v.header.Records {
		return v.recordFault("is missing: the registers begin here")
	}
	var r registerLine
	if err := decode(body, &r); err != nil {
		return v.fault("can't be read: %v", err)
	}
	v.stage = registerType
	v.summary.Registers++
	return nil
}

func (v *verifier) takeFooter(body []byte) error {
	if v.summary.Records < v.header.Records {
		return v.recordFault("is missing: the footer stands here")
	}
	var f footerLine
	if err := decode(body, &f); err != nil {
		return v.fault("the footer can't be read: %v", err)
	}
	switch {
	case v.last != ledger.Link(v.header.Head):
		return v.fault("the chain ends at %s, and the header says %s", v.last, ledger.Link(v.header.Head))
	case v.last != ledger.Link(f.Head):
		return v.fault("the chain ends at %s, and the footer says %s", v.last, ledger.Link(f.Head))
	case f.Records != v.summary.Records || f.Registers != v.summary.Registers || f.Attachments != v.summary.Attachments:
		return v.fault("the footer counts %d records, %d entries of registers and %d attachments; there are %d, %d and %d",
			f.Records, f.Registers, f.Attachments, v.summary.Records, v.summary.Registers, v.summary.Attachments)
	}
	v.stage = footerType
	return nil
}
