package analysis

import (
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// impactPoints judges the as-found points and sets the last good deviation beside
// them.
func impactPoints(failed ledger.Calibration, limit toolLimit, d toolDrift) []ImpactPoint {
	outcomes := map[float64]metrology.Outcome{}
	for _, p := range pointsOf(failed, ledger.AsFound) {
		outcomes[p.TargetNewtonMetres] = max(outcomes[p.TargetNewtonMetres], limit.judge(p))
	}
	var points []ImpactPoint
	for _, f := range d.found {
		p := ImpactPoint{
			TargetNewtonMetres: f.target, Readings: f.readings,
			Outcome: outcomes[f.target], Failed: !outcomes[f.target].Accepted(),
		}
		if !f.noTorque {
			mean, worst := f.mean, f.worst
			p.MeanPercent, p.WorstPercent = &mean, &worst
			if f.spreadKnown {
				spread := f.spread
				p.SpreadPercent = &spread
			}
		}
		if f.stated {
			u := f.uncertainty
			p.UncertaintyPercent = &u
		}
		if d.good != nil {
			if good, ok := d.good.at(f.target); ok {
				p.LastGoodPercent = &good.mean
			}
		}
		points = append(points, p)
	}
	return points
}

// bandsOf gives the torques in question. A failed point puts in doubt all torques
// up to the nearest good points beside it, which are not in doubt themselves;
// below the lowest and above the highest point the tool is taken to be as it was
// there.
func bandsOf(points []ImpactPoint) []ImpactBand {
	var bands []ImpactBand
	for i := 0; i < len(points); i++ {
		if !points[i].Failed {
			continue
		}
		var b ImpactBand
		if i > 0 {
			lower := points[i-1].TargetNewtonMetres
			b.LowerNewtonMetres = &lower
		}
		for i < len(points) && points[i].Failed {
			i++
		}
		if i < len(points) {
			upper := points[i].TargetNewtonMetres
			b.UpperNewtonMetres = &upper
		}
		bands = append(bands, b)
	}
	return bands
}

// Contains says whether a torque in N·m lies in the band.
func (b ImpactBand) Contains(newtonMetres float64) bool {
	return (b.LowerNewtonMetres == nil || newtonMetres > *b.LowerNewtonMetres) &&
		(b.UpperNewtonMetres == nil || newtonMetres < *b.UpperNewtonMetres)
}
