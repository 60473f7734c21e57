package store_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// testDueInputs gathers the history of tools as seen from several moments.
func testDueInputs(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	hour := func(n int) time.Time { return storetest.Occurred.Truncate(time.Hour).Add(time.Duration(n) * time.Hour) }
	calibrated := func(at time.Time) *ledger.Calibration {
		return storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.OccurTime, r.Certificate = at, "C-"+at.Format("0215") })
	}
	used := func(at time.Time, n int, pass ledger.Pass, tool string) ledger.Record {
		return storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.OccurTime, r.Fasteners, r.Pass, r.Tool = at, n, pass, tool })
	}
	dropped := storetest.NewIncident(ledger.DroppedTool, storetest.DenverJoint, func(r *ledger.Incident) { r.OccurTime = hour(31) })
	first, second := calibrated(hour(0)), calibrated(hour(20))
	storetest.Record(t, s,
		second, first, // not in the order of time
		used(hour(-5), 11, ledger.PassFirst, storetest.DenverWrench),
		used(hour(0), 13, ledger.PassFirst, storetest.DenverWrench), // at the very moment of the calibration: before it
		used(hour(10), 17, ledger.PassFirst, storetest.DenverWrench),
		used(hour(21).Add(5*time.Minute), 8, ledger.PassFirst, storetest.DenverWrench),
		used(hour(21).Add(50*time.Minute), 9, ledger.PassRetightening, storetest.DenverWrench), // any pass turns the tool
		used(hour(22), 4, ledger.PassFinal, storetest.DenverWrench),
		used(hour(22), 99, ledger.PassFirst, storetest.ImpactWrench),
		used(hour(40), 1, ledger.PassFirst, storetest.DenverWrench),
		storetest.NewIncident(ledger.Galling, storetest.DenverJoint, func(r *ledger.Incident) { r.OccurTime = hour(30) }), // befell the joint, not the tool
		dropped,
		storetest.NewIncident(ledger.DroppedTool, storetest.DenverJoint, func(r *ledger.Incident) { r.OccurTime, r.Tool = hour(32), storetest.ImpactWrench }),
	)
	of := func(asOf time.Time, serial string) analysis.DueInput {
		inputs, err := trackedDue(s, analysis.TrackedQuery{AsOf: asOf})
		if err != nil {
			t.Fatal(err)
		}
		for _, in := range inputs {
			if in.Tool.Serial == serial {
				return in
			}
		}
		t.Fatalf("no %s among %d tools", serial, len(inputs))
		return analysis.DueInput{}
	}
	drop := analysis.Event{At: dropped.OccurTime, Kind: ledger.DroppedTool, ID: dropped.ID}
	for _, c := range []struct {
		what   string
		asOf   time.Time
		last   *ledger.Calibration
		uses   []analysis.Use
		events []analysis.Event
	}{
		{"before anything", hour(-6), nil, nil, nil},
		{"never calibrated: all use counts", hour(-1), nil, []analysis.Use{{At: hour(-5), Fasteners: 11}}, nil},
		{"since the first calibration", hour(19), first, []analysis.Use{{At: hour(10), Fasteners: 17}}, nil},
		{"at the moment of the second", hour(20), second, nil, nil},
		{"just before the second", hour(20).Add(-time.Microsecond), first, []analysis.Use{{At: hour(10), Fasteners: 17}}, nil},
		{"since the second, by the hour", hour(23), second, []analysis.Use{{At: hour(21).Add(50 * time.Minute), Fasteners: 17}, {At: hour(22), Fasteners: 4}}, nil},
		{"dropped since", hour(50), second, []analysis.Use{{At: hour(21).Add(50 * time.Minute), Fasteners: 17}, {At: hour(22), Fasteners: 4}, {At: hour(40), Fasteners: 1}}, []analysis.Event{drop}},
	} {
		in := of(c.asOf, storetest.DenverWrench)
		want := analysis.DueInput{Tool: in.Tool, Location: in.Location, Last: c.last, Uses: c.uses, Events: c.events}
		if c.last != nil {
			// Of one that let the tool pass no more is read.
			want.Last = &ledger.Calibration{Entry: ledger.Entry{ID: c.last.ID, OccurTime: c.last.OccurTime}, Tool: c.last.Tool, Laboratory: c.last.Laboratory, Certificate: c.last.Certificate}
		}
		if diff := cmp.Diff(want, in, given, cmpopts.IgnoreFields(ledger.Calibration{}, "Verdict"), cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.what, diff)
		}
	}
	for serial, zone := range map[string]string{storetest.DenverWrench: "America/Denver", storetest.KolkataWrench: "Asia/Kolkata"} {
		in := of(hour(0), serial)
		if got := in.Location.String(); got != zone {
			t.Errorf("%s is at home in %s; expected %s", serial, got, zone)
		}
		want, err := s.Tool(ctx, serial)
		if diff := cmp.Diff(want, in.Tool); err != nil || diff != "" {
			t.Errorf("%v (-tool +input):\n%s", err, diff)
		}
	}
	for _, c := range []struct {
		query analysis.TrackedQuery
		want  []string
	}{
		{analysis.TrackedQuery{}, []string{"IW-0031", "TW-0107", "TW-0212"}},
		{analysis.TrackedQuery{Sites: []string{"KVR"}}, []string{"TW-0212"}},
		{analysis.TrackedQuery{Sites: []string{"KVR", "RVB"}, Kinds: []ledger.ToolKind{ledger.ToolImpactWrench}}, []string{"IW-0031"}},
		{analysis.TrackedQuery{Kinds: []ledger.ToolKind{ledger.ToolImpactWrench, ledger.ToolTorqueWrench}}, []string{"IW-0031", "TW-0107", "TW-0212"}},
		{analysis.TrackedQuery{Sites: []string{"KVR"}, Kinds: []ledger.ToolKind{ledger.ToolHoist}}, []string{}},
	} {
		c.query.AsOf = hour(0)
		inputs, err := trackedDue(s, c.query)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(c.want, mapped(inputs, func(in analysis.DueInput) string { return in.Tool.Serial })); diff != "" {
			t.Errorf("%+v (-want +got):\n%s", c.query, diff)
		}
	}
	_, err := s.TrackedTools(ctx, analysis.TrackedQuery{Sites: []string{"RVB", "RVBB"}})
	wantUnknown(t, err, "sites/RVBB", storetest.Denver)
}

func trackedDue(s *store.Store, q analysis.TrackedQuery) ([]analysis.DueInput, error) {
	tools, err := s.TrackedTools(context.Background(), q)
	return mapped(tools, func(t analysis.TrackedTool) analysis.DueInput { return t.Due }), err
}

// testDueOfAFleet asks what is due of a whole fleet, of which only the tools that may
// fall due are read, and holds it to be what package analysis finds when all of it is:
// over tools with every policy whose calibrations passed, failed, were declarations or
// withdrawn, that were used, dropped and overloaded, or none of it.
func testDueOfAFleet(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	random := rand.New(rand.NewPCG(4, 2026))
	const day = 24 * time.Hour
	when := func() time.Time {
		return storetest.Occurred.Add(-time.Duration(random.Int64N(int64(800 * day)))).Truncate(time.Microsecond)
	}
	tools := dueTools(random, 60)
	outcomes, err := s.RegisterTools(ctx, tools, store.Change{})
	wantStates(t, outcomes, err, slices.Repeat([]store.OutcomeState{store.Taken}, len(tools))...)
	var records []ledger.Record
	for _, tool := range tools {
		if usedOnly(tool) {
			// Nothing but its cycles may make it due: it passed, and lately.
			calibrated := storetest.Occurred.Add(-time.Duration(31+random.IntN(90)) * day)
			records = append(records, judgedAt(0, func(c *ledger.Calibration) {
				c.Tool, c.OccurTime, c.Document = tool.Serial, calibrated, ledger.CalibrationCertificate
			}))
			for i := range 4 + 4*random.IntN(2) {
				// Four soon after, when the days to reckon by are few.
				within := []time.Duration{6 * day, storetest.Occurred.Sub(calibrated)}[i/4]
				records = append(records, storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) {
					r.Tool, r.OccurTime, r.Fasteners, r.Pass = tool.Serial, calibrated.Add(time.Duration(random.Int64N(int64(within)))).Truncate(time.Microsecond), 1+random.IntN(8), ledger.PassRetightening
				}))
			}
			continue
		}
		n := random.IntN(4)
		for range n {
			records = append(records, judgedAt([]float64{0, 0, 0, 6}[random.IntN(4)], func(c *ledger.Calibration) {
				c.Tool, c.OccurTime, c.Document = tool.Serial, when(), ledger.CalibrationDocument(random.IntN(3))
			}))
			if random.IntN(4) == 0 {
				last := records[len(records)-1].Head()
				records = append(records, &ledger.Correction{Entry: ledger.Entry{ID: storetest.NewID(), OccurTime: storetest.Occurred, Person: storetest.DenverPerson, Device: "desk"}, Corrects: last.ID, Reason: "of another tool"})
			}
		}
		for range random.IntN(5) {
			records = append(records, storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) {
				r.Tool, r.OccurTime, r.Fasteners, r.Pass = tool.Serial, when(), 1+random.IntN(8), ledger.PassRetightening
			}))
		}
		switch random.IntN(8) {
		case 0:
			records = append(records, storetest.NewIncident(ledger.DroppedTool, storetest.DenverJoint, func(r *ledger.Incident) { r.Tool, r.OccurTime = tool.Serial, when() }))
		case 1:
			records = append(records, loan(when(), func(r *ledger.Custody) { r.Tool, r.Kind, r.Holder = tool.Serial, ledger.CustodyOverloaded, "" }))
		}
	}
	storetest.Record(t, s, records...)
	found := 0
	for _, asOf := range []time.Time{storetest.Occurred.Add(-600 * day), storetest.Occurred.Add(-200 * day), storetest.Occurred.Add(-30 * day), storetest.Occurred.Add(day)} {
		q := analysis.TrackedQuery{AsOf: asOf}
		tracked, err := s.TrackedTools(ctx, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, within := range []time.Duration{0, 5 * day, 30 * day, 200 * day, 2000 * day} {
			question := analysis.DueQuestion{AsOf: asOf, Within: within, ShiftChecks: random.IntN(2) == 0}
			want, err := analysis.TrackedDue(tracked, question)
			if err != nil {
				t.Fatal(err)
			}
			got, err := s.DueItems(ctx, q, question)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("as of %s within %s (-all read +few read):\n%s", asOf, within, diff)
			}
			found += len(got)
		}
	}
	if found < 500 {
		t.Errorf("only %d items were due: that shows little", found)
	}
}

// testUsesAreFollowed holds what is remembered of the use of tools to what is read
// anew, after records in any order of time, and corrections of them, at two sites.
func testUsesAreFollowed(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	random := rand.New(rand.NewPCG(9, 2026))
	used := func() *ledger.Tightening {
		joint := []string{storetest.DenverJoint, storetest.KolkataJoint}[random.IntN(2)]
		return storetest.NewTightening(joint, func(r *ledger.Tightening) {
			r.Tool = []string{storetest.DenverWrench, storetest.KolkataWrench, storetest.ImpactWrench}[random.IntN(3)]
			r.OccurTime = storetest.Occurred.Add(-time.Duration(random.Int64N(int64(40 * 24 * time.Hour)))).Truncate(time.Microsecond)
			r.Fasteners, r.Pass = 1+random.IntN(8), ledger.PassRetightening
		})
	}
	var open []*ledger.Tightening
	tools, days := 0, 0
	for range 20 {
		var records []ledger.Record
		for range random.IntN(6) {
			r := used()
			open, records = append(open, r), append(records, r)
		}
		storetest.Record(t, s, records...)
		if len(open) > 0 && random.IntN(2) == 0 {
			i := random.IntN(len(open))
			wrong := open[i]
			c := &ledger.Correction{Entry: ledger.Entry{ID: storetest.NewID(), OccurTime: storetest.Occurred, Person: wrong.Person, Device: "desk"}, Corrects: wrong.ID, Reason: "of another tool"}
			open = slices.Delete(open, i, i+1)
			if random.IntN(2) == 0 {
				instead := used()
				instead.Joint, instead.Person = wrong.Joint, wrong.Person
				c.With, c.Replacement = instead, instead.ID
				open = append(open, instead)
			}
			storetest.Record(t, s, c)
		}
		if random.IntN(3) == 0 {
			continue // more than one thing happens between two questions
		}
		diff, ofTools, ofDays, err := s.UsesAreFollowed(ctx)
		if err != nil || diff != "" {
			t.Fatalf("%v (-read anew +followed):\n%s", err, diff)
		}
		tools, days = ofTools, ofDays
	}
	if tools != 3 || days < 20 {
		t.Errorf("%d tools of %d days: that shows little", tools, days)
	}
}

// usedOnly says of one of dueTools that nothing but months and cycles makes it due.
func usedOnly(t ledger.Tool) bool {
	return t.IntervalMonths == 24 && t.IntervalCycles == 40 && !t.DueAfterEvent && len(t.Policies) == 0 && t.TypeClass != ""
}

// dueTools are torque wrenches with every kind of policy, or none.
func dueTools(random *rand.Rand, n int) []ledger.Tool {
	tools := make([]ledger.Tool, n)
	for i := range tools {
		tools[i] = ledger.Tool{
			Serial: fmt.Sprintf("DW-%03d", i), Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 5, MaximumNewtonMetres: 100,
			HomeSite: []string{storetest.Denver, storetest.Kolkata}[i%2], IntervalMonths: []int{0, 1, 6, 12, 24}[random.IntN(5)],
			IntervalCycles: []int{0, 12, 40, 5000}[random.IntN(4)], DueAfterEvent: random.IntN(2) == 0,
		}
		if i%3 == 0 {
			tools[i].IntervalMonths, tools[i].IntervalCycles, tools[i].DueAfterEvent = 24, 40, false
			continue
		}
		switch random.IntN(8) {
		case 0:
			tools[i].Policies = []ledger.Policy{{Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true}}
		case 1:
			tools[i].Policies = []ledger.Policy{{Action: ledger.ActionPreUseCheck, EachShift: true}}
		case 2:
			tools[i].TypeClass = ""
		}
	}
	return tools
}
