package proof

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"jointledger/internal/rules"
)

// Writer writes an export. Records come first, in the order of the chain, then the
// registers; Close writes the footer.
type Writer struct {
	w                               io.Writer
	sum                             running
	header                          Header
	records, registers, attachments int64
	last                            digest
}

// NewWriter writes the header of an export to w.
func NewWriter(w io.Writer, h Header) (*Writer, error) {
	p := &Writer{w: w, header: h}
	return p, p.line(headerLine{Type: headerType, Format: Format, Version: Version, Site: h.Site, ExportTime: h.ExportTime.UTC(),
		Records: h.Records, Head: digest(h.Head), Rule: linkRule})
}

func (p *Writer) line(line any) error {
	body, err := encode(line)
	if err == nil {
		_, err = p.w.Write(p.sum.sealed(body))
	}
	return err
}

// Record writes the next record of the chain.
func (p *Writer) Record(r Record) error {
	switch {
	case r.Sequence != p.records+1:
		return fmt.Errorf("record %d of the chain comes after record %d", r.Sequence, p.records)
	case p.registers > 0:
		return errors.New("a record comes after the registers")
	}
	p.records++
	p.attachments += int64(len(r.Attachments))
	p.last = digest(r.Link)
	return p.line(recordLine{Type: recordType, Sequence: r.Sequence, Canonical: string(r.Canonical),
		Findings: findingItems(r.Findings), Attachments: r.Attachments, Link: digest(r.Link)})
}

// Register writes one entry of a register.
func (p *Writer) Register(r Register) error {
	p.registers++
	return p.line(registerLine{Type: registerType, Register: r.Register, Name: r.Name, Fields: r.Fields})
}

// Close writes the footer; it does not close what was written to. An error says
// that the records are not those that the header announced.
func (p *Writer) Close() error {
	if p.records != p.header.Records || p.records > 0 && p.last != digest(p.header.Head) {
		return fmt.Errorf("%d records were written up to link %s; the chain has %d up to %s",
			p.records, hex.EncodeToString(p.last[:]), p.header.Records, p.header.Head)
	}
	return p.line(footerLine{Type: footerType, Records: p.records, Registers: p.registers, Attachments: p.attachments, Head: digest(p.header.Head)})
}

func findingItems(findings []rules.Finding) []findingItem {
	var items []findingItem
	for _, f := range findings {
		items = append(items, findingItem{Rule: f.Rule, Severity: f.Severity.String(), Message: f.Message,
			Figure: f.Figure, Limit: f.Limit, Unit: f.Unit, Source: f.Source})
	}
	return items
}
