package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/carry/pack"
	"jointledger/internal/carry/section"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// Size of the site whose carried data are measured.
const (
	carryCells   = 200
	carryInCell  = 100
	carryEntries = 300 // opened and judged
)

// measureCarry measures the carried data of a site of 20,000 joints, each tightened
// once: how long the server reads them, how many bytes they are on the device, and
// how long it takes there to open them and judge one entry, against reading the whole
// file.
func measureCarry(ctx context.Context, engine string, c store.Config) ([]figure, error) {
	defer os.RemoveAll(c.DataDir)
	if _, _, err := store.MigrateUp(ctx, c); err != nil {
		return nil, err
	}
	s, err := store.Open(ctx, c)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	entry, err := carrySite(ctx, s)
	if err != nil {
		return nil, err
	}
	start := time.Now()
	site, err := s.CarriedSite(ctx, entry.Joint.Site)
	if err != nil {
		return nil, err
	}
	read := time.Since(start)
	folder, err := os.MkdirTemp("", "jointledger-bench-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	size, err := carryOnto(folder, site)
	if err != nil {
		return nil, err
	}
	whole, judged := make([]time.Duration, carryEntries), make([]time.Duration, carryEntries)
	for i := range carryEntries {
		start := time.Now()
		if _, err := os.ReadFile(pack.Path(folder, site.Site.Code)); err != nil {
			return nil, err
		}
		whole[i], start = time.Since(start), time.Now()
		if err := openAndJudge(folder, entry); err != nil {
			return nil, err
		}
		judged[i] = time.Since(start)
	}
	const limit = "reading the whole file"
	all, open := spread(engine, limit, whole), spread(engine, fmt.Sprintf("open and judge an entry, 20,000 joints in %.2f MB", float64(size)/1e6), judged)
	open.Limit, open.Ratio = limit, all.P50Micros/open.P50Micros
	return []figure{
		{Engine: engine, What: "the server reads the data of a site (joints a second)", PerSecond: carryCells * carryInCell / read.Seconds(), P50Micros: micros(read)},
		all, open,
	}, nil
}

// spread makes a figure of how long each of some runs took.
func spread(engine, what string, took []time.Duration) figure {
	slices.Sort(took)
	p50 := took[len(took)/2]
	return figure{Engine: engine, What: what, PerSecond: 1 / p50.Seconds(), P50Micros: micros(p50), P99Micros: micros(took[len(took)*99/100])}
}

func openAndJudge(folder string, entry *ledger.Tightening) error {
	p, err := pack.Open(folder, entry.Joint.Site)
	if err != nil {
		return err
	}
	defer p.Close() // it was only read
	if _, err := known.Findings(p, entry, nil, time.Now()); err != nil {
		return err
	}
	return p.Err()
}

// carryOnto keeps the carried data in a folder and gives their size.
func carryOnto(folder string, c store.CarriedSite) (int64, error) {
	var w section.Writer
	w.Add(section.OfPlan(c.Site, c.Towers))
	w.Add(section.OfPeople(c.People))
	w.Add(section.OfBatches(c.Batches))
	for _, one := range c.Cells {
		w.Add(section.OfCell(one))
	}
	for _, one := range c.Specifications {
		w.Add(section.OfSpecification(one))
	}
	for _, one := range c.Lots {
		w.Add(section.OfLot(one))
	}
	for _, one := range c.Tools {
		w.Add(section.OfTool(one))
	}
	sections, err := w.Sections()
	if err != nil {
		return 0, err
	}
	head := pack.Head{Site: c.Site.Code, AsOf: c.ReadTime, RulesSum: section.RulesSum()}
	frames := map[section.Sum][]byte{}
	for _, one := range sections {
		head.Sections = append(head.Sections, pack.Named{Name: one.Name, Sum: one.Sum()})
		frames[one.Sum()] = one.Packed()
	}
	return pack.Replace(folder, head, frames)
}

// carrySite registers the site and its work, and gives an entry that is yet to come.
func carrySite(ctx context.Context, s *store.Store) (*ledger.Tightening, error) {
	if err := fixture(ctx, s); err != nil {
		return nil, err
	}
	at := ledger.Microseconds(time.Now().Add(-24 * time.Hour))
	torque := 32.0
	entry := &ledger.Tightening{
		Entry: ledger.Entry{OccurTime: at, Person: "tech1", Offline: true}, Lot: "M10-1", Treatment: ledger.TreatmentAntiSeize, CompoundBatch: "AS-1",
		Tool: "TW-1", TorqueNewtonMetres: &torque, Fasteners: 8, Pass: ledger.PassFirst, Method: ledger.DrivenByHand,
	}
	tower := ledger.Place{Site: "BEN", Tower: "CARRY"}
	if err := allTaken(s.RegisterTowers(ctx, []ledger.Tower{{Place: tower, Material: ledger.Stainless304}}, store.Change{})); err != nil {
		return nil, err
	}
	for i := range carryCells {
		cell := tower
		cell.Cell = fmt.Sprintf("C%d", i+1)
		if err := carryCell(ctx, s, cell, *entry); err != nil {
			return nil, err
		}
		entry.Joint = cell
	}
	entry.Joint.Joint, entry.ID, entry.OccurTime = "J050", uuid.Must(uuid.NewV7()), at.Add(time.Hour)
	return entry, nil
}

// carryCell registers a cell with its joints, and records the work on each.
func carryCell(ctx context.Context, s *store.Store, cell ledger.Place, entry ledger.Tightening) error {
	if err := allTaken(s.RegisterCells(ctx, []ledger.Cell{{Place: cell}}, store.Change{})); err != nil {
		return err
	}
	var joints []ledger.Joint
	var records []ledger.Record
	for i := range carryInCell {
		place := cell
		place.Joint = fmt.Sprintf("J%03d", i+1)
		joints = append(joints, ledger.Joint{Place: place, Kind: ledger.JointStructural, Critical: i%4 == 0, PartA: fmt.Sprintf("column %d", i/12), PartB: fmt.Sprintf("beam %d", i%5), Specification: "SPEC", Fasteners: 8})
		r := entry
		r.Joint, r.ID, r.OccurTime = place, uuid.Must(uuid.NewV7()), entry.OccurTime.Add(time.Duration(i)*time.Second)
		records = append(records, &r)
	}
	if err := allTaken(s.RegisterJoints(ctx, joints, store.Change{})); err != nil {
		return err
	}
	return allTaken(s.Record(ctx, records, store.Change{}))
}

// allTaken gives the first refusal as an error.
func allTaken(outcomes []store.Outcome, err error) error {
	for _, o := range outcomes {
		if err == nil && o.State == store.Refused {
			err = o.Err
		}
	}
	return err
}
