package cli

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/ledger"
	"jointledger/internal/report"
	"jointledger/internal/rules"
	pb "jointledger/proto/jointledger/v1"
)

// handoverBuilder makes the plain document of what the server sends.
type handoverBuilder struct {
	place           ledger.Place
	program, person string

	head *pb.HandoverHead
	zone *time.Location
	made *report.HandoverDocument
}

// add takes the next part: the head first, then the joints.
func (b *handoverBuilder) add(part *pb.GetHandoverResponse) error {
	switch p := part.GetPart().(type) {
	case *pb.GetHandoverResponse_Head:
		if b.head != nil {
			return notWhole("its head came twice")
		}
		b.begin(p.Head)
	case *pb.GetHandoverResponse_Joint:
		if b.head == nil {
			return notWhole("a joint came before the head")
		}
		b.made.Joints = append(b.made.Joints, b.joint(p.Joint))
	default:
		return notWhole("a part came that this trackctl does not know; it may be older than the server")
	}
	return nil
}

func notWhole(why string) *failure {
	return &failure{code: exitInternal, message: "the server's answer is not a whole record: " + why + "; nothing was written"}
}

// document gives the document when all of it has come.
func (b *handoverBuilder) document() (*report.HandoverDocument, error) {
	switch {
	case b.head == nil:
		return nil, notWhole("nothing came")
	case int64(len(b.made.Joints)) != b.head.GetJoints():
		return nil, notWhole(fmt.Sprintf("%d of %d joints came", len(b.made.Joints), b.head.GetJoints()))
	}
	b.made.Judge(b.head.GetComplete())
	return b.made, nil
}

func (b *handoverBuilder) begin(head *pb.HandoverHead) {
	b.head = head
	site := head.GetSite()
	zone, err := time.LoadLocation(site.GetTimeZone())
	if err != nil || site.GetTimeZone() == "" {
		zone = time.UTC
	}
	b.zone = zone
	place := b.place.String()
	if head.GetPlace() != "" {
		place = ledger.ShortName(head.GetPlace())
	}
	units := wordOf(ledger.UnitPreferences, site.GetUnitPreference())
	if units == "" {
		units = ledger.UnitPreferences.Name(ledger.UnitsSI)
	}
	h := &report.HandoverDocument{
		Place: place, ReadAt: b.time(head.GetReadTime()), PreparedBy: report.Text(b.person), Program: b.program,
		Site: report.Site{Code: ledger.ShortName(site.GetName()), Name: report.Text(site.GetDisplayName()), Region: report.Text(site.GetRegion()),
			TimeZone: zone.String(), Units: units},
		Cautions: report.Cautions(),
		Chain:    report.Chain{Sequence: head.GetChainSequence(), Link: fmt.Sprintf("%x", head.GetChainLink())},
		// An empty list is empty in JSON too, not null.
		Missing: []report.Missing{}, Specifications: []report.Specification{}, Lots: []report.Lot{}, Tools: []report.Tool{},
		Joints: []report.Joint{}, People: []report.Text{},
	}
	for _, m := range head.GetMissing() {
		h.Missing = append(h.Missing, report.Missing{Place: ledger.ShortName(m.GetPlace()), Sentence: m.GetSentence()})
	}
	for _, s := range head.GetSpecifications() {
		h.Specifications = append(h.Specifications, handoverSpecification(s))
	}
	for _, l := range head.GetLots() {
		h.Lots = append(h.Lots, report.Lot{Number: ledger.ShortName(l.GetName()), Supplier: report.Text(l.GetSupplier()), Heat: report.Text(l.GetHeat()),
			Fastener: handoverFastener(l.GetFastener()), Description: report.Text(l.GetDescription()), State: report.Text(wordOf(ledger.LotStates, l.GetState()))})
	}
	for _, t := range head.GetTools() {
		h.Tools = append(h.Tools, b.tool(t))
	}
	for _, p := range head.GetPeople() {
		h.People = append(h.People, shortText(p))
	}
	b.made = h
}

// time tells a time in the zone of the site.
func (b *handoverBuilder) time(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime().In(b.zone)
}

// timeOrNone is nil for a time that was not given.
func (b *handoverBuilder) timeOrNone(t *timestamppb.Timestamp) *time.Time {
	if t == nil {
		return nil
	}
	local := b.time(t)
	return &local
}

// shortText is the short name of a resource.
func shortText(resource string) report.Text { return report.Text(ledger.ShortName(resource)) }

// unlessZero is nil for a number whose zero means "not given".
func unlessZero(v float64) *float64 {
	if v == 0 {
		return nil
	}
	return &v
}

func handoverFastener(f *pb.Fastener) report.Fastener {
	return report.Fastener{Thread: f.GetThread(), LengthMM: unlessZero(f.GetLengthMillimetres()), Material: report.Text(wordOf(ledger.Materials, f.GetMaterial())),
		PropertyClass: report.Text(f.GetPropertyClass()), Coating: report.Text(f.GetCoating()), Head: report.Text(f.GetHead())}
}

func handoverSpecification(s *pb.Specification) report.Specification {
	code, _, _ := strings.Cut(ledger.ShortName(s.GetName()), "@")
	target, share := s.GetTorqueNewtonMetres(), s.GetTorqueTolerancePercent()/100
	return report.Specification{
		Code: code, Revision: s.GetRevision(), Fastener: handoverFastener(s.GetFastener()),
		Treatment: report.Text(wordOf(ledger.Treatments, s.GetTreatment())), Locking: report.Text(wordOf(ledger.LockingMethods, s.GetLockingMethod())),
		TorqueNM: target, TolerancePct: s.GetTorqueTolerancePercent(), LowNM: target * (1 - share), HighNM: target * (1 + share),
		Basis: report.Text(wordOf(ledger.TorqueBases, s.GetTorqueBasis())), NutFactor: unlessZero(s.GetNutFactor()), TorqueToolRequired: s.GetTorqueToolRequired(),
		Sealant: report.Text(s.GetSealant()), SealWidthMM: unlessZero(s.GetSealWidthMillimetres()), MinimumSurfaceC: s.MinimumSurfaceCelsius,
	}
}

func (b *handoverBuilder) tool(t *pb.HandoverTool) report.Tool {
	tool := t.GetTool()
	r := report.Tool{
		Serial: ledger.ShortName(tool.GetName()), Kind: report.Text(wordOf(ledger.ToolKinds, tool.GetKind())), TypeClass: report.Text(tool.GetTypeClass()),
		MinimumNM: unlessZero(tool.GetMinimumNewtonMetres()), MaximumNM: unlessZero(tool.GetMaximumNewtonMetres()), ResolutionNM: unlessZero(tool.GetResolutionNewtonMetres()),
		IntervalMonths: tool.GetIntervalMonths(), IntervalCycles: tool.GetIntervalCycles(), Calibrations: []report.Calibration{},
	}
	for _, c := range t.GetCalibrations() {
		calibration := report.Calibration{Entry: b.entry(c.GetName(), c.GetEntry()), Laboratory: report.Text(c.GetLaboratory()),
			Certificate: report.Text(c.GetCertificate()), Points: []report.CalibrationPoint{}}
		for _, p := range c.GetPoints() {
			calibration.Points = append(calibration.Points, report.CalibrationPoint{
				Phase: wordOf(ledger.CalibrationPhases, p.GetPhase()), TargetNM: p.GetTargetNewtonMetres(), ReadingsNM: p.GetReadingsNewtonMetres(),
				UncertaintyNM: unlessZero(p.GetExpandedUncertaintyNewtonMetres()), CoverageFactor: unlessZero(p.GetCoverageFactor())})
		}
		r.Calibrations = append(r.Calibrations, calibration)
	}
	r.Judge()
	return r
}

func (b *handoverBuilder) joint(j *pb.HandoverJoint) report.Joint {
	s := j.GetStatus()
	joint := s.GetJoint()
	r := report.Joint{
		Place: ledger.ShortName(joint.GetName()), Kind: report.Text(wordOf(ledger.JointKinds, joint.GetKind())), Critical: joint.GetCritical(),
		PartA: report.Text(joint.GetPartA()), PartB: report.Text(joint.GetPartB()), Specification: ledger.ShortName(joint.GetSpecification()),
		Fasteners: joint.GetFasteners(), State: report.Text(wordOf(ledger.JointStates, s.GetState())),
		Tightened: s.GetTightened(), TightenedAt: b.timeOrNone(s.GetTightenedTime()),
		OpenHolds: []report.OpenHold{}, Records: []report.Record{},
	}
	for _, h := range s.GetOpenHolds() {
		r.OpenHolds = append(r.OpenHolds, report.OpenHold{Entry: b.entry(h.GetName(), h.GetEntry()), Hold: handoverHold(h)})
	}
	for _, item := range j.GetItems() {
		r.Records = append(r.Records, b.record(item))
	}
	return r
}

func handoverFindings(findings []*pb.Finding) []report.Finding {
	list := []report.Finding{}
	for _, f := range findings {
		list = append(list, report.Finding{Rule: f.GetRule(), Severity: report.Text(wordOf(rules.Severities, f.GetSeverity())), Message: f.GetMessage(),
			Figure: f.Figure, Limit: f.Limit, Unit: report.Text(f.GetUnit()), Source: report.Text(f.GetSource())})
	}
	return list
}

func (b *handoverBuilder) attachments(attachments []*pb.AttachmentInfo) []report.Attachment {
	list := []report.Attachment{}
	for _, a := range attachments {
		list = append(list, report.Attachment{SHA256: ledger.ShortName(a.GetName()), FileName: a.GetFileName(), MediaType: a.GetMediaType(),
			SizeBytes: a.GetSizeBytes(), CreatedAt: b.timeOrNone(a.GetCreateTime())})
	}
	return list
}
