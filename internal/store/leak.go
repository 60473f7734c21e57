package store

import (
	"context"
	"database/sql"
	"slices"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// Leaks reads the sealings, and what was found on sealed joints: leaks, gaps in the
// seal, leak tests. What was corrected is in neither. KindNotFound when a filter
// names a site or person that does not exist.
func (s *Store) Leaks(ctx context.Context, q analysis.LeakQuery) (sealings []analysis.SealedJoint, outcomes []analysis.SealOutcome, err error) {
	err = s.viewFigures(ctx, func(t *tx) error {
		if err := t.checkFilters(ctx, q.Filters); err != nil {
			return err
		}
		if sealings, err = t.sealedJoints(ctx, q); err != nil {
			return err
		}
		outcomes, err = t.sealOutcomes(ctx)
		return err
	})
	return sealings, outcomes, err
}

// sealedJoints reads every sealing: one that is not asked about still ends the time
// of the one before.
func (t *tx) sealedJoints(ctx context.Context, q analysis.LeakQuery) (sealings []analysis.SealedJoint, err error) {
	asked, err := newAsked(q)
	if err != nil {
		return nil, err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var s analysis.SealedJoint
		var at int64
		var clean sql.NullInt64
		var splice ledger.Splice
		var region string
		if err := rows.Scan(&s.Joint, &s.Site, &region, &s.Day, &at, &clean, &s.AirCelsius, &s.SurfaceCelsius, &s.HumidityPercent, &splice, &s.Solvent, &s.Person); err != nil {
			return err
		}
		s.At, s.Splice = fromMicro(at), ledger.Splices.Name(splice)
		if clean.Valid {
			s.CleanTime = fromMicro(clean.Int64)
		}
		s.Counts = asked.counts(s, region)
		sealings = append(sealings, s)
		return nil
	}, `SELECT r.joint_id, s.code, s.region, r.local_day, r.occur_time, x.clean_time, x.air_c, x.surface_c, x.humidity_pct, x.splice, x.solvent, COALESCE(p.code, '')
FROM sealings x JOIN records r ON r.id = x.id JOIN sites s ON s.id = r.site_id LEFT JOIN people p ON p.id = r.person_id
WHERE r.joint_id IS NOT NULL AND `+notCorrected+t.andVisible("r.site_id"))
	return sealings, err
}

// askedSealings are those that a question is about.
type askedSealings struct {
	values     map[analysis.Grouping][]string
	start, end int
}

func newAsked(q analysis.LeakQuery) (askedSealings, error) {
	a := askedSealings{values: map[analysis.Grouping][]string{}, end: 1 << 30}
	for _, f := range q.Filters {
		a.values[f.Grouping] = append(a.values[f.Grouping], f.Value)
	}
	for _, limit := range []struct {
		field, day string
		at         *int
	}{{"start_date", q.StartDay, &a.start}, {"end_date", q.EndDay, &a.end}} {
		if limit.day == "" {
			continue
		}
		day, err := analysis.PeriodStart(analysis.ByDay, limit.day)
		if err != nil {
			return a, ledger.InvalidField("question", limit.field, "%v", err)
		}
		*limit.at = day
	}
	return a, nil
}

func (a askedSealings) counts(s analysis.SealedJoint, region string) bool {
	if s.Day < a.start || s.Day > a.end {
		return false
	}
	for g, values := range a.values {
		value := ""
		switch g {
		case analysis.BySite:
			value = s.Site
		case analysis.ByRegion:
			value = region
		case analysis.ByPerson:
			value = s.Person
		case analysis.ByMonth:
			value = analysis.PeriodName(analysis.ByDay, s.Day)[:len("2006-01")]
		default:
			return false
		}
		if !slices.Contains(values, value) {
			return false
		}
	}
	return true
}

func (t *tx) sealOutcomes(ctx context.Context) (outcomes []analysis.SealOutcome, err error) {
	err = t.query(ctx, func(rows *sql.Rows) error {
		var o analysis.SealOutcome
		var at int64
		err := rows.Scan(&o.Joint, &at)
		o.At, o.Failed = fromMicro(at), true
		outcomes = append(outcomes, o)
		return err
	}, "SELECT r.joint_id, r.occur_time FROM incidents x JOIN records r ON r.id = x.id WHERE x.kind IN (?, ?) AND r.joint_id IS NOT NULL AND "+notCorrected+t.andVisible("r.site_id"),
		uint8(ledger.SealGap), uint8(ledger.Leak))
	if err != nil {
		return nil, err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var o analysis.SealOutcome
		var at int64
		var result ledger.InspectionResult
		err := rows.Scan(&o.Joint, &at, &result)
		o.At, o.Test, o.Failed = fromMicro(at), true, result == ledger.InspectionFail
		outcomes = append(outcomes, o)
		return err
	}, "SELECT r.joint_id, r.occur_time, x.result FROM inspections x JOIN records r ON r.id = x.id WHERE x.kind = ? AND r.joint_id IS NOT NULL AND "+notCorrected+t.andVisible("r.site_id"),
		uint8(ledger.LeakTest))
	return outcomes, err
}
