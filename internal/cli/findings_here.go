package cli

import (
	"fmt"
	"time"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// judged is what the rules find on records by what this device carries.
type judged struct {
	findings []*pb.Finding
	// dataOf is when the carried data was made; zero where the site is not carried, and
	// nothing was judged.
	dataOf time.Time
	// remarks say what makes the findings worth less.
	remarks []string
}

// judgeHere applies the rules to records that were kept on this device, by the
// carried data of their site and by the entries that this data does not know yet.
func (a *app) judgeHere(box *outbox.Outbox, records []record) (judged, error) {
	var j judged
	site := siteOfRecord(records[0])
	if site == "" {
		return j, nil
	}
	p, carried, err := a.carriedFor(site)
	if err != nil || !carried {
		return j, err
	}
	entries, err := box.Entries()
	if err != nil {
		return j, err
	}
	j.dataOf, j.remarks = p.AsOf(), a.ageCautions(p)
	for i, r := range records {
		domain, problems := wire.RecordFrom(r)
		if domain == nil || len(problems) > 0 {
			continue // checked before it was kept
		}
		before := append(recordsBefore(entries, p, r), readRecords(records[:i])...)
		found, err := known.Findings(p, domain, before)
		if err != nil {
			return j, err
		}
		j.findings = append(j.findings, wire.FindingsTo(found)...)
		for _, name := range known.Missing(p, domain) {
			j.remarks = append(j.remarks, fmt.Sprintf("the carried data of %s do not know %s: no rule about it was applied, and the server may refuse the entry", site, name))
		}
	}
	return j, p.Err()
}

// recordsBefore are the records of entries that the carried data do not know yet and
// that may bear on r: those that wait, and those that were sent since.
func recordsBefore(entries []*outbox.Entry, p *pack.Pack, r record) []ledger.Record {
	names := []string{"corrections/"} // of what, only the correction itself says
	if x, ok := r.(interface{ GetJoint() string }); ok {
		names = append(names, x.GetJoint())
	}
	if x, ok := r.(interface{ GetLot() string }); ok {
		names = append(names, x.GetLot())
	}
	if x, ok := r.(interface{ GetTool() string }); ok {
		names = append(names, x.GetTool())
	}
	if c, ok := r.(*pb.Correction); ok {
		if with := replacementOf(c); with != nil {
			return recordsBefore(entries, p, with)
		}
	}
	var before []record
	for _, e := range entries {
		news := e.State == outbox.Waiting || e.State == outbox.Delivered && e.StateAt.After(p.AsOf())
		if !news || !e.Mentions(names...) {
			continue
		}
		if read, err := readPending(e); err == nil && read.record.GetName() != r.GetName() {
			before = append(before, read.record)
		}
	}
	return readRecords(before)
}

func readRecords(records []record) []ledger.Record {
	var out []ledger.Record
	for _, r := range records {
		if domain, problems := wire.RecordFrom(r); domain != nil && len(problems) == 0 {
			out = append(out, domain)
		}
	}
	return out
}

// soundRecord refuses a record that is malformed before it is kept: the server would
// refuse it, and now is when it can be mended.
func soundRecord(r record, names map[string]string) error {
	domain, problems := wire.RecordFrom(r)
	if domain == nil {
		return &failure{code: exitInternal, message: fmt.Sprintf("%s is of no kind that devices make", r.GetName())}
	}
	err := ledger.Invalid(wire.Spoken(domain.RecordKind()), problems.With(domain.Validate()))
	if err == nil {
		return nil
	}
	e := ledger.AsError(err)
	f := &failure{code: exitData, message: e.Message}
	for _, v := range e.Fields {
		f.lines = append(f.lines, fieldLine(v.Field, v.Description, names))
	}
	return f
}
