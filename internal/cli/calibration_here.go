package cli

import (
	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/carry/outbox"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
)

// certifiedHere is another calibration with the same certificate that this device knows
// of: in what it carries of any site, or among its own entries that the server has not
// refused. None where nobody took such a one in, or it was taken back. The server knows
// of more.
func (a *app) certifiedHere(c *ledger.Calibration) (uuid.UUID, error) {
	if analysis.CertificateKey(c.Certificate) == "" {
		return uuid.Nil, nil
	}
	_, entries, err := a.outboxEntries()
	if err != nil {
		return uuid.Nil, err
	}
	gone, found := map[uuid.UUID]bool{c.ID: true}, []*ledger.Calibration{}
	note := func(r ledger.Record) {
		if other, ok := r.(*ledger.Calibration); ok && analysis.SameCertificate(c, other) {
			found = append(found, other)
		}
	}
	for _, e := range entries {
		if e.State == outbox.Refused || e.State == outbox.Withdrawn || e.State == outbox.Replaced || !e.Mentions("calibrations/") {
			continue
		}
		p, err := readPending(e)
		if err != nil {
			continue // told by pending
		}
		r, problems := wire.RecordFrom(p.record)
		if correction, ok := r.(*ledger.Correction); ok && len(problems) == 0 {
			gone[correction.Corrects] = true
			r = correction.With
		}
		if r != nil && len(problems) == 0 {
			note(r)
		}
	}
	for _, p := range a.allPacks() {
		for _, serial := range p.Tools() {
			tool, _ := p.Tool(serial)
			for i := range tool.Calibrations {
				note(&tool.Calibrations[i])
			}
		}
		if err := p.Err(); err != nil {
			return uuid.Nil, carriedFailure(p.Site().Code, err)
		}
	}
	for _, other := range found {
		if !gone[other.ID] {
			return other.ID, nil
		}
	}
	return uuid.Nil, nil
}
