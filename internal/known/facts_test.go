package known_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// carried is a source of one joint, one specification, one lot, one tool, one person
// and one batch.
type carried struct {
	joint     known.JointPast
	revisions []ledger.Specification
	lot       known.LotPast
	tool      known.ToolPast
	person    ledger.Person
	batch     ledger.Batch
	permitted []ledger.Substitution
	records   map[uuid.UUID]ledger.Record
}

func (c *carried) Location() *time.Location { return time.UTC }

func (c *carried) Joint(p ledger.Place) (known.JointPast, bool) {
	return c.joint, p == c.joint.Joint.Place
}

func (c *carried) Revisions(code string) []ledger.Specification {
	return slices.DeleteFunc(slices.Clone(c.revisions), func(s ledger.Specification) bool { return s.Code != code })
}

func (c *carried) Lot(n string) (known.LotPast, bool)         { return c.lot, n == c.lot.Lot.Number }
func (c *carried) Tool(n string) (known.ToolPast, bool)       { return c.tool, n == c.tool.Tool.Serial }
func (c *carried) Person(n string) (ledger.Person, bool)      { return c.person, n == c.person.ID }
func (c *carried) Batch(n string) (ledger.Batch, bool)        { return c.batch, n == c.batch.Number }
func (c *carried) Substitutions(string) []ledger.Substitution { return c.permitted }

func (c *carried) Record(id uuid.UUID) (ledger.Record, bool) {
	r, ok := c.records[id]
	return r, ok
}

var noon = time.Date(2026, 5, 12, 12, 0, 0, 0, time.UTC)

func hours(n int) time.Time { return noon.Add(time.Duration(n) * time.Hour) }

func id(n byte) uuid.UUID { return uuid.UUID{6: 0x70, 8: 0x80, 15: n} }

func entry(n byte, at int) ledger.Entry {
	return ledger.Entry{ID: id(n), OccurTime: hours(at), Person: "mk", Offline: true}
}

var (
	place = ledger.Place{Site: "HAR", Tower: "T1", Cell: "C1", Joint: "J1"}
	bolt  = ledger.Fastener{Thread: "M10x1.5", Material: ledger.Stainless316}
)

// site is one where all is well for a tightening at noon: the wrench was calibrated
// 100 h before and 40 fasteners ago, the lot has 20 left.
func site() *carried {
	good := &ledger.CalibrationVerdict{AsFound: ledger.VerdictPass}
	return &carried{
		joint: known.JointPast{Joint: ledger.Joint{Place: place, Kind: ledger.JointStructural, Specification: "S1", Fasteners: 24}},
		revisions: []ledger.Specification{
			{Code: "S1", Fastener: bolt, TorqueNewtonMetres: 30, Revision: ledger.Revision{Version: 1, CreateTime: hours(-500)}},
			{Code: "S1", Fastener: bolt, TorqueNewtonMetres: 32, Revision: ledger.Revision{Version: 2, CreateTime: hours(-10)}},
		},
		lot: known.LotPast{Lot: ledger.Lot{Number: "L1", Fastener: bolt, State: ledger.LotReleased}, MovedAnywhere: true, Received: true, OnHand: 20},
		tool: known.ToolPast{
			Tool: ledger.Tool{Serial: "W1", Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20, MaximumNewtonMetres: 100,
				HomeSite: "HAR", IntervalMonths: 12, IntervalCycles: 5000, DueAfterEvent: true},
			Home:         time.UTC,
			Calibrations: []ledger.Calibration{{Entry: entry(200, -100), Tool: "W1", Verdict: good}},
			Custody:      []ledger.Custody{{Entry: entry(201, -90), Tool: "W1", Kind: ledger.CustodyIssued, Site: "HAR", Holder: "mk"}},
			Uses:         []analysis.Use{{At: hours(-50), Fasteners: 40}},
		},
		person: ledger.Person{ID: "mk"},
		batch:  ledger.Batch{Number: "AS-1", Kind: ledger.ConsumableAntiSeize},
	}
}

func tightening(n byte, at int, changes ...func(*ledger.Tightening)) *ledger.Tightening {
	r := &ledger.Tightening{Entry: entry(n, at), Joint: place, Lot: "L1", Treatment: ledger.TreatmentAntiSeize, CompoundBatch: "AS-1", Tool: "W1",
		Fasteners: 8, Pass: ledger.PassFirst, Method: ledger.DrivenByHand}
	for _, c := range changes {
		c(r)
	}
	return r
}

func custody(n byte, at int, kind ledger.CustodyKind) *ledger.Custody {
	return &ledger.Custody{Entry: entry(n, at), Tool: "W1", Kind: kind, Site: "HAR"}
}

func withdrawal(n byte, of uuid.UUID) *ledger.Correction {
	return &ledger.Correction{Entry: entry(n, 0), Corrects: of, Reason: "typed wrong"}
}

func facts(t *testing.T, c *carried, r ledger.Record, before ...ledger.Record) rules.Facts {
	t.Helper()
	f, err := known.Facts(c, r, before, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// What is expected is worked out by hand from what each case says.
func TestFactsOfWhatWaits(t *testing.T) {
	hold := func(n byte, at int, lot, tool string) *ledger.Hold {
		return &ledger.Hold{Entry: entry(n, at), Action: ledger.HoldPlaced, Lot: lot, Tool: tool, Site: "HAR"}
	}
	release := func(n byte, at int, of *ledger.Hold) *ledger.Hold {
		return &ledger.Hold{Entry: entry(n, at), Action: ledger.HoldReleased, Lot: of.Lot, Tool: of.Tool, Site: "HAR", Releases: of.ID}
	}
	move := func(n byte, at int, kind ledger.MovementKind, quantity int64) *ledger.LotMovement {
		return &ledger.LotMovement{Entry: entry(n, at), Lot: "L1", Site: "HAR", Kind: kind, Quantity: quantity}
	}
	others := func(f rules.Facts) string {
		var words []string
		for _, v := range f.EarlierTreatments {
			words = append(words, ledger.Treatments.Name(v))
		}
		return strings.Join(words, " ")
	}
	locked := func(r *ledger.Tightening) { r.Treatment = ledger.TreatmentThreadLocking }
	dropped := &ledger.Incident{Entry: entry(1, -1), Kind: ledger.DroppedTool, Site: "HAR", Tool: "W1"}
	onLot, onTool := hold(1, -2, "L1", ""), hold(2, -2, "", "W1")
	carriedHold := func(c *carried) { c.lot.Holds = []known.Span{{From: hours(-9)}} }
	for name, tc := range map[string]struct {
		change func(*carried)
		before []ledger.Record
		holds  func(rules.Facts) bool
	}{
		"nothing": {nil, nil, func(f rules.Facts) bool {
			return f.LotStockKnown && f.LotReceivedHere && f.LotOnHandBefore == 20 && f.CyclesSince == 40 && !f.EventSince && !f.LotHeld && !f.ToolHeld &&
				others(f) == "" && f.Custody.Holder == "mk" && f.Calibration.ID == id(200) && f.Specification.Version == 2 && f.Location == time.UTC && f.Offline
		}},
		"a tightening": {nil, []ledger.Record{tightening(1, -1, locked)}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 12 && f.CyclesSince == 48 && others(f) == "thread-locking-compound"
		}},
		"a later one": {nil, []ledger.Record{tightening(1, 1, locked)}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 12 && f.CyclesSince == 40 && others(f) == ""
		}},
		"a final pass": {nil, []ledger.Record{tightening(1, -1, func(r *ledger.Tightening) { r.Pass = ledger.PassFinal })}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 20 && f.CyclesSince == 48
		}},
		"one withdrawn": {nil, []ledger.Record{tightening(1, -1, locked), withdrawal(2, id(1))}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 20 && f.CyclesSince == 40 && others(f) == ""
		}},
		"one replaced": {nil, []ledger.Record{tightening(1, -1, locked), &ledger.Correction{Entry: entry(2, 0), Corrects: id(1), Replacement: id(3), With: tightening(3, -1, func(r *ledger.Tightening) { r.Fasteners = 3 })}},
			func(f rules.Facts) bool {
				return f.LotOnHandBefore == 17 && f.CyclesSince == 43 && others(f) == "anti-seize"
			}},
		"a carried one withdrawn": {func(c *carried) {
			c.joint.Tightenings = []known.Tightened{{ID: id(1), At: hours(-50), Treatment: ledger.TreatmentThreadLocking, Fasteners: 40}}
			c.records = map[uuid.UUID]ledger.Record{id(1): tightening(1, -50, locked, func(r *ledger.Tightening) { r.Fasteners = 40 })}
		}, []ledger.Record{withdrawal(2, id(1))}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 60 && f.CyclesSince == 0 && others(f) == ""
		}},
		"a thread failure": {nil, []ledger.Record{&ledger.Incident{Entry: entry(1, -1), Kind: ledger.Galling, Joint: place, Lot: "L1", Fasteners: 3}}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 17
		}},
		"the lot at another site": {nil, []ledger.Record{tightening(1, -1, func(r *ledger.Tightening) { r.Joint.Site = "KVR" })}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 20 && f.CyclesSince == 48
		}},
		"a receipt": {func(c *carried) { c.lot.Received, c.lot.OnHand = false, -4 }, []ledger.Record{move(1, -1, ledger.MovementReceived, 100)}, func(f rules.Facts) bool {
			return f.LotReceivedHere && f.LotOnHandBefore == 96
		}},
		"sent off": {nil, []ledger.Record{move(1, -1, ledger.MovementSent, 5)}, func(f rules.Facts) bool { return f.LotOnHandBefore == 15 }},
		// What happened at the moment of the count is in it.
		"counted": {nil, []ledger.Record{move(1, -3, ledger.MovementCounted, 50), tightening(2, -3), tightening(3, -4), tightening(4, -2)}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 42
		}},
		"before the carried count": {func(c *carried) { c.lot.CountTime = hours(-1) }, []ledger.Record{tightening(1, -1), move(2, -5, ledger.MovementCounted, 3)}, func(f rules.Facts) bool {
			return f.LotOnHandBefore == 20
		}},
		"held":                    {nil, []ledger.Record{onLot, onTool}, func(f rules.Facts) bool { return f.LotHeld && f.ToolHeld }},
		"held after":              {nil, []ledger.Record{hold(1, 1, "L1", ""), hold(2, 1, "", "W1")}, func(f rules.Facts) bool { return !f.LotHeld && !f.ToolHeld }},
		"released":                {nil, []ledger.Record{onLot, onTool, release(3, -1, onLot)}, func(f rules.Facts) bool { return !f.LotHeld && f.ToolHeld }},
		"a carried hold released": {carriedHold, []ledger.Record{release(3, -1, hold(77, -9, "L1", ""))}, func(f rules.Facts) bool { return !f.LotHeld }},
		"one of two carried holds released": {func(c *carried) {
			c.lot.Holds = []known.Span{{From: hours(-9), ID: id(77)}, {From: hours(-8), ID: id(78)}}
		}, []ledger.Record{release(3, -1, hold(77, -9, "L1", ""))}, func(f rules.Facts) bool { return f.LotHeld }},
		"another lot's hold released": {carriedHold, []ledger.Record{release(3, -1, hold(77, -9, "L2", ""))}, func(f rules.Facts) bool { return f.LotHeld }},
		"a drop":                      {nil, []ledger.Record{dropped}, func(f rules.Facts) bool { return f.EventSince }},
		"a drop withdrawn":            {nil, []ledger.Record{dropped, withdrawal(2, id(1))}, func(f rules.Facts) bool { return !f.EventSince }},
		"a carried drop withdrawn": {func(c *carried) {
			c.tool.Dropped, c.records = []time.Time{hours(-1)}, map[uuid.UUID]ledger.Record{id(1): dropped}
		}, []ledger.Record{withdrawal(2, id(1))}, func(f rules.Facts) bool { return !f.EventSince }},
		"an overload":                         {nil, []ledger.Record{custody(1, -1, ledger.CustodyOverloaded)}, func(f rules.Facts) bool { return f.EventSince && f.Custody.Holder == "mk" }},
		"a return":                            {nil, []ledger.Record{custody(1, -1, ledger.CustodyReturned)}, func(f rules.Facts) bool { return f.Custody.ID == id(1) && !f.EventSince }},
		"a carried change of hands withdrawn": {nil, []ledger.Record{withdrawal(1, id(201))}, func(f rules.Facts) bool { return f.Custody == nil }},
		"a calibration after a drop": {nil, []ledger.Record{dropped, &ledger.Calibration{Entry: entry(2, 0), Tool: "W1",
			Points: []ledger.CalibrationPoint{{Phase: ledger.AsFound, TargetNewtonMetres: 60, ReadingsNewtonMetres: []float64{71, 71}, ExpandedUncertaintyNewtonMetres: 0.6}}}},
			func(f rules.Facts) bool {
				// Class II-A allows 4 % (ISO 6789-1:2017): 71 N.m at 60 is outside.
				return !f.EventSince && f.CyclesSince == 0 && f.Calibration.ID == id(2) && f.Calibration.Verdict.AsFound == ledger.VerdictFail
			}},
		"a declaration proves nothing": {nil, []ledger.Record{&ledger.Calibration{Entry: entry(2, -1), Tool: "W1", Document: ledger.DeclarationOfConformance}},
			func(f rules.Facts) bool { return f.Calibration.ID == id(200) }},
		"the calibration withdrawn": {nil, []ledger.Record{withdrawal(1, id(200))}, func(f rules.Facts) bool { return f.Calibration == nil }},
	} {
		c := site()
		if tc.change != nil {
			tc.change(c)
		}
		if f := facts(t, c, tightening(100, 0), tc.before...); !tc.holds(f) {
			t.Errorf("%s: %+v", name, f)
		}
	}
}

// The revision is that of the record's time, and the first for what came before it.
func TestRevisionOfTheRecordsTime(t *testing.T) {
	for at, want := range map[int]int{-600: 1, -11: 1, -10: 2, 5: 2} {
		if got := facts(t, site(), tightening(1, at)).Specification.Version; got != want {
			t.Errorf("%d h: revision %d; expected %d", at, got, want)
		}
	}
}

// A replacement is judged without what it stands instead of.
func TestFactsOfAReplacement(t *testing.T) {
	c := site()
	old := tightening(1, -1, func(r *ledger.Tightening) { r.Treatment = ledger.TreatmentThreadLocking })
	with := tightening(2, 0)
	correction := &ledger.Correction{Entry: entry(3, 1), Corrects: old.ID, Replacement: with.ID, With: with}
	f := facts(t, c, correction, old)
	if f.Record != ledger.Record(with) || f.LotOnHandBefore != 20 || f.CyclesSince != 40 || len(f.EarlierTreatments) != 0 {
		t.Errorf("%+v", f)
	}
	// Carried already: its effect is in the figures and is reckoned off.
	c.joint.Tightenings = []known.Tightened{{ID: old.ID, At: old.OccurTime, Treatment: old.Treatment, Fasteners: 8}}
	c.tool.Uses = append(c.tool.Uses, analysis.Use{At: old.OccurTime, Fasteners: 8})
	c.lot.OnHand = 12
	c.records = map[uuid.UUID]ledger.Record{old.ID: old}
	if f := facts(t, c, correction); f.LotOnHandBefore != 20 || f.CyclesSince != 40 || len(f.EarlierTreatments) != 0 {
		t.Errorf("%+v", f)
	}
	if f := facts(t, c, withdrawal(4, old.ID)); f.Lot != nil || f.Tool != nil {
		t.Errorf("a withdrawal has nothing to judge: %+v", f)
	}
}

func TestWhyAToolShouldNotGoOut(t *testing.T) {
	loan := custody(9, 0, ledger.CustodyIssued)
	c := site()
	c.tool.Custody[0].Kind, c.tool.Custody[0].Holder = ledger.CustodyReturned, ""
	if f := facts(t, c, loan); len(f.Unfit) != 0 {
		t.Errorf("fit: %q", f.Unfit)
	}
	before := []ledger.Record{
		custody(1, -3, ledger.CustodyOverloaded),
		&ledger.Hold{Entry: entry(2, -2), Action: ledger.HoldPlaced, Tool: "W1", Site: "HAR"},
		&ledger.Custody{Entry: entry(3, -1), Tool: "W1", Kind: ledger.CustodyIssued, Site: "HAR", Holder: "jt"},
	}
	f := facts(t, c, loan, before...)
	if said := strings.Join(f.Unfit, "; "); len(f.Unfit) != 3 || !strings.Contains(said, "on hold since 2026-05-12") || !strings.Contains(said, "lent to jt") || !strings.Contains(said, "verloaded") {
		t.Errorf("held, lent and overloaded: %q", f.Unfit)
	}
	found, err := known.Findings(c, loan, before, time.Time{})
	if err != nil || !slices.ContainsFunc(found, func(f rules.Finding) bool { return f.Rule == rules.CodeToolLentUnfit }) {
		t.Errorf("%+v, %v", found, err)
	}
	if f := facts(t, c, custody(9, 0, ledger.CustodySent), before...); f.Tool != nil {
		t.Error("what is sent off is judged at the door")
	}
	if f := facts(t, c, custody(9, 0, ledger.CustodyReturned), before...); f.Custody == nil || f.Custody.Holder != "jt" || f.Unfit != nil {
		t.Errorf("what is taken back is judged by who had it: %+v", f)
	}
}

// The source keeps what it gave: it is asked again for the next record.
func TestSourcesAreLeftAlone(t *testing.T) {
	c := site()
	c.tool.Custody = slices.Grow(c.tool.Custody, 4)
	c.joint.Tightenings = append(make([]known.Tightened, 0, 4), known.Tightened{ID: id(7), At: hours(-60)})
	c.lot.Holds = append(make([]known.Span, 0, 4), known.Span{From: hours(-9)})
	first := facts(t, c, tightening(100, 0))
	facts(t, c, tightening(100, 0), custody(1, -1, ledger.CustodyReturned), tightening(2, -1), withdrawal(3, id(7)), withdrawal(4, id(201)),
		&ledger.Hold{Entry: entry(5, -1), Action: ledger.HoldReleased, Lot: "L1", Releases: id(77), Site: "HAR"})
	if again := facts(t, c, tightening(100, 0)); again.Custody.ID != first.Custody.ID || !again.LotHeld || again.CyclesSince != first.CyclesSince || len(again.EarlierTreatments) != 1 {
		t.Errorf("%+v", again)
	}
}

// The order in which records stand before one is that of their entry; those of one
// day may come in any.
func TestOrderOfWhatWaits(t *testing.T) {
	before := []ledger.Record{
		tightening(1, -4), custody(2, -3, ledger.CustodyReturned), custody(3, -2, ledger.CustodyDropped), tightening(4, -1),
		&ledger.LotMovement{Entry: entry(5, -2), Lot: "L1", Site: "HAR", Kind: ledger.MovementCounted, Quantity: 30},
	}
	want := facts(t, site(), tightening(100, 0), before...)
	for i := range before {
		turned := slices.Concat(before[i:], before[:i])
		got := facts(t, site(), tightening(100, 0), turned...)
		if got.LotOnHandBefore != want.LotOnHandBefore || got.CyclesSince != want.CyclesSince || got.EventSince != want.EventSince || got.Custody.ID != want.Custody.ID {
			t.Errorf("turned by %d: %+v; expected %+v", i, got, want)
		}
	}
}

func TestMissing(t *testing.T) {
	if names := known.Missing(site(), tightening(1, 0)); len(names) != 0 {
		t.Error(names)
	}
	r := tightening(1, 0, func(r *ledger.Tightening) { r.Joint.Joint, r.Lot, r.Tool, r.Person = "J9", "L9", "W9", "zz" })
	want := []string{r.Joint.Resource(), "lots/L9", "tools/W9", "people/zz"}
	if names := known.Missing(site(), &ledger.Correction{Entry: entry(2, 0), Corrects: id(3), With: r}); !slices.Equal(names, want) {
		t.Error(names)
	}
	// What is not known makes rules silent, and no error.
	if f := facts(t, site(), r); f.Joint != nil || f.Specification != nil || f.Lot != nil || f.Tool != nil || f.Person != nil || f.LotStockKnown {
		t.Errorf("%+v", f)
	}
}

func TestErrorsOfPieces(t *testing.T) {
	asked := errors.New("asked")
	p := known.Pieces{Record: tightening(1, 0), Lot: &ledger.Lot{}, Specification: &ledger.Specification{Fastener: bolt},
		Substitutions: func(string) ([]ledger.Substitution, error) { return nil, asked }}
	if _, err := p.Facts(); !errors.Is(err, asked) {
		t.Error(err)
	}
	c := site()
	c.tool.Tool.Policies = []ledger.Policy{{Action: 99}}
	if _, err := known.Findings(c, custody(9, 0, ledger.CustodyIssued), nil, time.Time{}); ledger.AsError(err).Kind != ledger.KindInvalid {
		t.Error(err)
	}
}
