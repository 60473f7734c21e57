package csvfolder

import (
	"fmt"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
	pb "jointledger/proto/jointledger/v1"
)

// word reads a word of a closed list; 0 when the cell is empty or wrong.
func word[T ~uint8](row *csvfile.Row, column string, words ledger.Words[T]) T {
	text := row.Text(column)
	if text == "" {
		return 0
	}
	v, err := words.Parse(text)
	if err != nil {
		hint := ""
		if n, ok := nearest.Name(text, words.All()); ok {
			hint = fmt.Sprintf("; did you mean %s?", n)
		}
		row.Fail(column, "expected one of %s, got %s%s", strings.Join(words.All(), ", "), csvfile.Quote(text), hint)
	}
	return v
}

// requiredWord reads a word of a closed list that must be there.
func requiredWord[T ~uint8](row *csvfile.Row, column string, words ledger.Words[T]) T {
	if row.Text(column) == "" {
		row.Fail(column, "expected one of %s, got nothing", strings.Join(words.All(), ", "))
		return 0
	}
	return word(row, column, words)
}

// part reads one part of a place's name.
func part(row *csvfile.Row, column string) string {
	text := row.Required(column, "the code or tag of a "+strings.TrimPrefix(column, "home_"))
	if strings.Contains(text, "/") || text == "-" {
		row.Fail(column, "expected capital letters, digits and hyphens, got %s", csvfile.Quote(text))
		return ""
	}
	return text
}

// place reads the columns site, tower, cell and joint down to depth.
func place(row *csvfile.Row, depth int) ledger.Place {
	columns := []string{"site", "tower", "cell", "joint"}[:depth]
	if p, ok := soundPlace(row, columns); ok {
		return p
	}
	// What is wrong is told of the first column that is.
	var parts []string
	for _, column := range columns {
		p := part(row, column)
		if p == "" {
			return ledger.Place{}
		}
		parts = append(parts, p)
		if _, err := ledger.ParsePlace(strings.Join(parts, "/")); err != nil {
			row.Fail(column, "expected capital letters, digits and hyphens, got %s (%v)", csvfile.Quote(p), err)
			return ledger.Place{}
		}
	}
	p, err := ledger.ParsePlace(strings.Join(parts, "/"))
	if err != nil {
		return ledger.Place{}
	}
	return p
}

// soundPlace reads a place whose columns are all as they should be.
func soundPlace(row *csvfile.Row, columns []string) (p ledger.Place, ok bool) {
	var b strings.Builder
	for i, column := range columns {
		text := row.Text(column)
		if text == "" || text == "-" || strings.Contains(text, "/") {
			return p, false
		}
		if i > 0 {
			b.WriteByte('/')
		}
		b.WriteString(text)
	}
	p, err := ledger.ParsePlace(b.String())
	return p, err == nil
}

// siteResource reads the code of a site in the column and gives its resource name;
// empty when the cell is empty and need not be filled.
func siteResource(row *csvfile.Row, column string, need bool) string {
	if row.Text(column) == "" && !need {
		return ""
	}
	code := part(row, column)
	if code == "" {
		return ""
	}
	p, err := ledger.ParsePlace(code)
	if err != nil {
		row.Fail(column, "expected the code of a site, got %s (%v)", csvfile.Quote(code), err)
		return ""
	}
	return p.Resource()
}

// resource reads the name of something in a collection; empty when the cell is
// empty and need not be filled.
func resource(row *csvfile.Row, column, collection string, need bool) string {
	text := row.Text(column)
	switch {
	case text == "" && need:
		row.Required(column, "the name of one of the "+collection)
		return ""
	case text == "":
		return ""
	case strings.Contains(text, "/"):
		row.Fail(column, "expected a name without slashes, got %s", csvfile.Quote(text))
		return ""
	}
	return collection + "/" + text
}

// recordName reads the id of a record.
func recordName(row *csvfile.Row, collection string) string {
	text := row.Text("id")
	id, err := uuid.Parse(text)
	if err != nil || len(text) != len(uuid.UUID{}.String()) || id.Version() != 7 {
		row.Fail("id", "expected a UUIDv7 such as 019cadd3-6bc0-77c9-9e41-58325664ba11, got %s", csvfile.Quote(text))
		return ""
	}
	return collection + "/" + id.String()
}

// entry reads what every record carries; the columns person, device and note may
// be missing.
func entry(row *csvfile.Row, personRequired bool) *pb.Entry {
	at := row.RequiredTime("at")
	_, seconds := at.Zone()
	return &pb.Entry{
		OccurTime:        timestamppb.New(at),
		UtcOffsetMinutes: int32(seconds / 60),
		Person:           resource(row, "person", "people", personRequired),
		Device:           row.Text("device"),
		Note:             row.Text("note"),
		// What comes from a file comes late, whatever the clocks say.
		Offline: true,
	}
}

// entryFields are the columns of an entry's fields.
func entryFields(more map[string]string) map[string]string {
	fields := map[string]string{
		"name": "id", "entry.occur_time": "at", "entry.utc_offset_minutes": "at",
		"entry.person": "person", "entry.device": "device", "entry.note": "note",
	}
	for k, v := range more {
		fields[k] = v
	}
	return fields
}
