package cli

import (
	"fmt"
	"slices"

	"github.com/google/uuid"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// packOf is the carried data by which a record is judged: those of its site; of a
// record that names none, those of what it is about, as far as this device knows; of a
// tool away from the sites that are carried, the newest that know it. Nil for none.
func (a *app) packOf(entries []*outbox.Entry, r record) (*pack.Pack, error) {
	if site := siteOfRecord(r); site != "" {
		if p, carried, err := a.carriedFor(site); err != nil || carried {
			return p, err
		}
		return a.packOfTool(r), nil
	}
	switch m := r.(type) {
	case *pb.Correction:
		if with := replacementOf(m); with != nil && siteOfRecord(with) != "" {
			return a.packOf(entries, with)
		}
		return a.packOfRecord(entries, m.GetCorrects())
	case *pb.Disposition:
		return a.packOfRecord(entries, m.GetIncident())
	}
	return a.packOfTool(r), nil
}

// packOfTool are the newest carried data that know the tool of a record; nil for none.
func (a *app) packOfTool(r record) *pack.Pack {
	t, ok := r.(interface{ GetTool() string })
	if !ok || t.GetTool() == "" {
		return nil
	}
	switch r.(type) {
	case *pb.Calibration, *pb.CustodyChange, *pb.ToolCheck, *pb.Hold:
	default:
		return nil // what is done at a joint of another site is judged by that site's
	}
	p, _, err := a.carriedTool(t.GetTool())
	if err != nil {
		return nil
	}
	return p
}

// packOfRecord are the carried data of the site of a record that is on this device or
// in the data. Where nobody knows it, they are those of the current place, or the only
// ones.
func (a *app) packOfRecord(entries []*outbox.Entry, name string) (*pack.Pack, error) {
	id, err := parseRecordID(name)
	if err != nil {
		return nil, err
	}
	if e := entryByID(entries, id); e != nil {
		if about, err := readPending(e); err == nil {
			return a.packOf(entries, about.record)
		}
	}
	packs := a.allPacks()
	if len(packs) > 1 {
		for _, p := range packs {
			if _, ok := p.Record(id); ok {
				return p, p.Err()
			}
		}
	}
	here, somewhere, err := a.here()
	if err != nil {
		return nil, err
	}
	for _, p := range packs {
		if len(packs) == 1 || somewhere && here.Site == p.Site().Code {
			return p, nil
		}
	}
	return nil, nil
}

// remarksOn say of a record what the carried data let expect of the server besides
// findings: names that they do not know, and a decision by somebody who may not.
func (j *judged) remarksOn(p *pack.Pack, r ledger.Record) {
	for _, name := range known.Missing(p, r) {
		j.notKnown(notCarried(p, name) + ": no rule about it was applied, and the server may refuse the entry")
	}
	if c, ok := r.(*ledger.Correction); ok && c.With != nil {
		r = c.With
	}
	if batch := known.BatchOf(r); batch != "" && !isCarried(p, "batches", batch) {
		j.notKnown(notCarried(p, "batches/"+batch) + ": whether it had expired was not looked at")
	}
	if place := placeOf(r); place.Site == p.Site().Code && place.Depth() > 1 && place.Depth() < 4 && !p.Has(place) {
		j.notKnown(notCarried(p, place.Resource()) + ": the server may refuse the entry")
	}
	if !decides(r) {
		return
	}
	if person, ok := p.Person(r.Head().Person); ok {
		if err := known.MayDecide(person); err != nil {
			j.remark(fmt.Sprintf("look: by the carried data %s: the server will refuse this unless that has changed", ledger.AsError(err).Message))
		}
	}
}

// placeOf is the place that a hold or a sign-off names.
func placeOf(r ledger.Record) ledger.Place {
	switch r := r.(type) {
	case *ledger.Hold:
		return r.Place
	case *ledger.SignOff:
		return r.Place
	}
	return ledger.Place{}
}

// decides says whether a record takes a person whose role may decide.
func decides(r ledger.Record) bool {
	switch r := r.(type) {
	case *ledger.Hold:
		return r.Action == ledger.HoldReleased
	case *ledger.Disposition, *ledger.SignOff:
		return true
	}
	return false
}

// notKnown notes once what the carried data do not know.
func (j *judged) notKnown(line string) {
	j.unknown = true
	j.remark(line)
}

func (j *judged) remark(line string) {
	if !slices.Contains(j.remarks, line) {
		j.remarks = append(j.remarks, line)
	}
}

// entryByID is the entry of this device with an id; nil for none.
func entryByID(entries []*outbox.Entry, id uuid.UUID) *outbox.Entry {
	if i := slices.IndexFunc(entries, func(e *outbox.Entry) bool { return e.ID == id }); i >= 0 {
		return entries[i]
	}
	return nil
}
