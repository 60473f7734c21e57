package store_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

func (d *diary) carried(site string) store.CarriedSite {
	d.t.Helper()
	c, err := d.s.CarriedSite(context.Background(), site)
	if err != nil {
		d.t.Fatal(err)
	}
	return c
}

// ago sets the clock of the diary so long before now; what is kept next happens a
// minute later.
func (d *diary) ago(age time.Duration) time.Time {
	d.now = ledger.Microseconds(time.Now().Add(-age - time.Minute))
	return d.now.Add(time.Minute)
}

const day = 24 * time.Hour

func tool(t *testing.T, c store.CarriedSite, serial string) known.ToolPast {
	t.Helper()
	i := slices.IndexFunc(c.Tools, func(p known.ToolPast) bool { return p.Tool.Serial == serial })
	if i < 0 {
		t.Fatalf("tool %s is not carried", serial)
	}
	return c.Tools[i]
}

// What is carried of joints is what the server says of them, whatever was done.
func TestCarriedWork(t *testing.T) {
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		first := d.tighten(structural, 10)
		d.tighten(structural, 24, func(r *ledger.Tightening) { r.Pass, r.Treatment = ledger.PassFinal, ledger.TreatmentOtherLubricant })
		wrong := d.tighten(structural, 3)
		d.correct(wrong, nil)
		d.seal(seam)
		d.tighten(seam, 40)
		d.tighten(mechanical, 8)
		d.inspect(mechanical, ledger.TorqueAudit, ledger.InspectionPass, 150)
		d.inspect(seam, ledger.LeakTest, ledger.InspectionFail)
		cell := d.hold("RVB/CT1/C1")
		d.hold("RVB/CT1/C2/J001")
		over := d.hold("RVB/CT1/C2/J002")
		d.release(over)
		d.signOff("RVB/CT2", ledger.HoldPoint)
		d.tighten("RVB/CT2/C1/J002", 8)

		c := d.carried(storetest.Denver)
		if len(c.Towers) != 2 || len(c.Cells) != 3 || c.Site.TimeZone != "America/Denver" {
			t.Fatalf("%d towers, %d cells, zone %s", len(c.Towers), len(c.Cells), c.Site.TimeZone)
		}
		states, _, err := d.s.JointStates(context.Background(), ledger.Place{Site: storetest.Denver}, false, store.Page{Size: 100})
		if err != nil {
			t.Fatal(err)
		}
		var joints []known.JointWork
		for _, cell := range c.Cells {
			joints = append(joints, cell.Joints...)
		}
		if len(joints) != len(states) || len(joints) != 9 {
			t.Fatalf("%d joints carried of %d", len(joints), len(states))
		}
		for i, want := range states {
			got := joints[i]
			if diff := cmp.Diff(want.Joint, got.Joint); diff != "" {
				t.Errorf("joint (-server +carried):\n%s", diff)
			}
			if s := got.Work.Status(); s.State != want.State || s.OnHold != (len(want.OpenHolds) > 0) || got.Work.TightenedFirst != want.Tightened {
				t.Errorf("%s: carried as %+v, %d tightened; the server says %+v", got.Joint.Place, s, got.Work.TightenedFirst, want)
			}
		}
		// By hand, so that both can't be wrong together.
		wantStates := []ledger.JointState{ledger.JointPlanned, ledger.JointInspected, ledger.JointTightened}
		for i, want := range wantStates {
			if got := joints[i].Work.Status(); got.State != want || !got.OnHold {
				t.Errorf("%s is %v; expected %s, on hold", joints[i].Joint.Place, got, ledger.JointStates.Name(want))
			}
		}
		if len(c.Cells[0].Holds) != 1 || c.Cells[0].Holds[0].ID != cell.ID || len(c.Cells[1].Holds) != 1 {
			t.Errorf("holds of C1 %v, of C2 %v; expected one each", c.Cells[0].Holds, c.Cells[1].Holds)
		}
		want := []known.Tightened{
			{ID: first.ID, At: first.OccurTime.UTC(), Treatment: ledger.TreatmentAntiSeize, Fasteners: 10, Driven: 10, Lot: first.Lot, Tool: first.Tool},
			{At: first.OccurTime.Add(time.Minute).UTC(), Treatment: ledger.TreatmentOtherLubricant, Driven: 24, Lot: first.Lot, Tool: first.Tool},
		}
		got := slices.Clone(joints[0].Tightenings)
		if len(got) == 2 {
			want[1].ID = got[1].ID
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("tightenings: the first pass with its fasteners, the final one with none, the withdrawn one not (-want +got):\n%s", diff)
		}
	})
}

// Lots are carried where they were, with the stock of the site; holds with their
// ends; all revisions of the specifications of its joints.
func TestCarriedRegister(t *testing.T) {
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		ctx := context.Background()
		d.tighten(structural, 10)
		d.happen(ledger.Galling, structural)
		h := d.holdLot(storetest.StainlessLot, storetest.Kolkata)
		d.release(h)
		d.holdLot(storetest.GalvanizedLot, storetest.Denver)
		if _, err := d.s.UpdateSpecification(ctx, storetest.Stainless, 0, store.Change{}, func(s *ledger.Specification) error {
			s.TorqueNewtonMetres = 34
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		outcomes, err := d.s.RegisterSubstitutions(ctx, []ledger.Substitution{{Code: "SUB-1", Specification: storetest.Stainless,
			Permitted: ledger.Fastener{Thread: "M10x1.5", Material: ledger.Stainless304, LengthMillimetres: 45}, ApprovedBy: "quality"}}, store.Change{})
		wantStates(t, outcomes, err, store.Taken)
		soon := time.Now().Format(time.DateOnly)
		outcomes, err = d.s.RegisterBatches(ctx, []ledger.Batch{
			{Number: "AS-19", Kind: ledger.ConsumableAntiSeize, ExpireDate: soon}, {Number: "SE-OLD", Kind: ledger.ConsumableStripSealant, ExpireDate: "2019-01-01"},
			{Number: "SO-1", Kind: ledger.ConsumableSolvent},
		}, store.Change{})
		wantStates(t, outcomes, err, store.Taken, store.Taken, store.Taken)

		c := d.carried(storetest.Denver)
		var lots []string
		for _, l := range c.Lots {
			lots = append(lots, l.Lot.Number)
			switch l.Lot.Number {
			case storetest.StainlessLot:
				if !l.MovedAnywhere || !l.Received || l.OnHand != 1000-10-1 {
					t.Errorf("stock of %s: %+v; expected 989 of 1,000 received", l.Lot.Number, l)
				}
				want := []known.Span{{From: h.OccurTime.UTC(), To: h.OccurTime.Add(time.Minute).UTC(), ID: h.ID}}
				if diff := cmp.Diff(want, l.Holds); diff != "" {
					t.Errorf("holds on %s (-want +got):\n%s", l.Lot.Number, diff)
				}
			case storetest.GalvanizedLot:
				if len(l.Holds) != 1 || !l.Holds[0].To.IsZero() || l.Lot.State != ledger.LotReleased {
					t.Errorf("%s: holds %v, state %d; expected one open and the state that is kept", l.Lot.Number, l.Holds, l.Lot.State)
				}
			}
		}
		if want := []string{storetest.StainlessLot, storetest.GalvanizedLot, seamLot}; !slices.Equal(lots, want) {
			t.Errorf("lots %v; expected %v: the other was never at a site", lots, want)
		}
		var torques []float64
		for _, s := range c.Specifications {
			if s.Code == storetest.Stainless {
				for _, r := range s.Revisions {
					torques = append(torques, r.TorqueNewtonMetres)
				}
				if len(s.Substitutions) != 1 || s.Substitutions[0].Code != "SUB-1" {
					t.Errorf("substitutions %v", s.Substitutions)
				}
			}
		}
		if len(c.Specifications) != 3 || !slices.Equal(torques, []float64{32, 34}) {
			t.Errorf("%d specifications, torques %v; expected 3, and 32 before 34", len(c.Specifications), torques)
		}
		var batches []string
		for _, b := range c.Batches {
			batches = append(batches, b.Number)
		}
		if want := []string{"AS-19", "SO-1"}; !slices.Equal(batches, want) {
			t.Errorf("batches %v; expected %v: the other expired long ago", batches, want)
		}
	})
}

// Tools are carried where their home is, where they are, and where they were lately;
// people where they belong, where they are on record, and when they hold a tool.
func TestCarriedToolsAndPeople(t *testing.T) {
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		custody := func(serial, site, holder string, kind ledger.CustodyKind) *ledger.Custody {
			r := &ledger.Custody{Tool: serial, Site: site, Holder: holder, Kind: kind}
			d.keep(r)
			return r
		}
		serials := func(site string) (tools, people []string) {
			c := d.carried(site)
			for _, p := range c.Tools {
				tools = append(tools, p.Tool.Serial)
			}
			for _, p := range c.People {
				people = append(people, p.ID)
			}
			return tools, people
		}
		want := func(when, site string, tools, people []string) {
			t.Helper()
			gotTools, gotPeople := serials(site)
			if !slices.Equal(gotTools, tools) || !slices.Equal(gotPeople, people) {
				t.Errorf("%s: %s carries tools %v and people %v; expected %v and %v", when, site, gotTools, gotPeople, tools, people)
			}
		}
		d.ago(500 * day)
		d.tighten(structural, 1, func(r *ledger.Tightening) { r.Tool = storetest.KolkataWrench })
		home := []string{storetest.ImpactWrench, storetest.DenverWrench}
		want("a use long ago", storetest.Denver, home, []string{storetest.DenverPerson})
		custody(storetest.KolkataWrench, storetest.Denver, storetest.Visitor, ledger.CustodyIssued)
		want("lent here long ago and never returned", storetest.Denver, append(slices.Clone(home), storetest.KolkataWrench), []string{storetest.DenverPerson, storetest.Visitor})
		custody(storetest.KolkataWrench, storetest.Kolkata, "", ledger.CustodyReceived)
		want("gone home", storetest.Denver, home, []string{storetest.DenverPerson})
		d.ago(30 * day)
		d.tighten(structural, 1, func(r *ledger.Tightening) { r.Tool, r.Person = storetest.KolkataWrench, storetest.KolkataPerson })
		want("a use lately", storetest.Denver, append(slices.Clone(home), storetest.KolkataWrench), []string{storetest.DenverPerson, storetest.KolkataPerson})
	})
}

// The past of a tool goes back as far as it can matter: of custody and checks to the
// last before the look-back, of drops and calibrations to the beginning.
func TestCarriedToolPast(t *testing.T) {
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		change := func(kind ledger.CustodyKind, holder string) *ledger.Custody {
			r := &ledger.Custody{Tool: storetest.DenverWrench, Site: storetest.Denver, Holder: holder, Kind: kind}
			d.keep(r)
			return r
		}
		calibrate := func(changes ...func(*ledger.Calibration)) *ledger.Calibration {
			r := storetest.NewCalibration(storetest.DenverWrench, changes...)
			d.keep(r)
			return r
		}
		check := func(result ledger.InspectionResult) *ledger.ToolCheck {
			r := storetest.NewToolCheck(storetest.DenverWrench, func(r *ledger.ToolCheck) { r.Result = result })
			d.keep(r)
			return r
		}
		// Fixtures calibrated it in 2026-03; the clock of this test is the machine's.
		d.ago(400 * day)
		early := change(ledger.CustodyIssued, storetest.DenverPerson)
		dropped := change(ledger.CustodyDropped, "")
		check(ledger.InspectionFail)
		d.ago(200 * day)
		last := change(ledger.CustodyReturned, "")
		lastCheck := check(ledger.InspectionPass)
		d.ago(60 * day)
		newest := calibrate()
		declared := calibrate(func(c *ledger.Calibration) { c.Document = ledger.DeclarationOfConformance })
		used := d.tighten(structural, 7)
		wrong := d.tighten(structural, 5)
		d.correct(wrong, nil)
		lent := change(ledger.CustodyIssued, storetest.DenverPerson)
		incident := d.happen(ledger.DroppedTool, structural)
		newCheck := check(ledger.InspectionFail)

		got := tool(t, d.carried(storetest.Denver), storetest.DenverWrench)
		var custody []string
		for _, c := range got.Custody {
			custody = append(custody, c.ID.String())
		}
		if want := []string{dropped.ID.String(), last.ID.String(), lent.ID.String()}; !slices.Equal(custody, want) {
			t.Errorf("custody %v; expected %v: the loan of %s was over before the look-back", custody, want, early.ID)
		}
		if n := len(got.Checks); n != 2 || !got.Checks[0].At.Equal(lastCheck.OccurTime) || !got.Checks[1].At.Equal(newCheck.OccurTime) || !got.Checks[1].Failed || got.Checks[0].Failed {
			t.Errorf("checks %v; expected those of %v and %v, the second failed", got.Checks, lastCheck.OccurTime, newCheck.OccurTime)
		}
		if n := len(got.Calibrations); n != 2 || got.Calibrations[1].ID != newest.ID || got.Calibrations[1].Verdict == nil || len(got.Calibrations[1].Points) != 2 {
			t.Errorf("%d calibrations %+v; expected the first and %s, with verdict and readings, and not the declaration %s", n, got.Calibrations, newest.ID, declared.ID)
		}
		if len(got.Uses) != 1 || got.Uses[0].Fasteners != 7 || !got.Uses[0].At.Equal(used.OccurTime) {
			t.Errorf("uses %v; expected 7 fasteners at %v: the withdrawn ones don't count", got.Uses, used.OccurTime)
		}
		if len(got.Dropped) != 1 || !got.Dropped[0].Equal(incident.OccurTime) || got.Home.String() != "America/Denver" {
			t.Errorf("dropped %v, home zone %s", got.Dropped, got.Home)
		}
	})
}

func TestCarriedUnknownSite(t *testing.T) {
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		_, err := s.CarriedSite(context.Background(), "NOSUCH")
		wantUnknown(t, err, "sites/NOSUCH", "")
	})
}
