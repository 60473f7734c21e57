package fleetgen

import (
	"errors"
	"fmt"
	"time"
)

// Truth behind the rows: probabilities per fastener attempt and the factors on
// them. They are of a plausible size and stand for no real product.
const (
	GallingRate     = 0.004  // stainless, treated, good lot
	BadLotFactor    = 5.0    // galling in a bad lot
	UntreatedFactor = 3.0    // galling without anti-seize
	StrippedRate    = 0.002  // seam screws
	CrossedRate     = 0.0005 // all
	BadLotShare     = 0.03   // of stainless lots
	UntreatedShare  = 0.05   // of crew days on stainless
)

// Words in the rows, as the import format has them.
const (
	KindTightening = "tightening"
	KindGalling    = "galling"
	KindStripped   = "stripped-tapping-screw"
	KindCrossed    = "crossed-thread"

	PassFirst   = "first"
	PassFinal   = "final"
	PassRetight = "re-tightening"

	TreatmentNone      = "none"
	TreatmentAntiSeize = "anti-seize"
	TreatmentLocking   = "thread-locking-compound"

	MethodHand   = "hand"
	MethodImpact = "impact-then-torque-tool"

	MaterialStainless  = "304"
	MaterialGalvanised = "galvanized-steel"
)

// Shape of the fleet.
const (
	jointsPerCell  = 48
	cellsPerTower  = 6
	daysPerLot     = 15 // from one delivery to the next
	peoplePerCrew  = 2
	defaultSites   = 36
	defaultCrews   = 3
	mostSites      = 2000
	mostCrews      = 9
	mostDeliveries = 1000
	failureReserve = 4 // most failures at one position before it is given up
)

// SitesPerPool is how many neighbouring sites share deliveries; the number that a lot's
// name begins with is that of their pool, from 1.
const SitesPerPool = 3

// Config says which fleet to draw and where to stop. Exactly one of Attempts
// and Tightenings is set.
type Config struct {
	Seed  uint64
	Sites int       // number of sites; 0 means 36
	Crews int       // crews at each site; 0 means 3
	Start time.Time // first day, taken in UTC; zero means 2024-01-01

	// Attempts stops the stream once it holds exactly so many fastener attempts:
	// fasteners of first passes plus fasteners of incidents. The last joint is
	// cut to fit.
	Attempts int
	// Tightenings stops the stream after so many tightening rows of any pass.
	Tightenings int

	// Deliveries, unless 0, is how many lots of a kind a pool of sites has in all:
	// they lie open side by side, and each joint takes from one of them. Fleets that
	// differ in their limit alone then use the same lots, however long they work.
	Deliveries int
}

// Fleet is a configured fleet. It holds no rows and may be read from several
// goroutines at once.
type Fleet struct {
	cfg   Config
	sites []Site
	tools []Tool
	crew  []crew // site-major: site*Crews + crew
	joint [jointsPerCell]string
	cell  [cellsPerTower]string
}

// Site is one site of the fleet. Offsets lie between -6 and +3 hours, so that a
// working day never passes midnight in UTC and a day means the same in both.
type Site struct {
	Code     string
	Region   string
	TimeZone string // IANA name, of the Etc/GMT family (whose signs are reversed)
	loc      *time.Location
}

// Tool is one torque wrench. Every crew has a small one for M8 and M10 and a
// large one for M12 and M16.
type Tool struct {
	Serial, Site                     string
	MinNewtonMetres, MaxNewtonMetres float64
	Person                           string // who holds it
}

// crew is what never changes about a crew.
type crew struct {
	small, large *Tool
}

// ErrLimit tells that a configuration sets none or both of its limits, or a
// negative one.
var ErrLimit = errors.New("fleetgen: set exactly one of Attempts and Tightenings, and above zero")

// New checks a configuration and builds the fleet's sites, tools and crews. It
// returns ErrLimit for a wrong limit and another error for a size out of range.
func New(cfg Config) (*Fleet, error) {
	if cfg.Sites == 0 {
		cfg.Sites = defaultSites
	}
	if cfg.Crews == 0 {
		cfg.Crews = defaultCrews
	}
	if cfg.Start.IsZero() {
		cfg.Start = time.Date(2024, time.January, 1, 0, 0, 0, 0, time.UTC)
	}
	cfg.Start = cfg.Start.UTC().Truncate(24 * time.Hour)
	if cfg.Attempts < 0 || cfg.Tightenings < 0 || (cfg.Attempts == 0) == (cfg.Tightenings == 0) {
		return nil, ErrLimit
	}
	if cfg.Deliveries < 0 || cfg.Deliveries > mostDeliveries {
		return nil, fmt.Errorf("fleetgen: %d deliveries: want 0 to %d", cfg.Deliveries, mostDeliveries)
	}
	if cfg.Sites < 1 || cfg.Sites > mostSites || cfg.Crews < 1 || cfg.Crews > mostCrews {
		return nil, fmt.Errorf("fleetgen: %d sites with %d crews: want 1 to %d sites and 1 to %d crews", cfg.Sites, cfg.Crews, mostSites, mostCrews)
	}
	f := &Fleet{cfg: cfg}
	for i := range f.joint {
		f.joint[i] = fmt.Sprintf("J%03d", i+1)
	}
	for i := range f.cell {
		f.cell[i] = fmt.Sprintf("C%d", i+1)
	}
	f.equip()
	return f, nil
}

// equip makes the sites, their crews and the crews' tools.
func (f *Fleet) equip() {
	f.tools = make([]Tool, 0, 2*f.cfg.Sites*f.cfg.Crews)
	for s := range f.cfg.Sites {
		// The pools of neighbouring sites lie in one region and one zone.
		offset := -6 + s/SitesPerPool*7%10
		zone := fmt.Sprintf("Etc/GMT%+d", -offset)
		site := Site{Code: fmt.Sprintf("S%04d", s+1), Region: fmt.Sprintf("region-%d", s/(4*SitesPerPool)+1), TimeZone: zone}
		if offset == 0 {
			site.TimeZone = "Etc/GMT"
		}
		site.loc = time.FixedZone(fmt.Sprintf("UTC%+d", offset), offset*3600)
		f.sites = append(f.sites, site)
		for c := range f.cfg.Crews {
			f.tools = append(f.tools,
				Tool{Serial: fmt.Sprintf("%s-W%d", site.Code, 2*c+1), Site: site.Code, MinNewtonMetres: 8, MaxNewtonMetres: 40,
					Person: fmt.Sprintf("%s-P%d", site.Code, peoplePerCrew*c+1)},
				Tool{Serial: fmt.Sprintf("%s-W%d", site.Code, 2*c+2), Site: site.Code, MinNewtonMetres: 40, MaxNewtonMetres: 200,
					Person: fmt.Sprintf("%s-P%d", site.Code, peoplePerCrew*c+2)})
			n := len(f.tools)
			f.crew = append(f.crew, crew{small: &f.tools[n-2], large: &f.tools[n-1]})
		}
	}
}

// Sites returns the fleet's sites. The caller must not change them.
func (f *Fleet) Sites() []Site { return f.sites }

// Tools returns the fleet's tools, two for each crew; the people of the fleet
// are those who hold them. The caller must not change them.
func (f *Fleet) Tools() []Tool { return f.tools }
