package store

import (
	"context"
	"database/sql"
	"maps"
	"slices"
	"time"

	"jointledger/ent/batch"
	"jointledger/ent/lot"
	"jointledger/ent/person"
	"jointledger/ent/specification"
	"jointledger/ent/specificationrevision"
	"jointledger/ent/substitution"
	"jointledger/internal/known"
)

// specifications reads those that joints of the site name, with what may stand in
// for their fasteners.
func (c *carriedReader) specifications(ctx context.Context) error {
	codes := map[string]bool{}
	for _, cell := range c.out.Cells {
		for _, j := range cell.Joints {
			codes[j.Joint.Specification] = true
		}
	}
	named, err := c.ent().Specification.Query().Where(specification.CodeIn(slices.Sorted(maps.Keys(codes))...)).Order(specification.ByCode()).All(ctx)
	if err != nil {
		return err
	}
	for _, n := range named {
		s := known.SpecificationPast{Code: n.Code}
		revisions, err := c.ent().SpecificationRevision.Query().Where(specificationrevision.SpecificationID(n.ID)).Order(specificationrevision.ByRevision()).All(ctx)
		if err != nil {
			return err
		}
		for _, r := range revisions {
			s.Revisions = append(s.Revisions, specificationOf(n, r))
		}
		permitted, err := c.ent().Substitution.Query().Where(substitution.SpecificationID(n.ID)).Order(substitution.ByCode()).WithSpecification().All(ctx)
		if err != nil {
			return err
		}
		for _, r := range permitted {
			one, err := substitutionOf(r)
			if err != nil {
				return err
			}
			s.Substitutions = append(s.Substitutions, one)
		}
		c.out.Specifications = append(c.out.Specifications, s)
	}
	return nil
}

// lots reads those that came to the site or were used there, with their stock.
func (c *carriedReader) lots(ctx context.Context) error {
	stocks := map[int]*known.LotPast{}
	err := c.query(ctx, func(rows *sql.Rows) error {
		var key, site int
		var received, removed, counted, onHand int64
		if err := rows.Scan(&key, &site, &received, &removed, &counted, &onHand); err != nil {
			return err
		}
		stock := stocks[key]
		if stock == nil {
			stock = &known.LotPast{}
			stocks[key] = stock
		}
		here := received > 0 || counted != 0
		stock.MovedAnywhere = stock.MovedAnywhere || here || removed > 0
		if site == c.site {
			stock.Received, stock.OnHand = here, onHand
			if counted != 0 {
				stock.CountTime = fromMicro(counted)
			}
		}
		return nil
	}, `SELECT lot_id, site_id, received, removed, count_time, on_hand FROM lot_sums
WHERE lot_id IN (SELECT lot_id FROM lot_sums WHERE site_id = ?)`, c.site)
	if err != nil {
		return err
	}
	keys := slices.Sorted(maps.Keys(stocks))
	held, err := c.spansOf(ctx, "lot_id", keys)
	if err != nil {
		return err
	}
	rows, err := c.ent().Lot.Query().Where(lot.IDIn(keys...)).Order(lot.ByNumber()).All(ctx)
	if err != nil {
		return err
	}
	for _, r := range rows {
		one := stocks[r.ID]
		one.Lot, one.Holds = lotOf(r), held[r.ID]
		c.out.Lots = append(c.out.Lots, *one)
	}
	return nil
}

// spansOf reads when holds on things were open, in the order of their start.
func (c *carriedReader) spansOf(ctx context.Context, column string, keys []int) (map[int][]known.Span, error) {
	held := map[int][]known.Span{}
	asked := make([]any, len(keys))
	for i, k := range keys {
		asked[i] = k
	}
	return held, c.queryIn(ctx, func(rows *sql.Rows) error {
		var key int
		var from, to int64
		var uid []byte
		if err := rows.Scan(&key, &from, &to, &uid); err != nil {
			return err
		}
		one := known.Span{From: fromMicro(from), ID: idOf(uid)}
		if to != 0 {
			one.To = fromMicro(to)
		}
		held[key] = append(held[key], one)
		return nil
	}, "SELECT h."+column+`, r.occur_time, COALESCE(e.occur_time, 0), r.uid FROM holds h JOIN records r ON r.id = h.id
LEFT JOIN holds x ON x.released_hold_id = h.id LEFT JOIN records e ON e.id = x.id
WHERE h.action = 1 AND h.`+column, asked, " ORDER BY 1, 2, h.id")
}

// people reads those whose home is the site, who hold a tool that is carried, or who
// made a record there lately.
func (c *carriedReader) people(ctx context.Context) error {
	var keys []int
	err := c.query(ctx, func(rows *sql.Rows) error {
		var key int
		err := rows.Scan(&key)
		keys = append(keys, key)
		return err
	}, "SELECT DISTINCT r.person_id FROM records r WHERE r.id >= ? AND r.id < ? AND r.occur_time >= ? AND r.person_id IS NOT NULL",
		append(c.chain(), micro(c.now.Add(-usedLately)))...)
	if err != nil {
		return err
	}
	rows, err := c.ent().Person.Query().Where(person.Or(
		person.HomeSiteID(c.site), person.IDIn(keys...), person.CodeIn(slices.Sorted(maps.Keys(c.holders))...),
	)).Order(person.ByCode()).WithHomeSite().All(ctx)
	if err != nil {
		return err
	}
	for _, r := range rows {
		one, err := personOf(r)
		if err != nil {
			return err
		}
		c.out.People = append(c.out.People, one)
	}
	return nil
}

// batches reads those whose shelf life has not ended, or ended less than a year
// ago: somebody may still have one in hand.
func (c *carriedReader) batches(ctx context.Context) error {
	rows, err := c.ent().Batch.Query().Where(batch.Or(
		batch.ExpireDate(""), batch.ExpireDateGTE(c.now.Add(-usedLately).Format(time.DateOnly)),
	)).Order(batch.ByNumber()).All(ctx)
	for _, r := range rows {
		c.out.Batches = append(c.out.Batches, batchFrom(r))
	}
	return err
}
