package cli

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// enteredLine is a line of a sheet that tells a record.
type enteredLine struct {
	row     *csvfile.Row
	kind    ledger.RecordKind
	record  record
	place   ledger.Place
	summary string
	// columns gives the column of each field of the API.
	columns map[string]string
}

// sheetReader reads the lines of a sheet.
type sheetReader struct {
	a       *app
	options enterOptions
	// seen counts lines of the same content, so that each has an id of its own.
	seen map[[sha256.Size]byte]int
	// leftEmpty counts lines on which nothing was filled in.
	leftEmpty int
}

// line reads one line; nil when it is bad, or was left empty.
func (s *sheetReader) line(ctx context.Context, row *csvfile.Row) (*enteredLine, error) {
	if untouched(row) {
		s.leftEmpty++
		return nil, nil
	}
	kind := s.kindOf(row)
	if kind == nil {
		return nil, nil
	}
	f := newFields(&cobra.Command{})
	r := kind.make(f)
	l := &enteredLine{row: row, kind: kind.kind, record: r.record, columns: r.columns}
	l.columns["name"], l.columns["entry.occur_time"], l.columns["entry.utc_offset_minutes"] = "id", "at", "at"
	l.columns["entry.person"], l.columns["entry.note"], l.columns["entry.device"] = "person", "note", "device"
	if r.kind == nil {
		noColumn(row, kind, "kind")
	} else if err := r.kind(row.Text("kind")); err != nil {
		row.Fail("kind", "%v", err)
	}
	l.readFlags(f, kind)
	if err := s.fill(f, r, row); err != nil {
		return nil, err
	}
	readFasteners(row, kind, r)
	s.place(l, r)
	e, err := s.entry(ctx, row)
	if err != nil {
		return nil, err
	}
	if row.Bad() {
		return nil, nil
	}
	r.finish(s.idOf(row, l.kind, e), e)
	l.summary = r.summary(l.place)
	l.validate()
	return l, nil
}

// untouched says whether nothing was written on a line that was prepared.
func untouched(row *csvfile.Row) bool {
	for _, c := range enterColumns() {
		if !slices.Contains(untouchedColumns, c.Name) && row.Text(c.Name) != "" {
			return false
		}
	}
	return true
}

// kindOf is the kind of record that a line tells; nil when it says none.
func (s *sheetReader) kindOf(row *csvfile.Row) *lineKind {
	text := row.Text("record")
	if text == "" {
		text = s.options.record
	}
	var words []string
	for i, k := range lineKinds {
		word := ledger.RecordKinds.Name(k.kind)
		if strings.EqualFold(word, text) {
			return &lineKinds[i]
		}
		words = append(words, word)
	}
	hint := ""
	if n, ok := nearest.Name(strings.ToLower(text), words); ok {
		hint = "; did you mean " + n + "?"
	} else if text == "" {
		hint = "; --record says it for all lines"
	}
	row.Fail("record", "expected one of %s, got %s%s", strings.Join(words, ", "), csvfile.Quote(text), hint)
	return nil
}

// noColumn notes a cell that a record of the kind has no use for.
func noColumn(row *csvfile.Row, kind *lineKind, column string) {
	if text := row.Text(column); text != "" {
		row.Fail(column, "expected nothing, since this says nothing of a %s, got %s", ledger.RecordKinds.Name(kind.kind), csvfile.Quote(text))
	}
}

// readFlags reads the cells that stand for flags.
func (l *enteredLine) readFlags(f *fields, kind *lineKind) {
	by := map[string]string{}
	for _, c := range flagColumns {
		text := l.row.Text(c.name)
		flag := f.cmd.Flags().Lookup(c.flag)
		switch {
		case flag == nil:
			noColumn(l.row, kind, c.name)
			continue
		case text == "":
		case by[c.flag] != "":
			l.row.Fail(c.name, "expected one of %s and %s, got both", by[c.flag], c.name)
		default:
			by[c.flag] = c.name
			if err := f.cmd.Flags().Set(c.flag, text+c.unit); err != nil {
				l.row.Fail(c.name, "%s", answerProblem(err))
			}
		}
		if path := f.paths[c.flag]; l.columns[path] == "" || by[c.flag] == c.name {
			l.columns[path] = c.name
		}
	}
}

// fill takes what is kept for the shift and says what is missing still.
func (s *sheetReader) fill(f *fields, r lineRecord, row *csvfile.Row) error {
	if row.Bad() {
		return nil
	}
	if err := s.a.fillIn(f, r.fill()...); err != nil {
		return err
	}
	for _, name := range r.need() {
		if !f.cmd.Flags().Changed(name) {
			hint := ""
			if slices.Contains(handKeys, name) {
				hint = "; none is kept for the shift (trackctl at --" + name + ")"
			}
			row.Fail(name, "expected %s, got nothing%s", f.cmd.Flags().Lookup(name).Usage, hint)
		}
	}
	return nil
}

func readFasteners(row *csvfile.Row, kind *lineKind, r lineRecord) {
	if r.fasteners == nil {
		noColumn(row, kind, "fasteners")
		return
	}
	least, blank := r.least()
	if row.Text("fasteners") == "" && blank >= least {
		r.fasteners(blank)
		return
	}
	r.fasteners(int32(row.RequiredWhole("fasteners", int64(least), ledger.MaxFasteners)))
}

// place reads where it was: in one cell, or in one for each part of the name.
func (s *sheetReader) place(l *enteredLine, r lineRecord) {
	column, text := "place", l.row.Text("place")
	if text == "" {
		var parts []string
		for _, c := range []string{"site", "tower", "cell", "joint"} {
			if t := l.row.Text(c); t != "" {
				parts = append(parts, t)
			}
		}
		if text = strings.Join(parts, "/"); text != "" {
			column = "joint"
		}
	}
	for _, field := range []string{"joint", "site"} {
		if l.columns[field] != "" {
			l.columns[field] = column
		}
	}
	if text == "" {
		l.row.Fail("place", "expected a joint such as RVB/CT2/C3/J014, or J014 in the current cell, got nothing")
		return
	}
	place, err := s.a.placeHere(text, r.depths()...)
	if err != nil {
		l.row.Fail(column, "%v", err)
		return
	}
	l.place = place
	r.place(place)
}

// entry reads when it was and who reports.
func (s *sheetReader) entry(ctx context.Context, row *csvfile.Row) (*pb.Entry, error) {
	at, problem := s.moment(row.Text("at"))
	if problem != "" {
		row.Fail("at", "%s", problem)
	}
	_, seconds := at.Zone()
	e := &pb.Entry{OccurTime: timestamppb.New(at), UtcOffsetMinutes: int32(seconds / 60), Device: row.Text("device"), Note: row.Text("note"), Offline: true}
	if text := row.Text("person"); text != "" {
		name, err := resourceArg(text, "people")
		if err != nil {
			row.Fail("person", "%v", err)
		}
		e.Person = name
		return e, nil
	}
	if err := s.a.findPerson(ctx, false); err != nil {
		return nil, err
	}
	if s.a.settings.person == "" {
		row.Fail("person", "expected who reports it, got nothing; --person says it for all lines")
	}
	e.Person = "people/" + s.a.settings.person
	return e, nil
}

// moment reads a time: whole, or as a person writes it on a form, on this device's
// clock.
func (s *sheetReader) moment(text string) (at time.Time, problem string) {
	if text == "" {
		if s.options.at.IsZero() {
			return at, "expected a time such as " + csvfile.TimeExample + ", got nothing; --at says it for all lines"
		}
		return s.options.at, ""
	}
	here := s.a.now().Location()
	if t, err := time.ParseInLocation("2006-01-02 15:04", text, here); err == nil {
		return t, ""
	}
	if hour, err := time.ParseInLocation("15:04", text, here); err == nil {
		if s.options.date.IsZero() {
			return at, "expected the day besides; --date says it for all lines"
		}
		d := s.options.date
		return time.Date(d.Year(), d.Month(), d.Day(), hour.Hour(), hour.Minute(), 0, 0, here), ""
	}
	t, err := csvfile.ParseTime(text)
	if err != nil {
		return at, err.Error() + "; or 2026-03-02 07:25, or 07:25 with --date"
	}
	return t, ""
}

// idOf is the id of a line: the one that it gives, or one that follows from what was
// written on it, so that entering a sheet again, also one that has grown, keeps nothing
// twice.
func (s *sheetReader) idOf(row *csvfile.Row, kind ledger.RecordKind, e *pb.Entry) string {
	if text := row.Text("id"); text != "" {
		return text
	}
	h := sha256.New()
	fmt.Fprintf(h, "line of a sheet\n%s\n%d\n", ledger.RecordKinds.Name(kind), e.GetOccurTime().AsTime().UnixMicro())
	for _, c := range enterColumns() {
		if text := row.Text(c.Name); text != "" && c.Name != "left" && c.Name != "needs" {
			fmt.Fprintf(h, "%s=%q\n", c.Name, text)
		}
	}
	var sum [sha256.Size]byte
	h.Sum(sum[:0])
	s.seen[sum]++
	binary.BigEndian.PutUint64(sum[8:], binary.BigEndian.Uint64(sum[8:])+uint64(s.seen[sum]-1))
	return lineID(e.GetOccurTime().AsTime(), sha256.Sum256(sum[:])).String()
}

// lineID makes a UUIDv7 (RFC 9562, 5.7) of a moment and of what stands for chance.
func lineID(at time.Time, sum [sha256.Size]byte) uuid.UUID {
	var id uuid.UUID
	copy(id[:], sum[:])
	var milliseconds [8]byte
	binary.BigEndian.PutUint64(milliseconds[:], uint64(max(0, at.UnixMilli())))
	copy(id[:6], milliseconds[2:])
	id[6] = 0x70 | id[6]&0x0f
	id[8] = 0x80 | id[8]&0x3f
	return id
}

// validate checks the record as the server will, and notes what is wrong by column.
func (l *enteredLine) validate() {
	r, problems := wire.RecordFrom(l.record)
	if r == nil {
		l.row.Fail("record", "can't be sent")
		return
	}
	for _, p := range problems.With(r.Validate()) {
		l.fail(p.Field, p.Description)
	}
}

// fail notes what is wrong with a field.
func (l *enteredLine) fail(field, description string) {
	path := field
	for {
		if c, ok := l.columns[path]; ok {
			l.row.Fail(c, "%s", description)
			return
		}
		_, rest, more := strings.Cut(path, ".")
		if !more {
			l.row.Fail("record", "%s: %s", field, description)
			return
		}
		path = rest
	}
}
