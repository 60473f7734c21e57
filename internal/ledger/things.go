package ledger

import "time"

// Revision is what every thing carries besides its content.
type Revision struct {
	// Version counts changes from 1; the API's etag is made of it.
	Version int
	// CreateTime and UpdateTime are UTC with microseconds.
	CreateTime, UpdateTime time.Time
}

// Site is a place where towers are erected.
type Site struct {
	Code     string
	Name     string
	Region   string
	TimeZone string // IANA name
	Status   SiteStatus
	Units    UnitPreference
	Revision
}

// Tower is one cooling tower at a site.
type Tower struct {
	Place                       Place // depth 2
	Material                    Material
	Drawing                     string
	PlannedStart, PlannedFinish string // YYYY-MM-DD at the site, or empty
	Revision
}

// Cell is one cell of a tower.
type Cell struct {
	Place       Place // depth 3
	Description string
	Revision
}

// Joint is one bolted or screwed joint of a cell.
type Joint struct {
	Place         Place // depth 4
	Kind          JointKind
	Critical      bool
	PartA, PartB  string
	Specification string // code
	Fasteners     int
	Revision
}

// Fastener describes a fastener as ordered.
type Fastener struct {
	Thread            string
	LengthMillimetres float64 // 0 when not given
	Material          Material
	PropertyClass     string
	Coating           string
	Head              string
}

// Specification says how a kind of joint is made up. A change makes a new
// revision: Version is its number.
type Specification struct {
	Code                   string
	Fastener               Fastener
	Treatment              Treatment
	Locking                LockingMethod
	TorqueNewtonMetres     float64
	TorqueTolerancePercent float64
	TorqueBasis            TorqueBasis
	NutFactor              float64 // 0 when not given
	TorqueToolRequired     bool
	Sealant                string
	SealWidthMillimetres   float64 // 0 when not given
	// MinimumSurfaceCelsius is the lowest surface temperature for sealing; not
	// given (nil) leaves it to the default of the rules.
	MinimumSurfaceCelsius *float64
	Revision
}

// SpecificationRef names one revision of a specification.
type SpecificationRef struct {
	Code     string
	Revision int
}

// Lot is one delivery lot of one fastener.
type Lot struct {
	Number      string
	Supplier    string
	Heat        string
	Fastener    Fastener
	Description string
	State       LotState
	Revision
}

// Tool is one tool that is tracked by its serial.
type Tool struct {
	Serial                 string
	Kind                   ToolKind
	TypeClass              string  // ISO 6789-1:2017, such as II-A
	MinimumNewtonMetres    float64 // 0 when it has none
	MaximumNewtonMetres    float64 // 0 when it has none
	ResolutionNewtonMetres float64 // 0 when not given
	HomeSite               string
	IntervalMonths         int // 0 for no such policy
	IntervalCycles         int // 0 for no such policy
	DueAfterEvent          bool
	// RatedLoadKilograms is the working load limit; 0 for a tool without one.
	RatedLoadKilograms float64
	// Policies are those for other actions than a calibration, which the
	// intervals above are for.
	Policies []Policy
	Revision
}

// Person makes records.
type Person struct {
	ID             string
	Name           string
	Employer       string
	HomeSite       string
	Roles          []Role
	Qualifications []Qualification
	Revision
}

// Qualification says for which task a person is qualified, and until when.
type Qualification struct {
	Task       string
	ExpireDate string // YYYY-MM-DD, the last day on which it holds; empty for none
}
