package ledger

import (
	"time"

	"github.com/google/uuid"
)

// Splice says where a strip sealant was joined.
type Splice uint8

// Splices.
const (
	SpliceNone Splice = iota + 1
	SpliceCorner
	SpliceMidRun
)

// Splices are the words of Splice.
var Splices = Words[Splice]{what: "splice", names: []string{"none", "corner", "mid-run"}}

// Sealing: sealant was laid on a joint's flanges.
type Sealing struct {
	Entry
	Joint            Place
	Sealant          string // kind, as the specification names it
	Batch            string
	WidthMillimetres float64 // 0 when not given
	Solvent          string
	// CleanTime is when the flanges were cleaned; zero when not known.
	CleanTime time.Time
	// Weather at the joint; nil when not measured.
	AirCelsius, SurfaceCelsius, HumidityPercent *float64
	Splice                                      Splice
	// FlangeStraight says whether the flange was straight or made so; nil when
	// nobody looked.
	FlangeStraight *bool

	// Specification is the revision that held for the joint; given by the server.
	Specification SpecificationRef
}

// InspectionKind says what was inspected.
type InspectionKind uint8

// Inspection kinds.
const (
	TorqueAudit InspectionKind = iota + 1
	LeakTest
	VisualInspection
)

// InspectionKinds are the words of InspectionKind.
var InspectionKinds = Words[InspectionKind]{what: "inspection kind", names: []string{"torque-audit", "leak-test", "visual"}}

// InspectionResult says whether what was inspected was found in order.
type InspectionResult uint8

// Inspection results.
const (
	InspectionPass InspectionResult = iota + 1
	InspectionFail
)

// InspectionResults are the words of InspectionResult.
var InspectionResults = Words[InspectionResult]{what: "inspection result", names: []string{"pass", "fail"}}

// Inspection: a joint was looked at.
type Inspection struct {
	Entry
	Joint                Place
	Kind                 InspectionKind
	Sample               int    // fasteners looked at; 0 when not counted
	Plan                 string // sampling plan used
	ReadingsNewtonMetres []float64
	Result               InspectionResult
	Tool                 string
}

// CustodyKind says what became of a tool.
type CustodyKind uint8

// Custody kinds.
const (
	CustodyIssued CustodyKind = iota + 1
	CustodyReturned
	CustodySent
	CustodyReceived
	CustodyLost
	CustodyDropped
	CustodyOverloaded
	CustodyRepaired
)

// CustodyKinds are the words of CustodyKind.
var CustodyKinds = Words[CustodyKind]{
	what:  "custody kind",
	names: []string{"issued", "returned", "sent", "received", "lost", "dropped", "overloaded", "repaired"},
}

// Custody: a tool changed hands or something befell it.
type Custody struct {
	Entry
	Tool   string
	Kind   CustodyKind
	Site   string
	Holder string // person who holds it from then on; empty for nobody
	// OverrideBy is the person who let it be issued although it was not fit, and
	// OverrideReason why; empty when none was needed.
	OverrideBy     string
	OverrideReason string
}

// HoldAction places or releases a hold.
type HoldAction uint8

// Hold actions.
const (
	HoldPlaced HoldAction = iota + 1
	HoldReleased
)

// HoldActions are the words of HoldAction.
var HoldActions = Words[HoldAction]{what: "hold action", names: []string{"placed", "released"}}

// Decision is what is done with something that does not conform, in the terms
// of ISO 9000:2015, 3.12.
type Decision uint8

// Decisions.
const (
	DecisionRework Decision = iota + 1
	DecisionRepair
	DecisionUseAsIs
	DecisionScrap
)

// Decisions are the words of Decision.
var Decisions = Words[Decision]{what: "disposition", names: []string{"rework", "repair", "use-as-is", "scrap"}}

// Hold: something must not be used or handed over, or may again.
type Hold struct {
	Entry
	Action HoldAction
	// What is held: exactly one of them. Place is a joint or a cell.
	Place Place
	Lot   string
	Tool  string
	// Site in whose chain it stands; a place's own, or empty for it.
	Site   string
	Reason string
	// Rule and Cause say which finding on which record placed it; empty when a
	// person did.
	Rule  string
	Cause uuid.UUID
	// Releases is the id of the hold that is released, and Decision why it may be.
	Releases uuid.UUID
	Decision Decision
	// ReleasedBy is the release that ended a placed hold; zero while it is open. It
	// is no part of the record and not in its link.
	ReleasedBy uuid.UUID
}

// Disposition: somebody with the authority decided what is done about an
// incident.
type Disposition struct {
	Entry
	Incident uuid.UUID
	Decision Decision
	Reason   string

	// Site is the incident's; given by the server.
	Site string
}

// SignOffPoint is a point of the inspection and test plan.
type SignOffPoint uint8

// Sign-off points.
const (
	HoldPoint SignOffPoint = iota + 1
	WitnessPoint
)

// SignOffPoints are the words of SignOffPoint.
var SignOffPoints = Words[SignOffPoint]{what: "sign-off point", names: []string{"hold-point", "witness-point"}}

// SignOff: somebody accepted a joint, cell or tower at a point of the plan.
type SignOff struct {
	Entry
	Place Place
	Point SignOffPoint
	Title string
}

// Correction: an earlier record was mistaken. It stays readable; figures count
// its replacement instead, or nothing.
type Correction struct {
	Entry
	Corrects    uuid.UUID
	Replacement uuid.UUID // zero when the record is only withdrawn
	Reason      string
	// With is the replacement, kept together with the correction or not at all; nil
	// when the record is only withdrawn, and when a correction is read.
	With Record

	// Site is that of the corrected record; given by the server.
	Site string
}

// Head gives the entry.
func (r *Sealing) Head() *Entry { return &r.Entry }

// RecordKind is KindSealing.
func (*Sealing) RecordKind() RecordKind { return KindSealing }

// SiteCode is the joint's site.
func (r *Sealing) SiteCode() string { return r.Joint.Site }

// Head gives the entry.
func (r *Inspection) Head() *Entry { return &r.Entry }

// RecordKind is KindInspection.
func (*Inspection) RecordKind() RecordKind { return KindInspection }

// SiteCode is the joint's site.
func (r *Inspection) SiteCode() string { return r.Joint.Site }

// Head gives the entry.
func (r *Custody) Head() *Entry { return &r.Entry }

// RecordKind is KindCustody.
func (*Custody) RecordKind() RecordKind { return KindCustody }

// SiteCode is the site named.
func (r *Custody) SiteCode() string { return r.Site }

// Head gives the entry.
func (r *Hold) Head() *Entry { return &r.Entry }

// RecordKind is KindHold.
func (*Hold) RecordKind() RecordKind { return KindHold }

// SiteCode is the place's site, or the site named.
func (r *Hold) SiteCode() string {
	if r.Place.Site != "" {
		return r.Place.Site
	}
	return r.Site
}

// Head gives the entry.
func (r *Disposition) Head() *Entry { return &r.Entry }

// RecordKind is KindDisposition.
func (*Disposition) RecordKind() RecordKind { return KindDisposition }

// SiteCode is the incident's site.
func (r *Disposition) SiteCode() string { return r.Site }

// Head gives the entry.
func (r *SignOff) Head() *Entry { return &r.Entry }

// RecordKind is KindSignOff.
func (*SignOff) RecordKind() RecordKind { return KindSignOff }

// SiteCode is the place's site.
func (r *SignOff) SiteCode() string { return r.Place.Site }

// Head gives the entry.
func (r *Correction) Head() *Entry { return &r.Entry }

// RecordKind is KindCorrection.
func (*Correction) RecordKind() RecordKind { return KindCorrection }

// SiteCode is the corrected record's site.
func (r *Correction) SiteCode() string { return r.Site }
