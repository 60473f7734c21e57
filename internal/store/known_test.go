package store_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// carriedSource is what a device knows of a site: what the store gave it to carry, and
// the records that it has seen.
type carriedSource struct {
	store.CarriedSite
	zone *time.Location
	seen map[uuid.UUID]ledger.Record
}

func (c carriedSource) Location() *time.Location { return c.zone }

func found[T any](items []T, is func(*T) bool) (one T, ok bool) {
	if i := slices.IndexFunc(items, func(v T) bool { return is(&v) }); i >= 0 {
		return items[i], true
	}
	return one, false
}

func (c carriedSource) Joint(place ledger.Place) (known.JointPast, bool) {
	cell, _ := found(c.Cells, func(v *known.CellPast) bool { return v.Cell.Place == place.Parent() })
	j, ok := found(cell.Joints, func(v *known.JointWork) bool { return v.Joint.Place == place })
	return j.JointPast, ok
}

func (c carriedSource) specification(code string) known.SpecificationPast {
	s, _ := found(c.Specifications, func(v *known.SpecificationPast) bool { return v.Code == code })
	return s
}

func (c carriedSource) Revisions(code string) []ledger.Specification {
	return c.specification(code).Revisions
}

func (c carriedSource) Substitutions(code string) []ledger.Substitution {
	return c.specification(code).Substitutions
}

func (c carriedSource) Lot(number string) (known.LotPast, bool) {
	return found(c.Lots, func(v *known.LotPast) bool { return v.Lot.Number == number })
}

func (c carriedSource) Tool(serial string) (known.ToolPast, bool) {
	return found(c.Tools, func(v *known.ToolPast) bool { return v.Tool.Serial == serial })
}

func (c carriedSource) Person(code string) (ledger.Person, bool) {
	return found(c.People, func(v *ledger.Person) bool { return v.ID == code })
}

func (c carriedSource) Batch(number string) (ledger.Batch, bool) {
	return found(c.Batches, func(v *ledger.Batch) bool { return v.Number == number })
}

func (c carriedSource) Record(id uuid.UUID) (ledger.Record, bool) {
	r, ok := c.seen[id]
	return r, ok
}

// shiftStory makes up what is recorded at a site, one thing after the other, sound
// and unsound.
type shiftStory struct {
	*rand.Rand
	now time.Time
	// pace is the unit of the time from one record to the next.
	pace time.Duration
	// live are records that can be corrected; heldLot and heldTool are the open holds.
	live              []ledger.Record
	heldLot, heldTool map[string]*ledger.Hold
	// carried are records that the device had from the server.
	carried map[uuid.UUID]bool
}

func pickOf[T any](s *shiftStory, items ...T) T { return items[s.IntN(len(items))] }

func (s *shiftStory) entry() ledger.Entry {
	s.now = s.now.Add(time.Duration(1+s.IntN(180)) * s.pace)
	return ledger.Entry{
		ID: storetest.NewID(), OccurTime: s.now, OffsetMinutes: -420, Offline: s.IntN(8) > 0,
		Person: pickOf(s, storetest.DenverPerson, storetest.DenverPerson, storetest.KolkataPerson, storetest.Visitor),
	}
}

// decided is the entry of somebody who may decide.
func (s *shiftStory) decided() ledger.Entry {
	e := s.entry()
	e.Person = storetest.DenverPerson
	return e
}

// next makes the next record.
func (s *shiftStory) next() ledger.Record {
	switch n := s.IntN(100); {
	case n < 42:
		return s.tightening(s.entry())
	case n < 50:
		return s.incident(s.entry())
	case n < 57:
		return s.sealing()
	case n < 64:
		return s.inspection()
	case n < 76:
		return s.custody()
	case n < 80:
		return s.movement()
	case n < 83:
		return s.calibration()
	case n < 85:
		return &ledger.ToolCheck{Entry: s.entry(), Tool: s.tool(), Site: storetest.Denver, Action: ledger.ActionPeriodicInspection,
			Result: pickOf(s, ledger.InspectionPass, ledger.InspectionFail)}
	case n < 92:
		return s.hold()
	}
	return s.correction()
}

func (s *shiftStory) tool() string {
	return pickOf(s, storetest.DenverWrench, storetest.DenverWrench, storetest.KolkataWrench, storetest.ImpactWrench)
}

func (s *shiftStory) joint() ledger.Place {
	p, _ := ledger.ParsePlace(pickOf(s, structural, structural, mechanical, seam, "RVB/CT1/C2/J001"))
	return p
}

func (s *shiftStory) tightening(e ledger.Entry) *ledger.Tightening {
	r := storetest.NewTightening(structural)
	r.Entry, r.Joint, r.Tool = e, s.joint(), s.tool()
	r.Lot = pickOf(s, storetest.StainlessLot, storetest.StainlessLot, storetest.OtherStainlessLot, storetest.GalvanizedLot)
	r.Treatment = pickOf(s, ledger.TreatmentAntiSeize, ledger.TreatmentThreadLocking, ledger.TreatmentNone)
	r.CompoundBatch = pickOf(s, "", "AS-19", "TL-4")
	torque := pickOf(s, 10.0, 32, 32, 36, 150)
	r.TorqueNewtonMetres, r.TorqueAsTyped = &torque, ""
	r.Fasteners, r.Pass = 1+s.IntN(30), pickOf(s, ledger.PassFirst, ledger.PassFirst, ledger.PassFinal)
	if s.IntN(8) == 0 { // written down hours later; with what no interval in cycles is about
		r.OccurTime = r.OccurTime.Add(-time.Duration(s.IntN(6)) * time.Hour)
		r.Tool = storetest.ImpactWrench
	}
	if s.IntN(12) == 0 { // on a device whose clock is a day or two ahead
		r.OccurTime = ledger.Microseconds(time.Now()).Add(time.Duration(1+s.IntN(47)) * time.Hour)
	}
	return r
}

func (s *shiftStory) incident(e ledger.Entry) *ledger.Incident {
	r := storetest.NewIncident(pickOf(s, ledger.Galling, ledger.BrokenFastener, ledger.DroppedTool), structural)
	r.Entry, r.Joint, r.Tool, r.Fasteners = e, s.joint(), s.tool(), 1+s.IntN(3)
	if r.Kind == ledger.DroppedTool {
		r.Fasteners, r.Lot, r.Treatment = 0, "", 0
	}
	return r
}

func (s *shiftStory) sealing() *ledger.Sealing {
	place, _ := ledger.ParsePlace(seam)
	air, surface, humidity := pickOf(s, -3.0, 4, 15), pickOf(s, -4.0, 3, 15), pickOf(s, 40.0, 97)
	return &ledger.Sealing{
		Entry: s.entry(), Joint: place, Sealant: pickOf(s, "polyurethane", "butyl"), Batch: pickOf(s, "", "SG-7", "AS-19"), WidthMillimetres: pickOf(s, 6.0, 9.5),
		AirCelsius: &air, SurfaceCelsius: &surface, HumidityPercent: &humidity, Splice: pickOf(s, ledger.SpliceNone, ledger.SpliceMidRun),
	}
}

func (s *shiftStory) inspection() *ledger.Inspection {
	return &ledger.Inspection{Entry: s.entry(), Joint: s.joint(), Kind: ledger.TorqueAudit, Result: ledger.InspectionPass, Tool: s.tool(),
		ReadingsNewtonMetres: []float64{pickOf(s, 20.0, 31, 150), 33}}
}

func (s *shiftStory) custody() *ledger.Custody {
	r := &ledger.Custody{Entry: s.entry(), Tool: s.tool(), Site: pickOf(s, storetest.Denver, storetest.Denver, storetest.Denver, storetest.Kolkata)}
	r.Kind = pickOf(s, ledger.CustodyIssued, ledger.CustodyIssued, ledger.CustodyIssued, ledger.CustodyReturned, ledger.CustodyReturned,
		ledger.CustodySent, ledger.CustodyReceived, ledger.CustodyDropped, ledger.CustodyRepaired)
	if r.Kind == ledger.CustodyIssued {
		r.Holder = storetest.Visitor
	}
	return r
}

func (s *shiftStory) movement() *ledger.LotMovement {
	return &ledger.LotMovement{Entry: s.entry(), Lot: pickOf(s, storetest.StainlessLot, storetest.GalvanizedLot), Quantity: int64(1 + s.IntN(60)),
		Site: pickOf(s, storetest.Denver, storetest.Denver, storetest.Kolkata),
		Kind: pickOf(s, ledger.MovementReceived, ledger.MovementReceived, ledger.MovementScrapped, ledger.MovementCounted)}
}

func (s *shiftStory) calibration() *ledger.Calibration {
	r := storetest.NewCalibration(pickOf(s, storetest.DenverWrench, storetest.KolkataWrench))
	id := r.ID
	r.Entry = s.entry()
	r.ID = id
	if s.IntN(4) == 0 { // outside what ISO 6789 allows
		r.Points[1].ReadingsNewtonMetres = []float64{71, 70}
	}
	if s.IntN(6) == 0 {
		r.Document = ledger.DeclarationOfConformance
	}
	return r
}

// hold places a hold on a lot or a tool, or releases the one that is on it.
func (s *shiftStory) hold() *ledger.Hold {
	h := &ledger.Hold{Entry: s.decided(), Action: ledger.HoldPlaced, Site: storetest.Denver, Reason: "heads crack"}
	open := s.heldTool
	name := pickOf(s, storetest.DenverWrench, storetest.ImpactWrench)
	if s.IntN(2) == 0 {
		open, name = s.heldLot, pickOf(s, storetest.StainlessLot, storetest.OtherStainlessLot)
		h.Lot = name
	} else {
		h.Tool = name
	}
	if placed := open[name]; placed != nil {
		h.Action, h.Releases, h.Decision = ledger.HoldReleased, placed.ID, ledger.DecisionUseAsIs
		delete(open, name)
	} else {
		open[name] = h
	}
	return h
}

// correction withdraws one of the last records or puts another in its place.
func (s *shiftStory) correction() ledger.Record {
	var can []ledger.Record
	for _, r := range s.live[max(0, len(s.live)-30):] {
		if !s.carried[r.Head().ID] || !reachesBack(r) {
			can = append(can, r)
		}
	}
	if len(can) == 0 {
		return s.inspection()
	}
	old := pickOf(s, can...)
	c := &ledger.Correction{Entry: s.decided(), Corrects: old.Head().ID, Reason: "written down wrong"}
	if s.IntN(2) == 0 {
		return c
	}
	e := *old.Head()
	e.ID = storetest.NewID()
	switch old := old.(type) {
	case *ledger.Tightening:
		c.With = s.tightening(e)
		with := c.With.(*ledger.Tightening)
		with.OccurTime, with.Lot = old.OccurTime, old.Lot
		if with.Tool == storetest.DenverWrench { // its use before the newest calibration is not carried
			with.OccurTime = c.OccurTime
		}
	case *ledger.Custody:
		with := *old
		with.Entry, with.Kind, with.Holder = e, ledger.CustodyIssued, storetest.DenverPerson
		c.With = &with
	case *ledger.Incident:
		with := *old
		with.Entry, with.Noticed = e, "at two turns"
		c.With = &with
	default:
		return c
	}
	c.Replacement = c.With.Head().ID
	return c
}

// reachesBack says of a record that to take it back asks for more than is carried: the
// use of a tool since the calibration before the newest one.
func reachesBack(r ledger.Record) bool {
	_, is := r.(*ledger.Calibration)
	return is
}

// happened notes what the store took.
func (s *shiftStory) happened(r ledger.Record) {
	gone := uuid.Nil
	if c, ok := r.(*ledger.Correction); ok {
		gone = c.Corrects
		r = c.With
	}
	s.live = slices.DeleteFunc(s.live, func(l ledger.Record) bool { return l.Head().ID == gone })
	switch r.(type) {
	case *ledger.Tightening, *ledger.Incident, *ledger.Custody, *ledger.Calibration, *ledger.ToolCheck, *ledger.Inspection:
		s.live = append(s.live, r)
	}
}

// storyStore has everything that the records of a story name, and rules that look at
// every part of it.
func storyStore(t *testing.T, e storetest.Engine) *store.Store {
	t.Helper()
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	must := func(_ any, err error) {
		if err != nil {
			t.Helper()
			t.Fatal(err)
		}
	}
	must(s.RegisterBatches(ctx, []ledger.Batch{
		{Number: "AS-19", Kind: ledger.ConsumableAntiSeize, ExpireDate: time.Now().Format(time.DateOnly)},
		{Number: "TL-4", Kind: ledger.ConsumableThreadLocking, ExpireDate: time.Now().AddDate(0, 0, -15).Format(time.DateOnly)},
		{Number: "SG-7", Kind: ledger.ConsumableGunGradeSealant},
	}, store.Change{}))
	must(s.UpdateTool(ctx, storetest.DenverWrench, 0, store.Change{}, func(v *ledger.Tool) error {
		v.IntervalCycles = 150
		v.Policies = []ledger.Policy{{Action: ledger.ActionPeriodicInspection, Days: 7, AfterEvent: true}}
		return nil
	}))
	permitted := storetest.NewFleet().Lots[2].Fastener // galvanised where stainless is asked for
	must(s.RegisterSubstitutions(ctx, []ledger.Substitution{{Code: "SUB-1", Specification: storetest.Stainless, Permitted: permitted, ApprovedBy: "engineering"}}, store.Change{}))
	storetest.Record(t, s, storetest.NewLotMovement(storetest.OtherStainlessLot, storetest.Denver),
		storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver), storetest.NewLotMovement(storetest.GalvanizedLot, storetest.Kolkata))
	// A device carries who and what was on record at its site.
	for _, person := range []string{storetest.DenverPerson, storetest.KolkataPerson, storetest.Visitor} {
		for _, tool := range []string{storetest.KolkataWrench, storetest.ImpactWrench} {
			storetest.Record(t, s, storetest.NewTightening("RVB/CT2/C1/J001", func(r *ledger.Tightening) {
				r.OccurTime = time.Now().AddDate(0, 0, -25)
				r.Person, r.Tool, r.Lot, r.Fasteners = person, tool, storetest.GalvanizedLot, 1
			}))
		}
	}
	return s
}

func carrySite(t *testing.T, s *store.Store, site string, seen map[uuid.UUID]ledger.Record) carriedSource {
	t.Helper()
	c, err := s.CarriedSite(context.Background(), site)
	if err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation(c.Site.TimeZone)
	if err != nil {
		t.Fatal(err)
	}
	return carriedSource{c, zone, seen}
}

// ofDenver says whether a record is judged by what is carried of that site.
func ofDenver(r ledger.Record) bool {
	if c, ok := r.(*ledger.Correction); ok && c.With != nil {
		r = c.With
	}
	return r.SiteCode() == storetest.Denver || r.SiteCode() == ""
}

// Whatever happens at a site, in whatever order it is sent: a device that carried the
// site a while ago, and has what was entered since, finds the same as the server.
func TestADeviceFindsWhatTheServerFinds(t *testing.T) {
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		for seed := range uint64(2) {
			t.Run(fmt.Sprint(seed), func(t *testing.T) {
				t.Parallel()
				compareFindings(t, storyStore(t, e), seed, 120)
			})
		}
	})
}

// revise makes a new revision of a specification that the story's joints are under.
func revise(t *testing.T, s *store.Store) {
	t.Helper()
	_, err := s.UpdateSpecification(context.Background(), storetest.Stainless, 0, store.Change{}, func(v *ledger.Specification) error {
		v.TorqueNewtonMetres, v.Locking = 36, ledger.LockingCompound
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// note keeps a record and the replacement that came with it.
func note(seen map[uuid.UUID]ledger.Record, r ledger.Record) {
	seen[r.Head().ID] = r
	if c, ok := r.(*ledger.Correction); ok && c.With != nil {
		seen[c.Replacement] = c.With
	}
}

func compareFindings(t *testing.T, s *store.Store, seed uint64, rounds int) {
	ctx := context.Background()
	story := &shiftStory{Rand: rand.New(rand.NewPCG(seed, 6)), now: ledger.Microseconds(time.Now().AddDate(0, 0, -20)), pace: time.Second,
		heldLot: map[string]*ledger.Hold{}, heldTool: map[string]*ledger.Hold{}}
	seen := map[uuid.UUID]ledger.Record{}
	var source carriedSource
	var before []ledger.Record
	renew := func() {
		source, before = carrySite(t, s, storetest.Denver, seen), nil
		story.carried = map[uuid.UUID]bool{}
		for id := range seen {
			story.carried[id] = true
		}
	}
	renew()
	judged, broken := 0, map[string]int{}
	for round := range rounds {
		switch {
		case round == rounds/2: // what comes after falls under the new revision
			revise(t, s)
			story.now, story.pace = ledger.Microseconds(time.Now()), time.Millisecond
			renew()
		case story.IntN(12) == 0:
			renew()
		}
		var batch []ledger.Record
		for range 1 + story.IntN(4)*story.IntN(2) {
			batch = append(batch, story.next())
			story.happened(batch[len(batch)-1])
		}
		outcomes, err := s.Record(ctx, batch, store.Change{})
		if err != nil {
			t.Fatal(err)
		}
		for i, o := range outcomes {
			if o.State != store.Taken {
				t.Fatalf("round %d, %d of %d: %T was not taken: %v", round, i, len(batch), batch[i], o.Err)
			}
			// Entered at the very moment at which the server took it in.
			want, err := known.Findings(source, batch[i], before, batch[i].Head().ReceiveTime)
			if err != nil {
				t.Fatal(err)
			}
			before = append(before, batch[i])
			note(seen, batch[i])
			if !ofDenver(batch[i]) {
				continue
			}
			if d := cmp.Diff(o.Findings, want); d != "" {
				t.Fatalf("round %d, %d of %d: %T %+v (-server +device):\n%s", round, i, len(batch), batch[i], batch[i], d)
			}
			judged++
			for _, f := range o.Findings {
				broken[f.Rule]++
			}
		}
	}
	t.Logf("%d records judged: %v", judged, broken)
	if judged < rounds || len(broken) < 19 || broken["clock"] == 0 {
		t.Errorf("%d records, %d rules: the story is too tame to show anything: %v", judged, len(broken), broken)
	}
}
