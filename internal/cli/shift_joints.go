package cli

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/shift"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// cellJoints are the joints of a cell as some data tell them, with what is needed to
// let the entries of this device count that are not in these data.
type cellJoints struct {
	joints []shift.Joint
	at     map[string]int
	// counted are the fasteners of tightenings that are in the data, by their ids;
	// empty where the data do not say which.
	counted map[uuid.UUID]int
	// work is what the state follows from; nil where only the state is known.
	work []ledger.JointWork
	// held are the open holds that are in carried data; the server's are on the joints.
	held []*ledger.Hold
}

// hold puts on the joints the holds of carried data, without those that this device has
// released since, and those that its entries place.
func (c *cellJoints) hold(u unsentHolds) {
	for i := range c.joints {
		j := &c.joints[i]
		for _, h := range c.held {
			if (h.Place == j.Place || h.Place == j.Place.Parent()) && !u.released[h.ID] {
				j.Holds = append(j.Holds, holdWords(h.Rule, h.Person))
			}
		}
		j.Holds = append(j.Holds, u.words(j.Place, c.held)...)
	}
}

// joints reads the joints of the cell: carried ones, else the server's, and in both
// cases with the entries of this device that are not in there yet.
func (w *shiftWork) joints() ([]shift.Joint, error) {
	var c *cellJoints
	asOf := w.a.now()
	p := w.data()
	if p != nil {
		c, asOf = w.carriedJoints(p), p.AsOf()
		if err := p.Err(); err != nil {
			return nil, err
		}
	} else {
		ctx, cancel := context.WithTimeout(context.Background(), w.a.settings.timeout)
		defer cancel()
		var err error
		if c, err = w.serverJoints(ctx); err != nil {
			return nil, w.a.callFailure(err, nil)
		}
		w.serverChoices(ctx)
		if site, err := pb.NewStructureServiceClient(w.conn).GetSite(ctx, &pb.GetSiteRequest{Name: "sites/" + w.place.Site}); err == nil {
			w.units.Store(uint32(site.GetUnitPreference()))
		}
	}
	w.boxLock.Lock()
	entries, err := w.box.Entries()
	w.boxLock.Unlock()
	if err != nil {
		return nil, err
	}
	c.count(entries, asOf)
	c.hold(unsentHoldsAt(p, asOf, entries, w.place))
	return c.joints, nil
}

func (w *shiftWork) carriedJoints(p *pack.Pack) *cellJoints {
	cell, _ := p.Cell(w.place)
	c := &cellJoints{at: map[string]int{}, counted: map[uuid.UUID]int{}, held: cell.Holds}
	asked := map[string]*ledger.Specification{}
	for i := range cell.Joints {
		j := &cell.Joints[i]
		code := j.Joint.Specification
		if _, looked := asked[code]; !looked {
			asked[code] = nil
			if revisions := p.Revisions(code); len(revisions) > 0 {
				asked[code] = &revisions[len(revisions)-1]
			}
		}
		for _, t := range j.Tightenings {
			c.counted[t.ID] = t.Fasteners
		}
		c.at[j.Joint.Place.Resource()] = i
		c.work = append(c.work, j.Work)
		c.joints = append(c.joints, shift.Joint{
			Joint: j.Joint, Asked: asked[code], Left: left(j.Joint.Fasteners, j.Work.TightenedFirst), Sealed: j.Work.Sealed,
			State: j.Work.Status().State,
		})
	}
	return c
}

func left(fasteners int, tightened int64) int { return max(0, fasteners-int(tightened)) }

func holdWords(rule, person string) string {
	if rule != "" {
		return rule
	}
	return "by " + person
}

// serverJoints reads the joints, and the specifications that they name.
func (w *shiftWork) serverJoints(ctx context.Context) (*cellJoints, error) {
	c := &cellJoints{at: map[string]int{}}
	asked := map[string]*ledger.Specification{}
	client := pb.NewProgressServiceClient(w.conn)
	err := pages(0, func(size int32, token string) ([]*pb.JointStatus, string, error) {
		page, err := client.ListJointStates(ctx, &pb.ListJointStatesRequest{Place: w.place.Resource(), PageSize: size, PageToken: token})
		return page.GetJoints(), page.GetNextPageToken(), err
	}, func(s *pb.JointStatus) error {
		var p wire.Problems
		j := shift.Joint{Joint: wire.KeptJoint(&p, s.GetJoint()), State: ledger.JointState(s.GetState())}
		j.Left, j.Sealed = left(j.Fasteners, s.GetTightened()), j.State >= ledger.JointSealed
		for _, h := range s.GetOpenHolds() {
			j.Holds = append(j.Holds, holdWords(h.GetRule(), ledger.ShortName(h.GetEntry().GetPerson())))
		}
		if name := s.GetJoint().GetSpecification(); name != "" && asked[name] == nil {
			m, err := pb.NewSpecificationServiceClient(w.conn).GetSpecification(ctx, &pb.GetSpecificationRequest{Name: name})
			if err != nil {
				return err
			}
			spec := wire.KeptSpecification(&p, m)
			asked[name] = &spec
		}
		j.Asked = asked[s.GetJoint().GetSpecification()]
		if err := ledger.Invalid("a joint", p); err != nil {
			return err
		}
		c.at[s.GetJoint().GetName()] = len(c.joints)
		c.joints = append(c.joints, j)
		return nil
	})
	return c, err
}

// count lets the entries of this device count that the data can't hold: those that
// wait, and those that were sent after the data were read.
func (c *cellJoints) count(entries []*outbox.Entry, asOf time.Time) {
	own := map[string]record{}
	var order []string
	inData := map[string]bool{}
	for _, e := range entries {
		p, err := readPending(e)
		if err != nil || e.State != outbox.Waiting && e.State != outbox.Delivered {
			continue
		}
		name := p.record.GetName()
		own[name] = p.record
		inData[name] = e.State == outbox.Delivered && e.StateAt.Before(asOf)
		order = append(order, name)
	}
	var fresh []record
	undone := map[string]bool{}
	for _, name := range order {
		if inData[name] {
			continue
		}
		fresh = append(fresh, own[name])
		if m, ok := own[name].(*pb.Correction); ok {
			undone[m.GetCorrects()] = true
			if with := replacementOf(m); with != nil {
				fresh = append(fresh, with)
			}
			if known := own[m.GetCorrects()]; known != nil && inData[m.GetCorrects()] {
				c.add(known, -1)
			}
		}
	}
	for _, r := range fresh {
		if !undone[r.GetName()] {
			c.add(r, 1)
		}
	}
	for i := range c.work {
		c.joints[i].State = c.work[i].Status().State
	}
}

// add lets a record count on its joint, or, by -1, no longer.
func (c *cellJoints) add(r record, by int) {
	switch r := r.(type) {
	case *pb.Tightening:
		i, ok := c.at[r.GetJoint()]
		id, err := recordIDOf(r)
		_, there := c.counted[id]
		if !ok || err != nil || r.GetPass() != pb.Pass(ledger.PassFirst) || there && by > 0 {
			return
		}
		j := &c.joints[i]
		j.Left = min(j.Fasteners, max(0, j.Left-by*int(r.GetFasteners())))
		if c.work != nil {
			c.work[i].TightenedFirst += int64(by) * int64(r.GetFasteners())
		}
	case *pb.Sealing:
		if i, ok := c.at[r.GetJoint()]; ok {
			c.joints[i].Sealed = by > 0
			if c.work != nil {
				c.work[i].Sealed = by > 0
			}
		}
	}
}

// lots are those that may be used here, each with what is known of it.
func (w *shiftWork) lots() []shift.Choice {
	p := w.data()
	if p == nil {
		return w.choicesOf("lots")
	}
	var choices []shift.Choice
	now := w.a.now()
	for _, number := range p.Lots() {
		lot, ok := p.Lot(number)
		if !ok {
			continue
		}
		choices = append(choices, shift.Choice{Code: number, Words: sentence(lotWords(lot.Lot), stockWords(lot), heldWord(lot.Holds, now))})
	}
	return choices
}

func lotWords(l ledger.Lot) string {
	return sentence(l.Fastener.Thread, ledger.Materials.Name(l.Fastener.Material), l.Description)
}

func stockWords(l known.LotPast) string {
	if !l.Received {
		return ""
	}
	return fmt.Sprintf("%d here", l.OnHand)
}

func heldWord(holds []known.Span, now time.Time) string {
	for _, h := range holds {
		if h.Open(now) {
			return "ON HOLD"
		}
	}
	return ""
}

// tools are those that turn fasteners.
func (w *shiftWork) tools() []shift.Choice {
	p := w.data()
	if p == nil {
		return w.choicesOf("tools")
	}
	var choices []shift.Choice
	now := w.a.now()
	for _, serial := range p.Tools() {
		if t, ok := p.Tool(serial); ok && drives(t.Tool.Kind) {
			choices = append(choices, shift.Choice{Code: serial, Words: sentence(ledger.ToolKinds.Name(t.Tool.Kind), t.Tool.TypeClass, heldWord(t.Holds, now))})
		}
	}
	return choices
}

func drives(k ledger.ToolKind) bool { return k.MeasuresTorque() || k == ledger.ToolImpactWrench }

func (w *shiftWork) batches() []shift.Choice {
	p := w.data()
	if p == nil {
		return nil
	}
	var choices []shift.Choice
	for _, b := range p.Batches() {
		choices = append(choices, shift.Choice{Code: b.Number, Words: sentence(ledger.ConsumableKinds.Name(b.Kind), b.Product)})
	}
	return choices
}

// serverChoices reads lots and tools where nothing is carried. Without them they are
// typed, so a failure is none of the joints'.
func (w *shiftWork) serverChoices(ctx context.Context) {
	var lots, tools []shift.Choice
	var p wire.Problems
	if page, err := pb.NewLotServiceClient(w.conn).ListLots(ctx, &pb.ListLotsRequest{PageSize: 1000}); err == nil {
		for _, m := range page.GetLots() {
			l := wire.KeptLot(&p, m)
			lots = append(lots, shift.Choice{Code: l.Number, Words: sentence(lotWords(l), ledger.LotStates.Name(l.State))})
		}
	}
	if page, err := pb.NewToolServiceClient(w.conn).ListTools(ctx, &pb.ListToolsRequest{PageSize: 1000, HomeSite: "sites/" + w.place.Site}); err == nil {
		for _, m := range page.GetTools() {
			if t := wire.KeptTool(&p, m); drives(t.Kind) {
				tools = append(tools, shift.Choice{Code: t.Serial, Words: sentence(ledger.ToolKinds.Name(t.Kind), t.TypeClass)})
			}
		}
	}
	w.choices.Store("lots", lots)
	w.choices.Store("tools", tools)
}

func (w *shiftWork) choicesOf(what string) []shift.Choice {
	v, _ := w.choices.Load(what)
	choices, _ := v.([]shift.Choice)
	return choices
}
