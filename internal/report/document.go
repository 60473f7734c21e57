package report

import (
	"encoding/json"
	"strings"
	"time"
)

// Text is a text that may be missing: empty is null in JSON.
type Text string

// MarshalJSON writes null for the empty text.
func (t Text) MarshalJSON() ([]byte, error) {
	if t == "" {
		return []byte("null"), nil
	}
	return json.Marshal(string(t))
}

// HandoverDocument is the hand-over record of a cell, tower or site, in plain
// values. Quantities are SI with the unit in their JSON names (`_n_m` newton
// metres, `_mm` millimetres, `_c` degrees Celsius, `_pct` percent), times are
// RFC 3339 with the offset of the site, and what was not given is null. Names are
// the short ones that people type.
type HandoverDocument struct {
	// Place is the cell, tower or site that is handed over.
	Place string `json:"place"`
	// Site is the site it is at or is.
	Site Site `json:"site"`
	// ReadAt is when the record was read: all of it from one state of the database.
	ReadAt time.Time `json:"read_at"`
	// PreparedBy is who had it made; empty when nobody said.
	PreparedBy Text `json:"prepared_by"`
	// Program is what made the document.
	Program string `json:"program"`
	// Complete is the verdict: nothing is missing. It is set by Judge only.
	Complete bool `json:"complete"`
	// Missing is everything that keeps the record from being complete.
	Missing []Missing `json:"missing"`
	// Cautions stand above every figure of the record.
	Cautions []string `json:"cautions"`
	// Specifications are those that were used, in the revisions used.
	Specifications []Specification `json:"specifications"`
	// Lots are the fastener lots that were used.
	Lots []Lot `json:"lots"`
	// Tools are those that were used, with the calibrations in force during the
	// work.
	Tools []Tool `json:"tools"`
	// Joints are all joints of the place, in the order of their names.
	Joints []Joint `json:"joints"`
	// People are those who made the records.
	People []Text `json:"people"`
	// Chain is the head of the site's chain when the record was read.
	Chain Chain `json:"chain"`
}

// Site is the site of a hand-over record.
type Site struct {
	Code   string `json:"code"`
	Name   Text   `json:"name"`
	Region Text   `json:"region"`
	// TimeZone is the IANA zone that the site's times are told in.
	TimeZone string `json:"time_zone"`
	// Units is `si` or `us-customary`: what a page shows first. JSON is always SI.
	Units string `json:"units"`
}

// Missing is one thing that keeps a record from being complete.
type Missing struct {
	// Place is the joint, or the cell, tower or site, that it is about.
	Place string `json:"place"`
	// Sentence says what is missing.
	Sentence string `json:"sentence"`
}

// Short is the sentence without the name of its place, for where the place is told
// beside it: `Joint RVB/CT2/C3/J014 is on hold` becomes `The joint is on hold`.
func (m Missing) Short() string {
	kind := kindOf(m.Place)
	named := sentenceCase(kind) + " " + m.Place
	if rest, ok := strings.CutPrefix(m.Sentence, named+": "); ok {
		return sentenceCase(rest)
	}
	if rest, ok := strings.CutPrefix(m.Sentence, named+" "); ok {
		return "The " + kind + " " + rest
	}
	return m.Sentence
}

// Fastener is what a specification asks for or a lot consists of.
type Fastener struct {
	Thread   string   `json:"thread"`
	LengthMM *float64 `json:"length_mm"`
	Material Text     `json:"material"`
	// PropertyClass is the class or condition, such as 8.8 or A2-70.
	PropertyClass Text `json:"property_class"`
	Coating       Text `json:"coating"`
	Head          Text `json:"head"`
}

// Specification is one revision of a joint specification.
type Specification struct {
	Code      string   `json:"spec"`
	Revision  int32    `json:"revision"`
	Fastener  Fastener `json:"fastener"`
	Treatment Text     `json:"treatment"`
	Locking   Text     `json:"locking"`
	// TorqueNM is the target; the window is that less and more TolerancePct of it.
	TorqueNM           float64  `json:"torque_n_m"`
	TolerancePct       float64  `json:"torque_tolerance_pct"`
	LowNM              float64  `json:"torque_low_n_m"`
	HighNM             float64  `json:"torque_high_n_m"`
	Basis              Text     `json:"torque_basis"`
	NutFactor          *float64 `json:"nut_factor"`
	TorqueToolRequired bool     `json:"torque_tool_required"`
	Sealant            Text     `json:"sealant"`
	SealWidthMM        *float64 `json:"seal_width_mm"`
	MinimumSurfaceC    *float64 `json:"min_surface_c"`
}

// Lot is a fastener lot that was used.
type Lot struct {
	Number      string   `json:"lot"`
	Supplier    Text     `json:"supplier"`
	Heat        Text     `json:"heat"`
	Fastener    Fastener `json:"fastener"`
	Description Text     `json:"description"`
	// State is whether it may be used now, not whether it might be then.
	State Text `json:"state"`
}

// Tool is a tool that was used.
type Tool struct {
	Serial string `json:"serial"`
	Kind   Text   `json:"kind"`
	// TypeClass is its type and class under ISO 6789-1:2017.
	TypeClass      Text     `json:"type_class"`
	MinimumNM      *float64 `json:"min_n_m"`
	MaximumNM      *float64 `json:"max_n_m"`
	ResolutionNM   *float64 `json:"resolution_n_m"`
	IntervalMonths int32    `json:"interval_months"`
	IntervalCycles int32    `json:"interval_cycles"`
	// Calibrations were in force at some time of the work, oldest first.
	Calibrations []Calibration `json:"calibrations"`
}

// Calibration is a laboratory's readings of a tool, with what they say.
type Calibration struct {
	Entry
	Laboratory  Text               `json:"laboratory"`
	Certificate Text               `json:"certificate"`
	Points      []CalibrationPoint `json:"points"`
	// AsFound and AsLeft are computed from the readings by Tool.Judge.
	AsFound Verdict `json:"as_found"`
	AsLeft  Verdict `json:"as_left"`
}

// CalibrationPoint holds the readings at one test point.
type CalibrationPoint struct {
	// Phase is `as-found` or `as-left`.
	Phase          string    `json:"phase"`
	TargetNM       float64   `json:"target_n_m"`
	ReadingsNM     []float64 `json:"readings_n_m"`
	UncertaintyNM  *float64  `json:"expanded_uncertainty_n_m"`
	CoverageFactor *float64  `json:"coverage_factor"`
}

// Joint is one joint with everything on record about it.
type Joint struct {
	Place    string `json:"joint"`
	Kind     Text   `json:"kind"`
	Critical bool   `json:"critical"`
	PartA    Text   `json:"part_a"`
	PartB    Text   `json:"part_b"`
	// Specification is the one that holds now; each record names its revision.
	Specification string `json:"spec"`
	Fasteners     int32  `json:"fasteners"`
	// State is how far it has come: planned, sealed, tightened, inspected, accepted.
	State Text `json:"state"`
	// Tightened is how many fasteners first passes brought to torque.
	Tightened   int64      `json:"tightened"`
	TightenedAt *time.Time `json:"tightened_at"`
	// OpenHolds are those on it or on its cell.
	OpenHolds []OpenHold `json:"open_holds"`
	// Records are in the order in which they happened.
	Records []Record `json:"records"`
}

// OpenHold is a hold that nobody has released.
type OpenHold struct {
	Entry
	Hold
}

// Chain is the head of the chain of a site's records.
type Chain struct {
	// Sequence is the number of records in it.
	Sequence int64 `json:"sequence"`
	// Link is the SHA-256 over the link before and the last record, hexadecimal.
	Link string `json:"link"`
}
