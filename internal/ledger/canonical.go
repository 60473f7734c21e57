package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"
)

// Link is one link of a site's chain: SHA-256 (FIPS 180-4) over the previous
// link and the record's canonical bytes.
type Link [sha256.Size]byte

// String gives the link in hexadecimal.
func (l Link) String() string { return hex.EncodeToString(l[:]) }

// FirstLink is what the first record of a site's chain is linked to.
func FirstLink(site string) Link { return sha256.Sum256([]byte("jointledger chain 1\n" + site + "\n")) }

// NextLink is the link of record r after the previous link.
func NextLink(previous Link, r Record) Link {
	h := sha256.New()
	h.Write(previous[:])
	h.Write(Canonical(r))
	var l Link
	h.Sum(l[:0])
	return l
}

// Canonical gives the record's canonical bytes: one line `key=value` for each
// field that is not empty, in a fixed order, text quoted as a Go string literal
// of ASCII alone (which characters count as printable changes with Unicode, the
// bytes must not), numbers in their shortest decimal form that reads back the
// same, times in microseconds since 1970-01-01 UTC. An empty field adds nothing,
// so a field that is added to a kind of record later leaves old links as they
// are.
func Canonical(r Record) []byte {
	c := canonical{buf: make([]byte, 0, 512)}
	e := r.Head()
	c.int("sequence", e.Sequence)
	c.time("received", e.ReceiveTime)
	if e.FindingsSum != (Link{}) {
		c.word("findings", e.FindingsSum.String())
	}
	c.int("day", int64(e.LocalDay))
	r.assigned(&c)
	c.record(r)
	return c.buf
}

// SameContent says whether two records say the same: what the server added is
// left out.
func SameContent(a, b Record) bool {
	if a.RecordKind() != b.RecordKind() {
		return false
	}
	var ca, cb canonical
	ca.record(a)
	cb.record(b)
	return bytes.Equal(ca.buf, cb.buf)
}

type canonical struct{ buf []byte }

func (c *canonical) record(r Record) {
	e := r.Head()
	named(c, "kind", RecordKinds, r.RecordKind())
	c.word("id", e.ID.String())
	c.time("occurred", e.OccurTime)
	c.int("offset", int64(e.OffsetMinutes))
	c.text("person", e.Person)
	c.text("device", e.Device)
	c.text("note", e.Note)
	if e.Offline {
		c.word("offline", "yes")
	}
	r.content(c)
}

func (c *canonical) key(k string) {
	c.buf = append(c.buf, k...)
	c.buf = append(c.buf, '=')
}

func (c *canonical) word(k, v string) {
	if v != "" {
		c.key(k)
		c.buf = append(append(c.buf, v...), '\n')
	}
}

// named adds the word of v; a number that has none, which only tampering leaves
// behind, stands as it is, so that it is not taken for "not given".
func named[T ~uint8](c *canonical, k string, w Words[T], v T) {
	if v != 0 && !w.Known(v) {
		c.int(k, int64(v))
		return
	}
	c.word(k, w.Name(v))
}

func (c *canonical) text(k, v string) {
	if v != "" {
		c.key(k)
		c.buf = append(strconv.AppendQuoteToASCII(c.buf, v), '\n')
	}
}

func (c *canonical) int(k string, v int64) {
	if v != 0 {
		c.key(k)
		c.buf = append(strconv.AppendInt(c.buf, v, 10), '\n')
	}
}

func (c *canonical) time(k string, t time.Time) {
	if !t.IsZero() {
		c.int(k, t.UnixMicro())
	}
}

// number adds a figure for which 0 means "not given".
func (c *canonical) number(k string, v float64) {
	if v != 0 {
		c.figure(k, v)
	}
}

// figure adds a figure that counts at 0 too. Minus zero is written as zero,
// since a database may not keep the sign.
func (c *canonical) figure(k string, v float64) {
	if v == 0 {
		v = 0
	}
	c.key(k)
	c.buf = append(strconv.AppendFloat(c.buf, v, 'g', -1, 64), '\n')
}

func (c *canonical) specification(s SpecificationRef) {
	if s.Code != "" {
		c.text("specification", s.Code)
		c.int("revision", int64(s.Revision))
	}
}

func (r *Tightening) assigned(c *canonical) { c.specification(r.Specification) }

func (r *Tightening) content(c *canonical) {
	c.text("joint", r.Joint.String())
	c.text("lot", r.Lot)
	named(c, "treatment", Treatments, r.Treatment)
	c.text("batch", r.CompoundBatch)
	c.text("tool", r.Tool)
	if r.TorqueNewtonMetres != nil {
		c.figure("torque", *r.TorqueNewtonMetres)
	}
	c.text("typed", r.TorqueAsTyped)
	c.int("fasteners", int64(r.Fasteners))
	named(c, "pass", Passes, r.Pass)
	named(c, "method", DrivingMethods, r.Method)
}

func (r *Incident) assigned(c *canonical) { c.specification(r.Specification) }

func (r *Incident) content(c *canonical) {
	named(c, "incident", IncidentKinds, r.Kind)
	c.text("site", r.SiteCode())
	c.text("joint", r.Joint.String())
	c.int("fasteners", int64(r.Fasteners))
	c.text("lot", r.Lot)
	named(c, "treatment", Treatments, r.Treatment)
	c.text("tool", r.Tool)
	named(c, "method", DrivingMethods, r.Method)
	c.text("noticed", r.Noticed)
	c.text("action", r.Action)
}

func (r *Calibration) assigned(c *canonical) {
	c.text("site", r.Site)
	r.Verdict.canonical(c)
}

func (r *Calibration) content(c *canonical) {
	c.text("tool", r.Tool)
	c.text("laboratory", r.Laboratory)
	c.text("certificate", r.Certificate)
	named(c, "document", CalibrationDocuments, r.Document)
	named(c, "rule", DecisionRules, r.Rule)
	named(c, "stated", Verdicts, r.StatedVerdict)
	c.given("air", r.AirCelsius)
	c.given("humidity", r.HumidityPercent)
	c.number("device", r.DeviceUncertaintyPercent)
	c.int("points", int64(len(r.Points)))
	for _, p := range r.Points {
		named(c, "phase", CalibrationPhases, p.Phase)
		c.number("target", p.TargetNewtonMetres)
		for _, v := range p.ReadingsNewtonMetres {
			c.figure("reading", v)
		}
		c.number("uncertainty", p.ExpandedUncertaintyNewtonMetres)
		c.number("coverage", p.CoverageFactor)
	}
}

func (r *LotMovement) assigned(*canonical) {}

func (r *LotMovement) content(c *canonical) {
	c.text("lot", r.Lot)
	c.text("site", r.Site)
	named(c, "movement", MovementKinds, r.Kind)
	c.int("quantity", r.Quantity)
	c.text("reference", r.Reference)
	c.text("handled", r.HandledBy)
}
