package cli

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/report"
	"jointledger/internal/shift"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// workLeft is the form of the joints at a place that are still to be sealed or
// tightened: by what this device carries of the site, or else by the server.
func (a *app) workLeft(ctx context.Context, place ledger.Place) (report.WorkSheet, error) {
	s := report.WorkSheet{Place: place.String(), Cautions: report.Cautions()[:3]}
	p, carried, err := a.carriedFor(place.Site)
	if err != nil {
		return s, err
	}
	if carried {
		err = a.carriedWork(p, place, &s)
	} else {
		var conn *grpc.ClientConn
		if conn, err = a.dial(); err == nil {
			err = a.serverWork(ctx, conn, place, &s)
		}
	}
	if err != nil {
		return s, err
	}
	slices.SortFunc(s.Joints, func(x, y report.SheetJoint) int {
		return slices.Compare([]string{x.Cell, x.Name}, []string{y.Cell, y.Name})
	})
	return s, withCodes(&s)
}

// carriedWork reads the form out of carried data.
func (a *app) carriedWork(p *pack.Pack, place ledger.Place, s *report.WorkSheet) error {
	if !p.Has(place) {
		return &failure{code: exitUnknown, message: fmt.Sprintf("%s is not in the data of %s that this device carries, of %s", place, place.Site, dateOfData(p)),
			lines: []string{"trackctl carry " + place.Site + " brings new ones where there is signal"}}
	}
	s.Units, s.AsOf, s.Source = ledger.UnitPreferences.Name(p.Site().Units), p.AsOf().In(p.Location()), "carried by this device"
	var holds [][]*ledger.Hold
	var joints []known.JointWork
	for _, cell := range p.Cells() {
		if !inPlace(cell, place) && !inPlace(place, cell) {
			continue
		}
		past, ok := p.Cell(cell)
		if !ok {
			continue // said by Err
		}
		for _, w := range past.Joints {
			if inPlace(w.Joint.Place, place) {
				joints, holds = append(joints, w), append(holds, past.Holds)
			}
		}
	}
	entries, waiting, err := a.entriesHere()
	if err != nil {
		return err
	}
	if waiting > 0 {
		s.Source += fmt.Sprintf(", with what the %s that %s to be sent %s of the work", counted(waiting, "record"), waits(waiting), map[bool]string{true: "says", false: "say"}[waiting == 1])
	}
	named := map[string]bool{}
	unsent := unsentHoldsAt(p, p.AsOf(), entries, place)
	for i, work := range workWith(joints, entries, p.AsOf()) {
		joints[i].Work = work
		if j, left := carriedJoint(joints[i], holds[i], unsent); left {
			s.Joints = append(s.Joints, j)
			named[j.Specification] = true
		}
	}
	for code := range named {
		if revisions := p.Revisions(code); len(revisions) > 0 {
			s.Specifications = append(s.Specifications, handoverSpecification(wire.SpecificationTo(revisions[len(revisions)-1])))
		}
	}
	return p.Err()
}

func waits(n int) string {
	if n == 1 {
		return "waits"
	}
	return "wait"
}

// entriesHere are the entries of this device, and how many of them the server has not
// got yet.
func (a *app) entriesHere() (entries []*outbox.Entry, waiting int, err error) {
	box, err := a.deviceOutbox()
	if err != nil || !box.Exists() {
		return nil, 0, err
	}
	entries, err = box.Entries()
	a.tellDamage(box)
	if err != nil {
		return nil, 0, &failure{code: exitIO, message: err.Error()}
	}
	for _, e := range entries {
		if e.State == outbox.Waiting {
			waiting++
		}
	}
	return entries, waiting, nil
}

// workWith is the work on carried joints with the entries of this device that are not
// in the carried data.
func workWith(joints []known.JointWork, entries []*outbox.Entry, asOf time.Time) []ledger.JointWork {
	c := &cellJoints{at: map[string]int{}, counted: map[uuid.UUID]int{}}
	for i, j := range joints {
		c.at[j.Joint.Place.Resource()] = i
		for _, t := range j.Tightenings {
			c.counted[t.ID] = t.Fasteners
		}
		c.work, c.joints = append(c.work, j.Work), append(c.joints, shift.Joint{Joint: j.Joint})
	}
	c.count(entries, asOf)
	return c.work
}

// inPlace says whether a place is another, or lies in it.
func inPlace(p, in ledger.Place) bool {
	for p.Depth() > in.Depth() {
		p = p.Parent()
	}
	return p == in
}

// carriedJoint is a joint as it is carried; false when nothing is left to seal or
// tighten on it.
func carriedJoint(w known.JointWork, holds []*ledger.Hold, unsent unsentHolds) (report.SheetJoint, bool) {
	j := w.Joint
	s := report.SheetJoint{
		Cell: j.Place.Parent().String(), Name: j.Place.Joint, Kind: ledger.JointKinds.Name(j.Kind), Critical: j.Critical, PartA: j.PartA, PartB: j.PartB,
		Specification: j.Specification, Fasteners: j.Fasteners, Left: max(0, j.Fasteners-int(w.Work.TightenedFirst)), SealDue: w.Work.SealRequired && !w.Work.Sealed,
	}
	for _, h := range holds {
		if (h.Place == j.Place || h.Place == j.Place.Parent()) && !unsent.released[h.ID] {
			s.Holds = append(s.Holds, holdReason(wire.HoldTo(h)))
		}
	}
	s.Holds = append(s.Holds, unsent.words(j.Place, holds)...)
	return s, s.Left > 0 || s.SealDue
}

// serverWork asks the server for the form.
func (a *app) serverWork(ctx context.Context, conn *grpc.ClientConn, place ledger.Place, s *report.WorkSheet) error {
	site, err := pb.NewStructureServiceClient(conn).GetSite(ctx, &pb.GetSiteRequest{Name: ledger.Place{Site: place.Site}.Resource()})
	if err != nil {
		return err
	}
	s.Units, s.AsOf, s.Source = wordOf(ledger.UnitPreferences, site.GetUnitPreference()), a.now(), "from the server"
	specs := map[string]*pb.Specification{}
	client := pb.NewSpecificationServiceClient(conn)
	err = pages(0, func(size int32, token string) ([]*pb.JointStatus, string, error) {
		page, err := pb.NewProgressServiceClient(conn).ListJointStates(ctx, &pb.ListJointStatesRequest{Place: place.Resource(), RemainingOnly: true, PageSize: size, PageToken: token})
		return page.GetJoints(), page.GetNextPageToken(), err
	}, func(status *pb.JointStatus) error {
		name := status.GetJoint().GetSpecification()
		if specs[name] == nil {
			spec, err := client.GetSpecification(ctx, &pb.GetSpecificationRequest{Name: name})
			if err != nil {
				return err
			}
			specs[name] = spec
			s.Specifications = append(s.Specifications, handoverSpecification(spec))
		}
		if j, left := statusJoint(status, specs[name]); left {
			s.Joints = append(s.Joints, j)
		}
		return nil
	})
	return err
}

// statusJoint is a joint as the server tells of it; false when nothing is left to seal
// or tighten on it. A joint that is neither planned nor short of fasteners has its seal.
func statusJoint(status *pb.JointStatus, spec *pb.Specification) (report.SheetJoint, bool) {
	j := status.GetJoint()
	place, err := ledger.ParsePlaceResource(j.GetName())
	if err != nil {
		return report.SheetJoint{}, false
	}
	s := report.SheetJoint{
		Cell: place.Parent().String(), Name: place.Joint, Kind: wordOf(ledger.JointKinds, j.GetKind()), Critical: j.GetCritical(), PartA: j.GetPartA(), PartB: j.GetPartB(),
		Specification: ledger.ShortName(j.GetSpecification()), Fasteners: int(j.GetFasteners()), Left: max(0, int(j.GetFasteners())-int(status.GetTightened())),
		SealDue: spec.GetSealant() != "" && status.GetState() == pb.JointState(ledger.JointPlanned),
	}
	for _, h := range status.GetOpenHolds() {
		s.Holds = append(s.Holds, holdReason(h))
	}
	return s, s.Left > 0 || s.SealDue
}
