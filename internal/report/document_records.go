package report

import "time"

// Entry is what every record carries besides its own content.
type Entry struct {
	ID string `json:"id"`
	// At is when it happened, in the site's zone.
	At         time.Time  `json:"at"`
	Person     Text       `json:"person"`
	Device     Text       `json:"device"`
	Note       Text       `json:"note"`
	ReceivedAt *time.Time `json:"received_at"`
	// Sequence is its number in the chain of the site.
	Sequence int64 `json:"chain_sequence"`
	// Link is its link in that chain, hexadecimal.
	Link Text `json:"chain_link"`
	// CorrectedBy is the id of the correction that withdrew or replaced it. Figures
	// do not count a corrected record.
	CorrectedBy Text `json:"corrected_by"`
}

// Record is one record about a joint; exactly one of the contents is there, the
// one that Kind names.
type Record struct {
	// Kind is the kind of record, such as `tightening`.
	Kind string `json:"kind"`
	Entry
	Tightening  *Tightening  `json:"tightening,omitempty"`
	Sealing     *Sealing     `json:"sealing,omitempty"`
	Incident    *Incident    `json:"incident,omitempty"`
	Inspection  *Inspection  `json:"inspection,omitempty"`
	Hold        *Hold        `json:"hold,omitempty"`
	Disposition *Disposition `json:"disposition,omitempty"`
	SignOff     *SignOff     `json:"sign_off,omitempty"`
	Correction  *Correction  `json:"correction,omitempty"`
	// Findings are the rules of the trade that it breaks.
	Findings    []Finding    `json:"findings"`
	Attachments []Attachment `json:"attachments"`
}

// Tightening says that fasteners were brought to torque.
type Tightening struct {
	// Specification is the revision that held, such as `SS-M10@2`.
	Specification Text     `json:"spec"`
	Fasteners     int32    `json:"fasteners"`
	Lot           Text     `json:"lot"`
	Treatment     Text     `json:"treatment"`
	Batch         Text     `json:"batch"`
	Tool          Text     `json:"tool"`
	TorqueNM      *float64 `json:"torque_n_m"`
	TorqueAsTyped Text     `json:"torque_as_typed"`
	Pass          Text     `json:"pass"`
	Method        Text     `json:"method"`
}

// Sealing says that sealant was laid.
type Sealing struct {
	Specification  Text       `json:"spec"`
	Sealant        Text       `json:"sealant"`
	Batch          Text       `json:"batch"`
	WidthMM        *float64   `json:"width_mm"`
	Solvent        Text       `json:"solvent"`
	CleanedAt      *time.Time `json:"cleaned_at"`
	AirC           *float64   `json:"air_c"`
	SurfaceC       *float64   `json:"surface_c"`
	HumidityPct    *float64   `json:"humidity_pct"`
	Splice         Text       `json:"splice"`
	FlangeStraight *bool      `json:"flange_straight"`
}

// Incident says that something went wrong.
type Incident struct {
	Specification Text  `json:"spec"`
	Kind          Text  `json:"kind"`
	Fasteners     int32 `json:"fasteners"`
	Lot           Text  `json:"lot"`
	Treatment     Text  `json:"treatment"`
	Tool          Text  `json:"tool"`
	Method        Text  `json:"method"`
	Noticed       Text  `json:"noticed"`
	Action        Text  `json:"action"`
}

// Inspection says that the joint was looked at.
type Inspection struct {
	Kind       Text      `json:"kind"`
	Sample     int32     `json:"sample"`
	Plan       Text      `json:"plan"`
	ReadingsNM []float64 `json:"readings_n_m"`
	Result     Text      `json:"result"`
	Tool       Text      `json:"tool"`
}

// Hold says that something was put on hold, or released.
type Hold struct {
	// Action is `placed` or `released`.
	Action Text `json:"action"`
	// Held is the joint, cell, lot or tool.
	Held   Text `json:"held"`
	Reason Text `json:"reason"`
	// Rule and Cause say which finding on which record placed it; empty when a
	// person did.
	Rule  Text `json:"rule"`
	Cause Text `json:"cause"`
	// Releases is the id of the hold that a release ends, Decision why it may.
	Releases Text `json:"releases"`
	Decision Text `json:"decision"`
	// ReleasedBy is the id of the release that ended it.
	ReleasedBy Text `json:"released_by"`
}

// Disposition says what is done about an incident.
type Disposition struct {
	Incident Text `json:"incident"`
	Decision Text `json:"decision"`
	Reason   Text `json:"reason"`
}

// SignOff says that a joint, cell or tower was accepted at a point of the plan.
type SignOff struct {
	Place Text `json:"place"`
	Point Text `json:"point"`
	Title Text `json:"title"`
}

// Correction says that a record was mistaken.
type Correction struct {
	// Corrects is the id of the mistaken record.
	Corrects Text `json:"corrects"`
	Reason   Text `json:"reason"`
	// Replacement is the id of the record that holds instead; empty when it was
	// only withdrawn, or when the answer does not tell.
	Replacement Text `json:"replacement"`
}

// Finding says that a record breaks a rule of the trade.
type Finding struct {
	Rule string `json:"rule"`
	// Severity is `note`, `warn` or `hold`.
	Severity Text     `json:"severity"`
	Message  string   `json:"message"`
	Figure   *float64 `json:"figure"`
	Limit    *float64 `json:"limit"`
	Unit     Text     `json:"unit"`
	Source   Text     `json:"source"`
}

// Attachment is a photo or certificate that belongs to a record.
type Attachment struct {
	SHA256    string     `json:"sha256"`
	FileName  string     `json:"file_name"`
	MediaType string     `json:"media_type"`
	SizeBytes int64      `json:"size_bytes"`
	CreatedAt *time.Time `json:"created_at"`
}
