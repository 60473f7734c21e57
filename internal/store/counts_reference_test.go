package store_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
)

// groupingValue is the reference for what a record is counted under: the
// domain's definition, from the records and the fleet alone.
func groupingValue(r ledger.Record, g analysis.Grouping, fleet storetest.Fleet) string {
	var lot, tool string
	var treatment ledger.Treatment
	var method ledger.DrivingMethod
	switch r := r.(type) {
	case *ledger.Tightening:
		lot, tool, treatment, method = r.Lot, r.Tool, r.Treatment, r.Method
	case *ledger.Incident:
		lot, tool, treatment, method = r.Lot, r.Tool, r.Treatment, r.Method
	}
	site := fleet.Sites[slices.IndexFunc(fleet.Sites, func(s ledger.Site) bool { return s.Code == r.SiteCode() })]
	var ofLot ledger.Lot
	if i := slices.IndexFunc(fleet.Lots, func(l ledger.Lot) bool { return l.Number == lot }); i >= 0 {
		ofLot = fleet.Lots[i]
	}
	switch g {
	case analysis.BySite:
		return site.Code
	case analysis.ByRegion:
		return site.Region
	case analysis.ByLot:
		return lot
	case analysis.BySupplier:
		return ofLot.Supplier
	case analysis.ByTreatment:
		return ledger.Treatments.Name(treatment)
	case analysis.ByMaterial:
		return ledger.Materials.Name(ofLot.Fastener.Material)
	case analysis.ByThread:
		return ofLot.Fastener.Thread
	case analysis.ByDrivingMethod:
		return ledger.DrivingMethods.Name(method)
	case analysis.ByPerson:
		return r.Head().Person
	case analysis.ByTool:
		return tool
	case analysis.ByMonth:
		return dayAt(r, site)[:7]
	default: // the others go on below
	}
	panic("a grouping that the test does not know")
}

func dayAt(r ledger.Record, site ledger.Site) string {
	zone, err := time.LoadLocation(site.TimeZone)
	if err != nil {
		panic(err)
	}
	return r.Head().OccurTime.In(zone).Format(time.DateOnly)
}

// referenceCounts counts in Go: fasteners of first passes, and fasteners of
// incidents by kind; a combination without any is not there.
func referenceCounts(records []ledger.Record, q analysis.CountQuery, fleet storetest.Fleet) []analysis.Count {
	sums := map[string]*analysis.Count{}
	for _, r := range records {
		if !counted(r, q, fleet) {
			continue
		}
		values := make([]string, len(q.GroupBy))
		for i, g := range q.GroupBy {
			values[i] = groupingValue(r, g, fleet)
		}
		var kind ledger.IncidentKind
		var n int64
		switch r := r.(type) {
		case *ledger.Tightening:
			if r.Pass == ledger.PassFirst {
				n = int64(r.Fasteners)
			}
		case *ledger.Incident:
			kind, n = r.Kind, int64(r.Fasteners)
		}
		if n == 0 {
			continue
		}
		key := strings.Join(values, "\x00")
		if sums[key] == nil {
			sums[key] = &analysis.Count{Values: values}
		}
		if kind == 0 {
			sums[key].Tightened += n
		} else {
			sums[key].Incidents[kind] += n
		}
	}
	var counts []analysis.Count
	for _, c := range sums {
		counts = append(counts, *c)
	}
	slices.SortFunc(counts, func(a, b analysis.Count) int { return slices.Compare(a.Values, b.Values) })
	return counts
}

// counted says whether the filters and days of the question let a record in.
func counted(r ledger.Record, q analysis.CountQuery, fleet storetest.Fleet) bool {
	if r.RecordKind() != ledger.KindTightening && r.RecordKind() != ledger.KindIncident {
		return false
	}
	asked, met := map[analysis.Grouping]bool{}, map[analysis.Grouping]bool{}
	for _, f := range q.Filters {
		asked[f.Grouping] = true
		met[f.Grouping] = met[f.Grouping] || groupingValue(r, f.Grouping, fleet) == f.Value
	}
	for g := range asked {
		if !met[g] {
			return false
		}
	}
	site := fleet.Sites[slices.IndexFunc(fleet.Sites, func(s ledger.Site) bool { return s.Code == r.SiteCode() })]
	day := dayAt(r, site)
	return (q.StartDay == "" || day >= q.StartDay) && (q.EndDay == "" || day <= q.EndDay)
}

// countedRecords makes a mixture of records that differ in everything that can be
// grouped by. The seed is fixed: a failure is seen again.
func countedRecords(t *testing.T) []ledger.Record {
	t.Helper()
	draw := rand.New(rand.NewPCG(26, 3))
	pick := func(from ...string) string { return from[draw.IntN(len(from))] }
	joints := []string{"KVR/CT1/C1/J001", "KVR/CT1/C1/J002", "RVB/CT1/C1/J001", "RVB/CT1/C2/J003", "RVB/CT2/C1/J002"}
	occurred := func() time.Time { return storetest.Occurred.Add(time.Duration(draw.IntN(100*24*60)) * time.Minute) }
	lot := func() string {
		return pick(storetest.StainlessLot, storetest.OtherStainlessLot, storetest.GalvanizedLot)
	}
	person := func() string { return pick(storetest.DenverPerson, storetest.KolkataPerson, storetest.Visitor) }
	tool := func() string {
		return pick("", storetest.DenverWrench, storetest.KolkataWrench, storetest.ImpactWrench)
	}
	records := []ledger.Record{
		storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver),
		storetest.NewCalibration(storetest.DenverWrench),
	}
	for range 24 {
		records = append(records, storetest.NewTightening(pick(joints...), func(r *ledger.Tightening) {
			r.OccurTime, r.Lot, r.Person, r.Tool, r.Fasteners = occurred(), lot(), person(), tool(), 1+draw.IntN(40)
			r.Treatment, r.Method, r.Pass = ledger.Treatment(1+draw.IntN(5)), ledger.DrivingMethod(1+draw.IntN(4)), ledger.Pass(1+draw.IntN(3))
		}))
	}
	for range 18 {
		kind := ledger.IncidentKind(1 + draw.IntN(12))
		records = append(records, storetest.NewIncident(kind, pick(joints...), func(r *ledger.Incident) {
			r.OccurTime, r.Lot, r.Person, r.Tool, r.Fasteners = occurred(), lot(), person(), tool(), 1+draw.IntN(3)
			r.Treatment, r.Method = ledger.Treatment(1+draw.IntN(5)), ledger.DrivingMethod(1+draw.IntN(4))
			if kind.ThreadFailure() {
				return
			}
			// What else goes wrong may name nothing and concern no fastener.
			if kind != ledger.DroppedTool {
				r.Tool = tool()
			} else {
				r.Tool = storetest.ImpactWrench
			}
			if draw.IntN(2) == 0 {
				r.Lot, r.Treatment, r.Method, r.Fasteners = "", 0, 0, draw.IntN(2)
			}
			if draw.IntN(2) == 0 {
				r.Joint = ledger.Place{}
			}
		}))
	}
	return records
}
