package proof

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// An export is JSON Lines in UTF-8: a header, a line for each record in the order of
// the chain, a line for each entry of the registers that the records name, a footer.
// Every line ends with a running sum: SHA-256 (FIPS 180-4) over the sum before it,
// 32 bytes of zero for the first, and the bytes of the line without its sum. The
// links prove the records; the running sum tells where anything else was changed.
const (
	// Format names the format in the header.
	Format = "jointledger chain export"
	// Version of the format.
	Version = 1
	// linkRule says in the header how to check the links by other means.
	linkRule = `link = SHA-256(link before it, 32 bytes, followed by the bytes of canonical); the link before the first is SHA-256("jointledger chain 1\n" + site + "\n")`
)

// The types of line.
const (
	headerType   = "header"
	recordType   = "record"
	registerType = "register"
	footerType   = "footer"
)

// Header says what an export is of.
type Header struct {
	Site string
	// ExportTime is when the state of the database was read.
	ExportTime time.Time
	// Records is the length of the chain, Head its last link.
	Records int64
	Head    ledger.Link
}

// Record is one record with its link.
type Record struct {
	Sequence int64
	// Canonical are the bytes that the link is made of (ledger.Canonical).
	Canonical []byte
	// Findings are what the rules found on it; their sum stands in Canonical.
	Findings    []rules.Finding
	Attachments []Attachment
	Link        ledger.Link
}

// Attachment is what was attached to a record. The chain does not cover it.
type Attachment struct {
	SHA256    string `json:"sha256"`
	FileName  string `json:"file_name"`
	MediaType string `json:"media_type"`
	// Size in bytes.
	Size int64 `json:"size"`
}

// Register is one entry of a register, such as a person, that records name. The
// chain does not cover it.
type Register struct {
	// Register is the register's name, such as people; Name is what records call
	// the entry.
	Register string
	Name     string
	// Fields are the entry's fields, by their names with their units; empty ones are
	// left out.
	Fields map[string]string
}

type headerLine struct {
	Type       string    `json:"type"`
	Format     string    `json:"format"`
	Version    int       `json:"version"`
	Site       string    `json:"site"`
	ExportTime time.Time `json:"export_time"`
	Records    int64     `json:"records"`
	Head       digest    `json:"head"`
	Rule       string    `json:"rule"`
}

type recordLine struct {
	Type        string        `json:"type"`
	Sequence    int64         `json:"sequence"`
	Canonical   string        `json:"canonical"`
	Findings    []findingItem `json:"findings,omitempty"`
	Attachments []Attachment  `json:"attachments,omitempty"`
	Link        digest        `json:"link"`
}

type findingItem struct {
	Rule     string   `json:"rule"`
	Severity string   `json:"severity"`
	Message  string   `json:"message"`
	Figure   *float64 `json:"figure,omitempty"`
	Limit    *float64 `json:"limit,omitempty"`
	Unit     string   `json:"unit,omitempty"`
	Source   string   `json:"source,omitempty"`
}

type registerLine struct {
	Type     string            `json:"type"`
	Register string            `json:"register"`
	Name     string            `json:"name"`
	Fields   map[string]string `json:"fields,omitempty"`
}

type footerLine struct {
	Type        string `json:"type"`
	Records     int64  `json:"records"`
	Registers   int64  `json:"registers"`
	Attachments int64  `json:"attachments"`
	Head        digest `json:"head"`
}

// digest is a SHA-256, in hexadecimal where it is text.
type digest [sha256.Size]byte

// MarshalText gives it in hexadecimal.
func (d digest) MarshalText() ([]byte, error) { return hex.AppendEncode(nil, d[:]), nil }

// UnmarshalText reads 64 hexadecimal digits.
func (d *digest) UnmarshalText(text []byte) error {
	if len(text) != 2*len(d) {
		return fmt.Errorf("%d characters; expected the %d hexadecimal digits of a SHA-256", len(text), 2*len(d))
	}
	_, err := hex.Decode(d[:], text)
	return err
}

// ParseLink reads a link in hexadecimal, as it is printed.
func ParseLink(text string) (ledger.Link, error) {
	var d digest
	err := d.UnmarshalText([]byte(text))
	return ledger.Link(d), err
}

// encode gives a line's one form, without its sum.
func encode(line any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(line); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// sumKey stands before the sum, sumTail is how long what follows the body is.
const (
	sumKey  = `,"sum":"`
	sumTail = len(sumKey) + 2*sha256.Size + len(`"}`)
)

// running is the running sum.
type running digest

// next takes in a line without its sum.
func (r *running) next(body []byte) {
	h := sha256.New()
	h.Write(r[:])
	h.Write(body)
	h.Sum(r[:0])
}

// sealed gives the line with its sum, ready to be written.
func (r *running) sealed(body []byte) []byte {
	r.next(body)
	line := append(body[:len(body)-1:len(body)-1], sumKey...)
	line = hex.AppendEncode(line, r[:])
	return append(line, "\"}\n"...)
}
