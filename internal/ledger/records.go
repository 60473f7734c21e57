package ledger

import (
	"time"

	"github.com/google/uuid"
)

// RecordKind says what a record tells. Its numbers are kept in the database and
// named in the chain.
type RecordKind uint8

// Record kinds.
const (
	KindTightening RecordKind = iota + 1
	KindIncident
	KindCalibration
	KindLotMovement
	KindSealing
	KindInspection
	KindCustody
	KindHold
	KindDisposition
	KindSignOff
	KindCorrection
	KindToolCheck
	KindAlarm
)

// RecordKinds are the words of RecordKind.
var RecordKinds = Words[RecordKind]{
	what: "record kind",
	names: []string{
		"tightening", "incident", "calibration", "lot-movement", "sealing", "inspection",
		"custody", "hold", "disposition", "sign-off", "correction", "tool-check", "alarm",
	},
}

var recordCollections = [...]string{
	"records", "tightenings", "incidents", "calibrations", "lotMovements", "sealings", "inspections",
	"custodyChanges", "holds", "dispositions", "signOffs", "corrections", "toolChecks", "alarms",
}

// Entry is what every record carries besides its own content.
type Entry struct {
	// ID is a UUIDv7 made by the client; it is the record's name and the key by
	// which sending it again is recognised.
	ID uuid.UUID
	// OccurTime is when it happened, UTC with microseconds.
	OccurTime time.Time
	// OffsetMinutes is the offset from UTC of the clock it was read on.
	OffsetMinutes int
	Person        string
	Device        string
	Note          string
	// Offline says that it was kept on a device without signal, or handed in from a
	// file or from paper, before it came here.
	Offline bool

	// The server gives these when it takes the record in.

	ReceiveTime time.Time
	// LocalDay is the day of OccurTime in the calendar of the site, in days since
	// 1970-01-01: what the record is counted under.
	LocalDay int
	// Sequence is the place in the chain of the site, from 1.
	Sequence int64
	Link     Link
	// FindingsSum is the SHA-256 over what the rules found on the record (rules.Sum);
	// zero for nothing. It is filled in only where links are made or checked.
	FindingsSum Link
	// CorrectedBy is the correction that withdrew or replaced the record; zero
	// when none did. It is no part of the record and not in its link.
	CorrectedBy uuid.UUID
}

// Record is one thing that happened. It is never edited or deleted.
type Record interface {
	// Head gives the record's entry, to read and to fill in.
	Head() *Entry
	// RecordKind says what it tells.
	RecordKind() RecordKind
	// SiteCode is the site in whose chain it stands.
	SiteCode() string
	// Validate gives every field that is wrong.
	Validate() []FieldError

	// content appends what the client said, assigned what the server added.
	content(*canonical)
	assigned(*canonical)
}

// RecordName gives the API's resource name of a record of a kind and id.
func RecordName(kind RecordKind, id uuid.UUID) string {
	return recordCollections[kind] + "/" + id.String()
}

// RecordResource gives the API's resource name of a record.
func RecordResource(r Record) string { return RecordName(r.RecordKind(), r.Head().ID) }

// Tightening: fasteners of a joint were brought to torque.
type Tightening struct {
	Entry
	Joint         Place
	Lot           string
	Treatment     Treatment
	CompoundBatch string
	Tool          string // empty when no tracked tool was used
	// TorqueNewtonMetres is the set or read torque; nil when not known.
	TorqueNewtonMetres *float64
	TorqueAsTyped      string
	Fasteners          int
	Pass               Pass
	Method             DrivingMethod

	// Specification is the revision that held for the joint; given by the server.
	Specification SpecificationRef
}

// Incident: something went wrong.
type Incident struct {
	Entry
	Kind      IncidentKind
	Site      string
	Joint     Place // no place when it did not happen at a joint
	Fasteners int
	Lot       string
	Treatment Treatment
	Tool      string
	Method    DrivingMethod
	Noticed   string
	Action    string

	// Specification is the revision that held for the joint; given by the server.
	Specification SpecificationRef
}

// Calibration: a laboratory's readings of one tool.
type Calibration struct {
	Entry
	Tool        string
	Laboratory  string
	Certificate string
	// Document says what the certificate is; 0 when nobody said.
	Document CalibrationDocument
	// Rule is the decision rule asked for; 0 for simple acceptance.
	Rule DecisionRule
	// StatedVerdict is the laboratory's own; 0 when it states none.
	StatedVerdict Verdict
	// Conditions at the laboratory; nil when not given.
	AirCelsius, HumidityPercent *float64
	// DeviceUncertaintyPercent is the expanded uncertainty of the measuring device,
	// percent of reading; 0 when not given.
	DeviceUncertaintyPercent float64
	Points                   []CalibrationPoint

	// Site is the tool's home site when the record was taken in; given by the
	// server.
	Site string
	// Verdict is computed from the readings; given by the server. Nil for a tool
	// without a type and class of ISO 6789-1.
	Verdict *CalibrationVerdict
}

// CalibrationPoint holds the readings at one test point in one phase.
type CalibrationPoint struct {
	Phase                           CalibrationPhase
	TargetNewtonMetres              float64
	ReadingsNewtonMetres            []float64
	ExpandedUncertaintyNewtonMetres float64 // 0 when not given
	CoverageFactor                  float64 // 0 when not given
}

// LotMovement: a quantity of a lot came to a site or left it.
type LotMovement struct {
	Entry
	Lot       string
	Site      string
	Kind      MovementKind
	Quantity  int64
	Reference string
	HandledBy string
}

// Head gives the entry.
func (r *Tightening) Head() *Entry { return &r.Entry }

// Head gives the entry.
func (r *Incident) Head() *Entry { return &r.Entry }

// Head gives the entry.
func (r *Calibration) Head() *Entry { return &r.Entry }

// Head gives the entry.
func (r *LotMovement) Head() *Entry { return &r.Entry }

// RecordKind is KindTightening.
func (*Tightening) RecordKind() RecordKind { return KindTightening }

// RecordKind is KindIncident.
func (*Incident) RecordKind() RecordKind { return KindIncident }

// RecordKind is KindCalibration.
func (*Calibration) RecordKind() RecordKind { return KindCalibration }

// RecordKind is KindLotMovement.
func (*LotMovement) RecordKind() RecordKind { return KindLotMovement }

// SiteCode is the joint's site.
func (r *Tightening) SiteCode() string { return r.Joint.Site }

// SiteCode is the site named, or the joint's.
func (r *Incident) SiteCode() string {
	if r.Joint.Site != "" {
		return r.Joint.Site
	}
	return r.Site
}

// SiteCode is the tool's home site when the record was taken in.
func (r *Calibration) SiteCode() string { return r.Site }

// SiteCode is the site named.
func (r *LotMovement) SiteCode() string { return r.Site }

// Microseconds is the resolution of every stored time: what both engines keep.
func Microseconds(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// LotStock is the stock of one lot at one site, derived from records.
type LotStock struct {
	Site string
	// Received, Removed (sent, returned or scrapped) and Used (tightened in a
	// first pass, or lost to a thread failure) are fasteners.
	Received, Removed, Used int64
	// OnHand is what should be there; below zero when more was used than is
	// known to have come.
	OnHand int64
}
