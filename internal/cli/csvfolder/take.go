package csvfolder

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/cli/csvfile"
	pb "jointledger/proto/jointledger/v1"
)

// A batch is sent when it has so many members or so many bytes.
const (
	batchMembers = 1000
	batchBytes   = 2 << 20
)

// Options say how a folder is taken in.
type Options struct {
	// KeepGood takes the good lines of a file that has bad ones.
	KeepGood bool
	// DryRun checks everything and keeps nothing.
	DryRun bool
	// Progress is told, now and then, how far a file has come; nil for nobody.
	Progress func(Progress)
}

// Progress is how far the taking of one file has come.
type Progress struct {
	File string
	// Checking says that nothing is kept yet.
	Checking bool
	// Done of Total messages were answered. Total is 0 while they are checked: the file
	// is being read.
	Done, Total int
}

// Status says what became of a file.
type Status string

// The statuses.
const (
	// StatusTaken: everything in the file is kept now.
	StatusTaken Status = "taken"
	// StatusPartlyTaken: the good lines are kept, the bad ones are not.
	StatusPartlyTaken Status = "partly-taken"
	// StatusRefused: the file has bad lines; nothing of it was taken.
	StatusRefused Status = "refused"
	// StatusSkipped: a file that this one needs was refused.
	StatusSkipped Status = "skipped"
	// StatusNotFinished: the taking was broken off; what is counted is kept.
	StatusNotFinished Status = "not-finished"
	// StatusValid: a dry run found nothing wrong.
	StatusValid Status = "valid"
	// StatusLeftAlone: the file is not one of the import format.
	StatusLeftAlone Status = "left-alone"
)

// FileReport is what became of one file.
type FileReport struct {
	File string
	// Taken, AlreadyKnown and Refused count things and records, not lines; Refused
	// counts bad lines where the file itself is wrong.
	Taken, AlreadyKnown, Refused int
	Status                       Status
	Note                         string
	Problems                     csvfile.Problems
	// Findings is how often the records taken or known break each rule.
	Findings map[Broken]int
}

// Broken is a rule that records break, with what a finding of it asks for.
type Broken struct {
	Rule     string
	Severity pb.Severity
}

// find counts the findings on one record.
func (r *FileReport) find(findings []*pb.Finding) {
	for _, f := range findings {
		if r.Findings == nil {
			r.Findings = map[Broken]int{}
		}
		r.Findings[Broken{f.GetRule(), f.GetSeverity()}]++
	}
}

// uncount forgets what was counted before everything is sent again.
func (r *FileReport) uncount() { r.Taken, r.AlreadyKnown, r.Findings = 0, 0, nil }

// Take takes the folder into the ledger and reports on each file, in the order in
// which they were taken. The error says that it had to stop: the folder could not
// be read (*NotReadableError) or a call failed (a gRPC status); the reports are
// then of the files before it.
func Take(ctx context.Context, path string, conn grpc.ClientConnInterface, options Options) ([]*FileReport, error) {
	f, other, err := openFolder(path, options)
	if err != nil {
		return nil, err
	}
	t := &taker{folder: f, conn: conn, withheld: map[string]bool{}, offered: map[string]bool{}, asked: map[string]bool{}}
	var reports []*FileReport
	for _, k := range kinds() {
		if !f.has(k.file) && (k.file != cellsFile || !f.has(jointsFile)) {
			continue
		}
		report, err := t.take(ctx, k)
		if report != nil {
			reports = append(reports, report)
		}
		if err != nil {
			if report != nil {
				report.Status, report.Note = StatusNotFinished, "broken off; importing the folder again is safe"
			}
			return reports, err
		}
	}
	for _, name := range other {
		reports = append(reports, &FileReport{File: name, Status: StatusLeftAlone, Note: leftAlone(name)})
	}
	return reports, nil
}

type taker struct {
	*folder
	conn grpc.ClientConnInterface
	// withheld are the files of which nothing was taken.
	withheld map[string]bool
	// offered are the things that a dry run would have taken.
	offered map[string]bool
	// asked says of things that a dry run looked up whether the server knows them.
	asked map[string]bool
}

// take takes one file: it is read and checked, by the server too, and only when all is
// well read again and sent to be kept.
func (t *taker) take(ctx context.Context, k *kind) (*FileReport, error) {
	report := &FileReport{File: k.file}
	if missing := t.missing(k); len(missing) > 0 && !t.has(k.file) {
		t.withheld[k.file] = true
		return nil, nil
	} else if len(missing) > 0 {
		report.Status, report.Note = StatusSkipped, "needs "+strings.Join(missing, ", ")+"; "+nothingTaken
		t.withheld[k.file] = true
		return report, nil
	}
	// A file with bad lines is checked to its end all the same: what the server would
	// refuse of the others is told in the same round.
	total, err := t.check(ctx, k, report, t.options.DryRun || !t.options.KeepGood)
	var unreadable *NotReadableError
	switch {
	case errors.As(err, &unreadable):
		return nil, err
	case err != nil:
		report.uncount()
		return report, err
	}
	if !t.has(k.file) {
		if total == 0 {
			return nil, nil
		}
		report.Note = fmt.Sprintf("implied by %s", jointsFile)
	}
	switch {
	case t.options.DryRun:
		t.endDryRun(report)
		return report, nil
	case report.Refused > 0 && !t.options.KeepGood:
		return t.refuse(report), nil
	}
	report.uncount()
	if err := t.keep(ctx, k, report, total); err != nil {
		return report, err
	}
	report.Status = StatusTaken
	switch {
	case report.Refused > 0 && report.Taken+report.AlreadyKnown == 0:
		report.Status, report.Note = StatusRefused, nothingTaken
	case report.Refused > 0:
		report.Status = StatusPartlyTaken
	}
	return report, nil
}

// nothingTaken is the note on a file that is refused.
const nothingTaken = "nothing of this file was taken"

func (t *taker) refuse(report *FileReport) *FileReport {
	t.withheld[report.File] = true
	report.uncount()
	report.Status = StatusRefused
	report.Note = nothingTaken
	return report
}

func (t *taker) endDryRun(report *FileReport) {
	report.Status = StatusValid
	if report.Refused > 0 {
		report.Status = StatusRefused
		if t.options.KeepGood && report.Taken+report.AlreadyKnown > 0 {
			report.Status = StatusPartlyTaken
		} else if !t.options.KeepGood {
			t.withheld[report.File] = true
		}
	}
	report.Note = strings.TrimPrefix(report.Note+"; nothing was kept: this was a dry run", "; ")
}

// missing are the files that k needs and of which nothing was taken.
func (t *taker) missing(k *kind) []string {
	var names []string
	for _, name := range k.needs {
		if t.withheld[name] {
			names = append(names, name)
		}
	}
	return names
}

// items reads the items of a file. One with a name that an earlier one had must
// have the same content.
func (t *taker) items(k *kind, problems *csvfile.Problems, emit func(*Item) error) error {
	// By digests of names: very many names, kept as they are, would be most of the memory
	// that an import takes.
	type first struct {
		line    int
		content digest
	}
	seen := map[digest]first{}
	check := func(item *Item) error {
		content, err := digestOf(item.Message)
		if err != nil {
			return err
		}
		name := digestOfText([]byte(item.Name))
		have, twice := seen[name]
		if twice && have.content != content {
			row := item.rows[0]
			problems.Add(row.Problem(k.nameColumn(), fmt.Sprintf("expected a name that no other line has, got that of line %d with other content", have.line)))
			return nil
		}
		seen[name] = first{item.rows[0].Line, content}
		return emit(item)
	}
	if k.read != nil {
		return k.read(t.folder, k, problems, check)
	}
	return t.scan(k, problems, func(row *csvfile.Row) error {
		item := k.decode(row)
		if item == nil {
			return nil
		}
		return check(item)
	})
}

// digest is the first half of a SHA-256: of a thousand million texts, two have the same
// once in 10^21 cases.
type digest [sha256.Size / 2]byte

func digestOf(m proto.Message) (digest, error) {
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	return digestOfText(data), err
}

func digestOfText(text []byte) digest {
	sum := sha256.Sum256(text)
	return digest(sum[:sha256.Size/2])
}

func (k *kind) nameColumn() string { return k.fields["name"] }

// count counts an item that was taken or known; of another it gives what is wrong
// with it.
func (t *taker) count(ctx context.Context, k *kind, report *FileReport, item *Item, answer *pb.Outcome) ([]csvfile.Problem, error) {
	refusal := answer.GetRefusal()
	switch state := answer.GetState(); {
	case state == pb.Outcome_STATE_TAKEN:
		report.Taken++
		report.find(answer.GetFindings())
	case state == pb.Outcome_STATE_ALREADY_KNOWN, t.knownOtherwise(item, answer):
		report.AlreadyKnown++
		report.find(answer.GetFindings())
	case t.comes(refusal.GetResourceName()) && refusal.GetReason() == pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE:
		problems, err := t.unknownReferences(ctx, k, item)
		if err == nil && len(problems) == 0 {
			report.Taken++
		}
		return problems, err
	default:
		return k.problems(item, refusal), nil
	}
	return nil, nil
}

// comes says whether the folder brings a thing that the server need not know yet:
// one that a dry run would have taken, or a cell of a file that is only checked.
func (t *taker) comes(name string) bool { return t.offered[name] || t.checkedOnly[name] }

// knownOtherwise says whether a thing that was only implied exists with content
// of its own.
func (t *taker) knownOtherwise(item *Item, answer *pb.Outcome) bool {
	return item.implied && answer.GetRefusal().GetReason() == pb.ErrorReason_ERROR_REASON_RESOURCE_EXISTS
}
