package store

import (
	"database/sql"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"jointledger/ent/column"
	"jointledger/internal/ledger"
)

// common are the columns that all kinds share, as read.
type common struct {
	id               int64
	uid, link        []byte
	site             string
	joint            ledger.Place
	lot, tool        string
	person           string
	occur, receive   int64
	offset, day      int
	device, note     string
	offline          uint8
	correctedBy      []byte
	placeTower, cell string // of a hold or sign-off above a joint
}

func (c *common) targets() []any {
	return []any{
		&c.id, &c.uid, &c.site, &c.joint.Tower, &c.joint.Cell, &c.joint.Joint,
		&c.lot, &c.tool, &c.person, &c.occur, &c.offset, &c.day, &c.receive, &c.device, &c.note, &c.offline, &c.link, &c.correctedBy,
	}
}

// place is the joint, or no place when the record names none.
func (c *common) place() ledger.Place {
	p := c.joint
	if p.Joint == "" {
		return ledger.Place{}
	}
	p.Site = c.site
	return p
}

// above is the joint, or else the cell or tower that the record names.
func (c *common) above() ledger.Place {
	if p := c.place(); p.Joint != "" {
		return p
	}
	if c.placeTower == "" {
		return ledger.Place{}
	}
	return ledger.Place{Site: c.site, Tower: c.placeTower, Cell: c.cell}
}

func (c *common) entry() ledger.Entry {
	e := ledger.Entry{
		ID: idOf(c.uid), OccurTime: fromMicro(c.occur), OffsetMinutes: c.offset, Person: c.person, Device: c.device, Note: c.note, Offline: c.offline != 0,
		ReceiveTime: fromMicro(c.receive), LocalDay: c.day, Sequence: c.id & (1<<sequenceBits - 1), CorrectedBy: idOf(c.correctedBy),
	}
	copy(e.Link[:], c.link)
	return e
}

// idOf reads an id; absent or damaged gives the zero id, which nothing carries.
func idOf(b []byte) uuid.UUID {
	id, err := uuid.FromBytes(b)
	if err != nil {
		return uuid.Nil
	}
	return id
}

// scanRecord reads one row of recordsWhere.
func scanRecord(rows *sql.Rows, kind ledger.RecordKind) (keyed, error) {
	var c common
	scan := func(own ...any) error { return rows.Scan(append(c.targets(), own...)...) }
	r, err := scanKind(kind, &c, scan)
	return keyed{r, c.id}, err
}

func scanKind(kind ledger.RecordKind, c *common, scan func(...any) error) (ledger.Record, error) {
	switch kind {
	case ledger.KindTightening:
		v := &ledger.Tightening{}
		err := scan(&v.Specification.Code, &v.Specification.Revision, &v.Treatment, &v.CompoundBatch,
			&v.TorqueNewtonMetres, &v.TorqueAsTyped, &v.Fasteners, &v.Pass, &v.Method)
		v.Entry, v.Joint, v.Lot, v.Tool = c.entry(), c.place(), c.lot, c.tool
		return v, err
	case ledger.KindIncident:
		v := &ledger.Incident{}
		err := scan(&v.Specification.Code, &v.Specification.Revision, &v.Kind, &v.Fasteners, &v.Treatment, &v.Method, &v.Noticed, &v.Action)
		v.Entry, v.Site, v.Joint, v.Lot, v.Tool = c.entry(), c.site, c.place(), c.lot, c.tool
		return v, err
	case ledger.KindCalibration:
		return scanCalibration(c, scan)
	case ledger.KindLotMovement:
		v := &ledger.LotMovement{}
		err := scan(&v.Kind, &v.Quantity, &v.Reference, &v.HandledBy)
		v.Entry, v.Site, v.Lot = c.entry(), c.site, c.lot
		return v, err
	case ledger.KindSealing:
		return scanSealing(c, scan)
	case ledger.KindInspection:
		v := &ledger.Inspection{}
		var readings []byte
		err := scan(&v.Kind, &v.Sample, &v.Plan, &readings, &v.Result)
		if err == nil {
			err = json.Unmarshal(readings, &v.ReadingsNewtonMetres)
		}
		v.Entry, v.Joint, v.Tool = c.entry(), c.place(), c.tool
		return v, err
	default:
		return scanControl(kind, c, scan)
	}
}

func scanCalibration(c *common, scan func(...any) error) (ledger.Record, error) {
	v := &ledger.Calibration{}
	var points, verdict []byte
	err := scan(&v.Laboratory, &v.Certificate, &points, &v.Document, &v.Rule, &v.StatedVerdict,
		&v.AirCelsius, &v.HumidityPercent, &v.DeviceUncertaintyPercent, &verdict)
	var columns []column.Point
	if err == nil {
		err = json.Unmarshal(points, &columns)
	}
	var unreadable error
	if v.Verdict, unreadable = verdictOf(verdict); unreadable != nil {
		// It was tampered with: no link covers such a verdict, so that verify names the
		// record instead of stopping at it.
		v.Verdict = &ledger.CalibrationVerdict{Edition: "unreadable", Deficiencies: []string{"The verdict that was kept can't be read; it was tampered with."}}
	}
	v.Entry, v.Site, v.Tool, v.Points = c.entry(), c.site, c.tool, pointsOf(columns)
	return v, err
}

func scanSealing(c *common, scan func(...any) error) (ledger.Record, error) {
	v := &ledger.Sealing{}
	var clean sql.NullInt64
	var straight sql.NullBool
	err := scan(&v.Specification.Code, &v.Specification.Revision, &v.Sealant, &v.Batch, &v.WidthMillimetres, &v.Solvent, &clean,
		&v.AirCelsius, &v.SurfaceCelsius, &v.HumidityPercent, &v.Splice, &straight)
	v.Entry, v.Joint = c.entry(), c.place()
	if clean.Valid {
		v.CleanTime = fromMicro(clean.Int64)
	}
	if straight.Valid {
		v.FlangeStraight = &straight.Bool
	}
	return v, err
}

// scanControl is scanKind for the records that say what may be used, what was
// decided and what was mistaken.
func scanControl(kind ledger.RecordKind, c *common, scan func(...any) error) (ledger.Record, error) {
	switch kind {
	case ledger.KindCustody:
		v := &ledger.Custody{}
		err := scan(&v.Kind, &v.Holder, &v.OverrideBy, &v.OverrideReason)
		v.Entry, v.Site, v.Tool = c.entry(), c.site, c.tool
		return v, err
	case ledger.KindToolCheck:
		v := &ledger.ToolCheck{}
		err := scan(&v.Action, &v.Result, &v.Certificate)
		v.Entry, v.Site, v.Tool = c.entry(), c.site, c.tool
		return v, err
	case ledger.KindAlarm:
		v := &ledger.Alarm{}
		var cause []byte
		err := scan(&v.Rule, &v.Test, &v.Statistic, &v.Threshold, &v.Failures, &v.Attempts, &v.Sentence, &cause)
		v.Entry, v.Site, v.Lot, v.Cause = c.entry(), c.site, c.lot, idOf(cause)
		return v, err
	case ledger.KindHold:
		v := &ledger.Hold{}
		var cause, releases, releasedBy []byte
		err := scan(&v.Action, &c.placeTower, &c.cell, &v.Reason, &v.Rule, &cause, &releases, &v.Decision, &releasedBy)
		v.Entry, v.Site, v.Place, v.Lot, v.Tool = c.entry(), c.site, c.above(), c.lot, c.tool
		v.Cause, v.Releases, v.ReleasedBy = idOf(cause), idOf(releases), idOf(releasedBy)
		return v, err
	case ledger.KindDisposition:
		v := &ledger.Disposition{}
		var incident []byte
		err := scan(&incident, &v.Decision, &v.Reason)
		v.Entry, v.Site, v.Incident = c.entry(), c.site, idOf(incident)
		return v, err
	case ledger.KindSignOff:
		v := &ledger.SignOff{}
		err := scan(&c.placeTower, &c.cell, &v.Point, &v.Title)
		v.Entry, v.Place = c.entry(), c.above()
		return v, err
	case ledger.KindCorrection:
		v := &ledger.Correction{}
		var corrects, replacement []byte
		err := scan(&corrects, &replacement, &v.Reason)
		v.Entry, v.Site, v.Corrects, v.Replacement = c.entry(), c.site, idOf(corrects), idOf(replacement)
		return v, err
	default:
		return nil, fmt.Errorf("there is no record of kind %d", kind)
	}
}
