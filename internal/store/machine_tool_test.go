package store_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// TestStateMachineOfTools lets chance use, calibrate, check, drop, hold, lend and send off a
// few tools, and correct what was said of them. What is due, where each tool is, who has it
// and what speaks against lending it must be what the model reads off their cards.
func TestStateMachineOfTools(t *testing.T) {
	t.Parallel()
	letChance(t, story{
		begin: func(m *machine, rt *rapid.T) {
			m.registerAll(rt)
			m.registerTools(rt)
			// So few that much happens to each.
			m.tools = rapid.SliceOfNDistinct(rapid.SampledFrom(machineTools()), 2, 3, rapid.ID[string]).Draw(rt, "tools")
			m.draws = m.drawOfTool
			for range 3 {
				batch := make([]ledger.Record, 10)
				for i := range batch {
					batch[i] = m.draws(rt)
				}
				m.sendAs(rt, batch, store.Change{})
				m.sent = slices.DeleteFunc(m.sent, func(r ledger.Record) bool { return m.model.byID[r.Head().ID] == nil })
			}
		},
		actions: func(m *machine) map[string]func(*rapid.T) {
			return map[string]func(*rapid.T){
				"record":        m.recordNew,
				"record more":   m.recordNew,
				"record again":  m.recordAgain,
				"correct":       m.correct,
				"correct more":  m.correct,
				"move a tool":   m.moveTool,
				"lend":          m.lend,
				"lend another":  m.lend,
				"lend again":    m.lendAgain,
				"send off":      m.sendOff,
				"open again":    m.compareCold,
				"other server":  m.change,
				"compare tools": m.compareTools,
			}
		},
		end: func(m *machine, rt *rapid.T) {
			for range 20 {
				m.lend(rt)
				m.compareTools(rt)
				m.compareTools(rt)
			}
			m.compare(rt)
		},
	})
}

// Tools of the machine beside those of the fleet.
const (
	machineHoist  = "HO-0007" // inspected, tested and checked, and never calibrated
	cyclesWrench  = "TW-0300" // by cycles alone, without a class
	machineWrench = "TW-0301" // by months, cycles and what befalls it
)

func machineTools() []string {
	return []string{machineWrench, cyclesWrench, storetest.KolkataWrench, storetest.ImpactWrench, machineHoist}
}

func (m *machine) registerTools(rt *rapid.T) {
	tools := []ledger.Tool{
		{Serial: machineHoist, Kind: ledger.ToolHoist, HomeSite: storetest.Denver, RatedLoadKilograms: 500, Policies: []ledger.Policy{
			{Action: ledger.ActionPeriodicInspection, Months: 1, AfterEvent: true},
			{Action: ledger.ActionProofTest, Days: 30, Cycles: 60},
			{Action: ledger.ActionPreUseCheck, EachShift: true},
		}},
		{Serial: cyclesWrench, Kind: ledger.ToolTorqueWrench, MinimumNewtonMetres: 20, MaximumNewtonMetres: 100, HomeSite: storetest.Kolkata, IntervalCycles: 60},
		{Serial: machineWrench, Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20, MaximumNewtonMetres: 100, HomeSite: storetest.Denver,
			IntervalMonths: 6, IntervalCycles: 60, DueAfterEvent: true},
	}
	want := mapped(tools, func(tool ledger.Tool) answer { return registerThing(m.model.tools, tool.Serial, tool, true, true) })
	outcomes, err := m.s.RegisterTools(m.t.Context(), tools, store.Change{})
	m.agree(rt, "tools", outcomes, err, want)
}

// drawOfTool makes a record of something that was done with a tool, or befell it.
func (m *machine) drawOfTool(rt *rapid.T) ledger.Record {
	tool := rapid.SampledFrom(m.tools).Draw(rt, "tool")
	site := rapid.SampledFrom([]string{storetest.Denver, storetest.Kolkata}).Draw(rt, "site")
	joint := rapid.SampledFrom(machineJoints()).Draw(rt, "joint").Place
	result := ledger.InspectionResult(1 + evenly(rt, 2, "result"))
	switch evenly(rt, 9, "kind of record") {
	case 0, 1:
		return &ledger.Tightening{Entry: m.entry(rt), Joint: joint, Lot: storetest.StainlessLot, Treatment: ledger.TreatmentAntiSeize, Tool: tool,
			Fasteners: 1 + evenly(rt, 30, "fasteners"), Pass: ledger.Pass(1 + evenly(rt, 3, "pass")), Method: ledger.DrivenByHand}
	case 2, 3:
		return m.drawCalibration(rt, tool)
	case 4:
		return &ledger.Incident{Entry: m.entry(rt), Kind: rapid.SampledFrom([]ledger.IncidentKind{ledger.DroppedTool, ledger.Galling}).Draw(rt, "incident"),
			Site: joint.Site, Joint: joint, Fasteners: 1, Lot: storetest.StainlessLot, Treatment: ledger.TreatmentAntiSeize, Tool: tool, Method: ledger.DrivenByHand}
	case 5:
		return &ledger.Custody{Entry: m.entry(rt), Tool: tool, Kind: ledger.CustodyKind(1 + evenly(rt, 8, "custody")), Site: site,
			Holder: rapid.SampledFrom([]string{"", storetest.DenverPerson, storetest.Visitor}).Draw(rt, "holder")}
	case 6:
		h := &ledger.Hold{Entry: m.entry(rt), Action: ledger.HoldPlaced, Reason: "clicks late", Tool: tool, Site: site}
		if rapid.Bool().Draw(rt, "release") {
			return m.drawRelease(rt, joint, "looked at").(*ledger.Hold)
		}
		return h
	default:
		return &ledger.ToolCheck{Entry: m.entry(rt), Tool: tool, Site: site, Action: ledger.PolicyAction(2 + evenly(rt, 3, "action")), Result: result}
	}
}

// drawCalibration makes readings that lie on the target, or a quarter off it; after an
// adjustment, perhaps.
func (m *machine) drawCalibration(rt *rapid.T, tool string) *ledger.Calibration {
	c := &ledger.Calibration{Entry: m.entry(rt), Tool: tool, Document: ledger.CalibrationDocument(evenly(rt, 3, "document"))}
	for phase := ledger.AsFound; phase <= ledger.AsFound+ledger.CalibrationPhase(evenly(rt, 2, "adjusted")); phase++ {
		reading := rapid.SampledFrom([]float64{60, 60, 75}).Draw(rt, "reading")
		c.Points = append(c.Points, ledger.CalibrationPoint{Phase: phase, TargetNewtonMetres: 60, ReadingsNewtonMetres: []float64{60, reading}, ExpandedUncertaintyNewtonMetres: 0.6})
	}
	return c
}

// drawChange makes a change of hands for who looks before the tool goes out.
func (m *machine) drawChange(rt *rapid.T, kind ledger.CustodyKind) *ledger.Custody {
	r := &ledger.Custody{Entry: m.entry(rt), Tool: rapid.SampledFrom(m.tools).Draw(rt, "tool"), Kind: kind}
	if evenly(rt, 20, "unknown") == 0 {
		r.Tool = "TW-none"
	}
	if evenly(rt, 4, "where it is") > 0 && r.Tool != "TW-none" {
		r.Site = m.model.card(r.Tool, time.Now().AddDate(1, 0, 0)).site()
	} else {
		r.Site = rapid.SampledFrom([]string{storetest.Denver, storetest.Kolkata}).Draw(rt, "site")
	}
	return r
}

// lend lends a tool, fit or not; somebody may let it pass.
func (m *machine) lend(rt *rapid.T) {
	r := m.drawChange(rt, ledger.CustodyIssued)
	if r.Holder = storetest.Visitor; evenly(rt, 8, "another holder") == 0 {
		r.Holder = rapid.SampledFrom([]string{storetest.DenverPerson, "nobody", ""}).Draw(rt, "holder") // two of them can't be
	}
	if r.OverrideBy = rapid.SampledFrom([]string{"", "", "", "", storetest.DenverPerson, storetest.KolkataPerson}).Draw(rt, "override"); r.OverrideBy != "" {
		r.OverrideReason = rapid.SampledFrom([]string{"for marking out", "for marking out", ""}).Draw(rt, "why") // "" is not valid
	}
	m.sent = append(m.sent, r)
	m.lendThis(rt, r)
}

// lendAgain lends what was lent before, as it was or altered.
func (m *machine) lendAgain(rt *rapid.T) {
	issued := slices.DeleteFunc(slices.Clone(m.sent), func(r ledger.Record) bool {
		c, ok := r.(*ledger.Custody)
		return !ok || c.Kind != ledger.CustodyIssued
	})
	if len(issued) == 0 {
		rt.Skip("nothing was lent yet")
	}
	r := resent(rapid.SampledFrom(issued).Draw(rt, "lent before")).(*ledger.Custody)
	if evenly(rt, 3, "altered") == 0 {
		r.Note += "!"
	}
	m.lendThis(rt, r)
}

func (m *machine) lendThis(rt *rapid.T, r *ledger.Custody) {
	change, model := m.perhaps(rt)
	want, against := model.lend(resent(r).(*ledger.Custody))
	outcome, passed, err := m.s.LendTool(m.t.Context(), resent(r).(*ledger.Custody), change)
	got := wordsOf(err)
	if err == nil {
		got = mapped(passed, func(p analysis.ToolRefusal) string {
			return strings.ToUpper(strings.ReplaceAll(analysis.RefusalReasons.Name(p.Reason), "-", "_"))
		})
		slices.Sort(got)
	}
	m.agreeOnTool(rt, "lending "+r.Tool, outcome, err, want, got, against)
}

// sendOff sends a tool to another site, if it can be.
func (m *machine) sendOff(rt *rapid.T) {
	r := m.drawChange(rt, ledger.CustodySent)
	to := rapid.SampledFrom([]string{storetest.Denver, storetest.Kolkata, "RVX"}).Draw(rt, "to")
	m.sent = append(m.sent, r)
	change, model := m.perhaps(rt)
	want, against := model.sendOff(resent(r).(*ledger.Custody), to)
	outcome, err := m.s.SendTool(m.t.Context(), resent(r).(*ledger.Custody), to, change)
	m.agreeOnTool(rt, "sending "+r.Tool, outcome, err, want, wordsOf(err), against)
}

// perhaps is how a change is to be made, and the model that is told: a copy where nothing
// is kept.
func (m *machine) perhaps(rt *rapid.T) (store.Change, *model) {
	if evenly(rt, 6, "validate only") == 0 {
		return store.Change{ValidateOnly: true}, m.model.clone()
	}
	return store.Change{}, m.model
}

// wordsOf are the words of what speaks against a change of hands.
func wordsOf(err error) []string {
	refusal, _ := errors.AsType[*ledger.Error](err)
	if refusal == nil {
		return nil
	}
	words := mapped(refusal.Violations, func(v ledger.Violation) string { return v.Type })
	slices.Sort(words)
	return words
}

func (m *machine) agreeOnTool(rt *rapid.T, what string, outcome store.Outcome, err error, want answer, words, against []string) {
	got := answer{state: outcome.State}
	if err != nil {
		got.state = store.Refused
		if refusal, ok := errors.AsType[*ledger.Error](err); ok {
			got.reason = refusal.Reason
		}
	}
	if got != want || !slices.Equal(words, against) {
		rt.Fatalf("%s: %v, against it %v (%v); the model says %v, %v", what, got, words, err, want, against)
	}
}

// compareTools holds what is due, and where the tools are and who has them, to the model's
// cards, as of any moment and of some of the tools.
func (m *machine) compareTools(rt *rapid.T) {
	q := m.drawQuery(rt)
	const day = 24 * time.Hour
	question := analysis.DueQuestion{
		AsOf:        q.AsOf,
		Within:      rapid.SampledFrom([]time.Duration{0, 7*day + 34*time.Minute, 45*day + 34*time.Minute, 500 * day}).Draw(rt, "within"),
		ShiftChecks: rapid.Bool().Draw(rt, "checks of the shift"),
	}
	items, err := m.s.DueItems(m.t.Context(), q, question)
	got := mapped(items, dueLineOf)
	nearly := cmpopts.EquateApproxTime(time.Second) // a forecast is a quotient
	if diff := cmp.Diff(m.model.due(q, question.Within, question.ShiftChecks), got, cmpopts.EquateEmpty(), nearly); err != nil || diff != "" {
		rt.Fatalf("due of %+v within %v, %v (-model +store):\n%s", q, question.Within, err, diff)
	}
	tools, err := m.s.TrackedTools(m.t.Context(), q)
	if diff := cmp.Diff(mapped(m.model.cards(q), stateOfCard), mapped(tools, stateOfTool), cmpopts.EquateEmpty()); err != nil || diff != "" {
		rt.Fatalf("tools of %+v, %v (-model +store):\n%s", q, err, diff)
	}
}

// drawQuery asks of all tools or some, as of a moment of the story or long after.
func (m *machine) drawQuery(rt *rapid.T) analysis.TrackedQuery {
	q := analysis.TrackedQuery{AsOf: storetest.Occurred.Add(time.Duration(evenly(rt, 62*24, "as of")-24) * time.Hour)}
	if evenly(rt, 3, "long after") == 0 {
		q.AsOf = q.AsOf.AddDate(1, 0, 0)
	}
	site := rapid.SampledFrom([]string{storetest.Denver, storetest.Kolkata}).Draw(rt, "of site")
	switch evenly(rt, 7, "of which tools") {
	case 0:
		q.Sites = []string{site}
	case 1:
		q.Sites, q.Visiting = []string{site}, true
	case 2:
		q.Holder = rapid.SampledFrom([]string{storetest.DenverPerson, storetest.Visitor}).Draw(rt, "held by")
	case 3:
		q.Lent = true
	case 4:
		q.Serials = []string{rapid.SampledFrom(m.tools).Draw(rt, "one tool")}
	}
	return q
}

func dueLineOf(i analysis.DueItem) dueLine {
	line := dueLine{Serial: i.Tool.Serial, Action: i.Action, At: i.DueAt, Reason: i.Reason, Forecast: i.Forecast, PastDue: i.PastDue, Done: i.LastDone, Allowed: i.CyclesAllowed, Holder: i.Holder}
	if i.CyclesAllowed > 0 {
		line.Used = i.CyclesUsed
	}
	if i.Custody != nil {
		line.Site = i.Custody.Site
	}
	return line
}

// stateOf is what a card says of a tool as a whole.
type stateOf struct {
	Serial, Site, Holder string
	Calibrated           time.Time
	Held                 []string
}

func stateOfCard(c toolCard) stateOf {
	calibrated, _ := c.calibrated()
	s := stateOf{Serial: c.tool.Serial, Site: c.site(), Holder: c.holder(), Calibrated: calibrated}
	for _, id := range c.held {
		s.Held = append(s.Held, id.String())
	}
	return s
}

func stateOfTool(t analysis.TrackedTool) stateOf {
	s := stateOf{Serial: t.Due.Tool.Serial, Site: t.Due.Tool.HomeSite, Holder: t.Holder()}
	if t.Custody != nil {
		s.Site = t.Custody.Site
	}
	if t.Due.Last != nil {
		s.Calibrated = t.Due.Last.OccurTime
	}
	for _, h := range t.Holds {
		s.Held = append(s.Held, h.ID.String())
	}
	return s
}
