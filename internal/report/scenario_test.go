package report

import (
	"crypto/sha256"
	"fmt"
	"testing"
	"time"
	_ "time/tzdata" // the zones, whatever machine runs the test
)

func ptr[T any](v T) *T { return &v }

// at is a moment of the invented work, told in the zone of its site.
func at(t testing.TB, text string) time.Time {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	moment, err := time.ParseInLocation("2006-01-02 15:04", text, loc)
	if err != nil {
		t.Fatal(err)
	}
	return moment
}

// scenario is a tower in Ashmere that was never built: two cells, four joints,
// and something of everything that a record can hold.
type scenario struct {
	t        testing.TB
	sequence int64
}

func (s *scenario) entry(when, person string) Entry {
	s.sequence++
	moment := at(s.t, when)
	received := moment.Add(40 * time.Second)
	link := sha256.Sum256([]byte(fmt.Sprint(s.sequence)))
	return Entry{ID: s.id(s.sequence), At: moment, Person: Text(person), ReceivedAt: &received, Sequence: s.sequence, Link: Text(fmt.Sprintf("%x", link))}
}

func (s *scenario) id(sequence int64) string {
	return fmt.Sprintf("019cad6f-a0e0-7000-8000-%012d", sequence)
}

func (s *scenario) tightening(when, person string, fasteners int32, torque *float64, typed string) Record {
	return Record{Kind: "tightening", Entry: s.entry(when, person), Findings: []Finding{}, Attachments: []Attachment{}, Tightening: &Tightening{
		Specification: "SS-M8-SEAM@2", Fasteners: fasteners, Lot: "M8-S-2628A", Treatment: "anti-seize", Batch: "AS-77", Tool: "TW-01",
		TorqueNM: torque, TorqueAsTyped: Text(typed), Pass: "first", Method: "impact-then-torque-tool"}}
}

func (s *scenario) sealing(when string) Record {
	r := Record{Kind: "sealing", Entry: s.entry(when, "ab"), Findings: []Finding{}, Attachments: []Attachment{}}
	cleaned := r.At.Add(-61 * time.Minute)
	r.Sealing = &Sealing{Specification: "SS-M8-SEAM@2", Sealant: "strip", Batch: "SE-05", WidthMM: ptr(25.4), Solvent: "acetone", CleanedAt: &cleaned,
		AirC: ptr(10.0), SurfaceC: ptr(11.0), HumidityPct: ptr(90.0), Splice: "corner", FlangeStraight: ptr(true)}
	return r
}

func (s *scenario) inspection(when string, readings ...float64) Record {
	return Record{Kind: "inspection", Entry: s.entry(when, "qa"), Findings: []Finding{}, Attachments: []Attachment{}, Inspection: &Inspection{
		Kind: "torque-audit", Sample: int32(len(readings)), Plan: "10 %, at least 2", ReadingsNM: readings, Result: "pass", Tool: "TW-01"}}
}

func (s *scenario) signOff(when, place string) Record {
	return Record{Kind: "sign-off", Entry: s.entry(when, "lead"), Findings: []Finding{}, Attachments: []Attachment{},
		SignOff: &SignOff{Place: Text(place), Point: "hold-point", Title: "Casing closed"}}
}

func (s *scenario) joint(place, state string, records ...Record) Joint {
	if records == nil {
		records = []Record{}
	}
	j := Joint{Place: place, Kind: "seam", PartA: "casing panel 4", PartB: "casing panel 5", Specification: "SS-M8-SEAM", Fasteners: 12,
		State: Text(state), OpenHolds: []OpenHold{}, Records: records}
	for _, r := range records {
		if r.Tightening != nil && r.Tightening.Pass == "first" && r.CorrectedBy == "" {
			j.Tightened += int64(r.Tightening.Fasteners)
			moment := r.At
			j.TightenedAt = &moment
		}
	}
	return j
}

// things are what the records of the scenario name.
func (s *scenario) things(place string) *HandoverDocument {
	fastener := Fastener{Thread: "M8", LengthMM: ptr(25.0), Material: "304", PropertyClass: "A2-70", Coating: "plain", Head: "flange"}
	calibration := Calibration{Entry: s.entry("2025-11-28 09:00", ""), Laboratory: "Brackley Metrology", Certificate: "BM-95011", Points: []CalibrationPoint{
		{Phase: "as-found", TargetNM: 8, ReadingsNM: []float64{7.6, 7.62, 7.61, 7.6, 7.63}, UncertaintyNM: ptr(0.096), CoverageFactor: ptr(2.0)},
		{Phase: "as-left", TargetNM: 8, ReadingsNM: []float64{8.06, 8.06, 8.04, 7.94, 8.06}, UncertaintyNM: ptr(0.096), CoverageFactor: ptr(2.0)},
		{Phase: "as-left", TargetNM: 24, ReadingsNM: []float64{24.01, 24.21, 24.37, 24.07, 24.16}, UncertaintyNM: ptr(0.288), CoverageFactor: ptr(2.0)},
		{Phase: "as-left", TargetNM: 40, ReadingsNM: []float64{40.1, 40.3, 40.2, 40.2, 40.1}, UncertaintyNM: ptr(0.48), CoverageFactor: ptr(2.0)},
	}}
	tools := []Tool{
		{Serial: "IW-07", Kind: "impact-wrench", Calibrations: []Calibration{}},
		{Serial: "TW-01", Kind: "torque-wrench", TypeClass: "II-A", MinimumNM: ptr(8.0), MaximumNM: ptr(40.0), ResolutionNM: ptr(0.2),
			IntervalMonths: 12, IntervalCycles: 5000, Calibrations: []Calibration{calibration}},
	}
	for i := range tools {
		tools[i].Judge()
	}
	return &HandoverDocument{
		Place: place, ReadAt: at(s.t, "2026-04-01 16:05"), PreparedBy: "lead", Program: "trackctl 1.2.3",
		Site:     Site{Code: "ASH", Name: "Ashmere Works", Region: "north", TimeZone: "Europe/Dublin", Units: "si"},
		Missing:  []Missing{},
		Cautions: Cautions(),
		Specifications: []Specification{{Code: "SS-M8-SEAM", Revision: 2, Fastener: fastener, Treatment: "anti-seize", Locking: "none", TorqueNM: 16,
			TolerancePct: 15, LowNM: 13.6, HighNM: 18.4, Basis: "lubricated", NutFactor: ptr(0.15), TorqueToolRequired: true,
			Sealant: "strip", SealWidthMM: ptr(25.4), MinimumSurfaceC: ptr(4.4)}},
		Lots: []Lot{
			{Number: "M8-S-2628A", Supplier: "Brightwater Bolt", Heat: "H89752", Fastener: fastener, State: "released"},
			{Number: "M8-S-2672C", Supplier: "Brightwater Bolt", Fastener: fastener, Description: "second delivery", State: "quarantined"},
		},
		Tools:  tools,
		Joints: []Joint{},
		People: []Text{"ab", "cd", "lead", "qa"},
	}
}

// unfinished is a tower with holds, corrections, incidents and joints that nobody
// touched.
func unfinished(t testing.TB) *HandoverDocument {
	s := &scenario{t: t}
	h := s.things("ASH/CT1")

	// J001: all is well.
	one := []Record{s.sealing("2026-03-02 08:25"), s.tightening("2026-03-02 09:10", "ab", 12, ptr(16.27), "12 lbf.ft"), s.inspection("2026-03-03 13:13", 16.2, 14.9)}
	one[0].Findings = []Finding{{Rule: "seal-dew", Severity: "hold", Message: "The surface was 2.6 °C above the dew point of 8.4 °C and must be 3 °C above it",
		Figure: ptr(2.57), Limit: ptr(3.0), Unit: "°C", Source: "ISO 8502-4, from memory"}}
	one[1].Attachments = []Attachment{{SHA256: fmt.Sprintf("%x", sha256.Sum256([]byte("photo"))), FileName: "J001 <nuts>.jpg", MediaType: "image/jpeg", SizeBytes: 482113}}

	// J002: a mistake that was corrected, an incident with its disposition, a hold
	// that was placed by a finding and released.
	mistaken := s.tightening("2026-03-02 10:05", "cd", 21, ptr(26.0), "")
	mistaken.Note = "typed with gloves on"
	correction := Record{Kind: "correction", Entry: s.entry("2026-03-02 10:20", "cd"), Findings: []Finding{}, Attachments: []Attachment{},
		Correction: &Correction{Corrects: Text(mistaken.ID), Reason: "21 typed for 12, 26 for 16"}}
	right := s.tightening("2026-03-02 10:05", "cd", 12, ptr(16.0), "")
	correction.Correction.Replacement = Text(right.ID)
	mistaken.CorrectedBy = Text(correction.ID)
	mistaken.Findings = []Finding{{Rule: "torque-window", Severity: "hold", Message: "A torque of 26 N.m is above the greatest allowed, 18.4 N.m", Figure: ptr(26.0), Limit: ptr(18.4), Unit: "N.m", Source: "specification SS-M8-SEAM, revision 2"}}
	galling := Record{Kind: "incident", Entry: s.entry("2026-03-02 10:30", "cd"), Findings: []Finding{}, Attachments: []Attachment{}, Incident: &Incident{
		Specification: "SS-M8-SEAM@2", Kind: "galling", Fasteners: 1, Lot: "M8-S-2672C", Treatment: "none", Tool: "IW-07", Method: "impact",
		Noticed: "before clamp-up", Action: "cut off and replaced\u202eecalp"}}
	galling.Findings = []Finding{{Rule: "treatment-missing", Severity: "warn", Message: "Stainless on stainless without anti-seize galls"}}
	placed := Record{Kind: "hold", Entry: s.entry("2026-03-02 10:06", ""), Findings: []Finding{}, Attachments: []Attachment{},
		Hold: &Hold{Action: "placed", Held: "ASH/CT1/C1/J002", Reason: "torque outside the window", Rule: "torque-window", Cause: Text(mistaken.ID)}}
	decided := Record{Kind: "disposition", Entry: s.entry("2026-03-03 07:40", "lead"), Findings: []Finding{}, Attachments: []Attachment{},
		Disposition: &Disposition{Incident: Text(galling.ID), Decision: "rework", Reason: "new bolt, nut and washer"}}
	released := Record{Kind: "hold", Entry: s.entry("2026-03-03 07:45", "lead"), Findings: []Finding{}, Attachments: []Attachment{},
		Hold: &Hold{Action: "released", Held: "ASH/CT1/C1/J002", Reason: "a slip of the pen", Releases: Text(placed.ID), Decision: "use-as-is"}}
	placed.Hold.ReleasedBy = Text(released.ID)
	two := []Record{mistaken, placed, correction, right, galling, decided, released}

	// J003: half done; its cell is on hold.
	three := []Record{s.tightening("2026-03-29 02:30", "ab", 5, nil, "")}
	three[0].Tightening.Tool, three[0].Tightening.Specification = "", "SS-M8-SEAM@1"
	hold := Hold{Action: "placed", Held: "ASH/CT1/C1", Reason: "lot M8-S-2672C is suspect"}
	cell := Record{Kind: "hold", Entry: s.entry("2026-03-30 07:00", "qa"), Findings: []Finding{}, Attachments: []Attachment{}, Hold: &hold}
	open := OpenHold{Entry: cell.Entry, Hold: hold}

	h.Joints = []Joint{
		s.joint("ASH/CT1/C1/J001", "inspected", append(one, cell)...),
		s.joint("ASH/CT1/C1/J002", "tightened", append(two, cell)...),
		s.joint("ASH/CT1/C1/J003", "planned", append(three, cell)...),
		s.joint("ASH/CT1/C2/J001", "planned"),
	}
	for i := range h.Joints[:3] {
		h.Joints[i].OpenHolds = []OpenHold{open}
	}
	h.Joints[1].Critical = true
	h.Missing = []Missing{
		{"ASH/CT1/C1", "Cell ASH/CT1/C1 is on hold: lot M8-S-2672C is suspect."},
		{"ASH/CT1/C1/J003", "Joint ASH/CT1/C1/J003: 5 of its 12 fasteners are on record as tightened."},
		{"ASH/CT1/C1/J003", "Joint ASH/CT1/C1/J003: no sealing is on record; specification SS-M8-SEAM names strip."},
		{"ASH/CT1/C2/J001", "Nothing is on record."},
	}
	h.Chain = Chain{Sequence: s.sequence, Link: fmt.Sprintf("%x", sha256.Sum256([]byte("head")))}
	h.Judge(false)
	return h
}

// finished is a cell of so many joints with nothing missing, read in US customary
// units.
func finished(t testing.TB, joints int) *HandoverDocument {
	s := &scenario{t: t}
	h := s.things("ASH/CT1/C1")
	h.Site.Units = "us-customary"
	for i := range joints {
		place := fmt.Sprintf("ASH/CT1/C1/J%03d", i+1)
		h.Joints = append(h.Joints, s.joint(place, "accepted", s.sealing("2026-03-02 08:25"), s.tightening("2026-03-02 09:10", "ab", 12, ptr(16.27), "12 lbf.ft"),
			s.inspection("2026-03-03 13:13", 16.2, 14.9), s.signOff("2026-03-04 15:00", place)))
	}
	h.Chain = Chain{Sequence: s.sequence, Link: fmt.Sprintf("%x", sha256.Sum256([]byte("head")))}
	h.Judge(true)
	return h
}
