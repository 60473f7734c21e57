package pack

import (
	"github.com/google/uuid"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// Record is a record of which the data tell what it says about a lot, a tool or a
// joint: a tightening, an open hold on a place, a calibration or a change of custody.
// Only what rules ask of it is filled in. Records of other kinds are known by what
// came of them alone: of these it gives none. All cells may have to be read.
func (p *Pack) Record(id uuid.UUID) (ledger.Record, bool) {
	for _, serial := range p.Tools() {
		t, _ := p.Tool(serial)
		if r := ofTool(t, id); r != nil {
			return r, true
		}
	}
	for _, place := range p.Cells() {
		c, _ := p.Cell(place)
		if r := ofCell(c, id); r != nil {
			return r, true
		}
	}
	return nil, false
}

func ofTool(t known.ToolPast, id uuid.UUID) ledger.Record {
	for i := range t.Calibrations {
		if t.Calibrations[i].ID == id {
			return &t.Calibrations[i]
		}
	}
	for i := range t.Custody {
		if t.Custody[i].ID == id {
			return &t.Custody[i]
		}
	}
	return nil
}

func ofCell(c known.CellPast, id uuid.UUID) ledger.Record {
	for i := range c.Joints {
		for _, t := range c.Joints[i].Tightenings {
			if t.ID != id {
				continue
			}
			r := &ledger.Tightening{
				Entry: ledger.Entry{ID: t.ID, OccurTime: t.At}, Joint: c.Joints[i].Joint.Place, Lot: t.Lot, Tool: t.Tool,
				Treatment: t.Treatment, Fasteners: t.Driven, Pass: ledger.PassFirst,
			}
			if t.Fasteners == 0 {
				r.Pass = ledger.PassFinal // or another that used nothing up
			}
			return r
		}
	}
	for _, h := range c.Holds {
		if h.ID == id {
			return h
		}
	}
	return nil
}
