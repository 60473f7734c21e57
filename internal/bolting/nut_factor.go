package bolting

import (
	"fmt"
	"strings"

	"jointledger/internal/metrology"
)

// Condition is a surface and lubrication of threads and bearing face for which
// a default nut factor is published.
type Condition string

// The conditions with a default nut factor.
const (
	PlainDry                 Condition = "plain-steel-dry"
	ZincDry                  Condition = "zinc-electroplate-dry"
	HotDipDry                Condition = "hot-dip-galvanised-dry"
	HotDipLubricated         Condition = "hot-dip-galvanised-lubricated-nut"
	MachineOil               Condition = "machine-oil"
	PhosphateOil             Condition = "phosphate-and-oil"
	Cadmium                  Condition = "cadmium"
	AntiSeizeSteel           Condition = "anti-seize-on-steel"
	AntiSeizeStainless       Condition = "anti-seize-on-stainless"
	StainlessDry             Condition = "stainless-on-stainless-dry"
	ThreadlockerPlain        Condition = "threadlocker-wet-on-plain"
	ThreadlockerPhosphate    Condition = "threadlocker-wet-on-phosphate"
	ThreadlockerCadmium      Condition = "threadlocker-wet-on-cadmium"
	WaxedPrevailingTorqueNut Condition = "waxed-prevailing-torque-nut"
)

// NutFactorDefault is a published nut factor for a condition. It is a default to
// be labelled as one: published means span 0.086 to 0.52, so the factor of a
// joint comes from its own record or a joint test wherever there is one.
type NutFactorDefault struct {
	Condition  Condition
	Lubricated bool      // the threads carry something that was put there to slide
	Typical    NutFactor // the value to use when nothing better is known
	Low, High  NutFactor // published range; both 0 when none is published
	Unknown    bool      // sources contradict each other: use the maker's figure or a joint test
	Source     metrology.Source
	Note       string
}

var nutFactors = []NutFactorDefault{
	{
		Condition: PlainDry, Typical: 0.20, Low: 0.18, High: 0.27,
		Source: metrology.Source{Title: "distributors' engineering tables; torque charts based on IFI", Mark: metrology.Seen},
	},
	{
		Condition: ZincDry, Typical: 0.20, Low: 0.17, High: 0.35,
		Source: metrology.Source{Title: "torque charts", Mark: metrology.Seen},
		Note:   "mostly 0.17 to 0.20",
	},
	{
		Condition: HotDipDry, Typical: 0.25,
		Source: metrology.Source{Title: "IFI fastener standards, as cited in a chart", Edition: "7th", Mark: metrology.Seen},
		Note:   "also the limit of the FHWA rotational-capacity test, T <= 0.25·P·D",
	},
	{
		Condition: HotDipLubricated, Lubricated: true, Typical: 0.14, Low: 0.10, High: 0.18,
		Source: metrology.Source{Mark: metrology.Practice},
		Note:   "0.10 for waxed nuts is seen; the typical value is the middle of the range (derived)",
	},
	{
		Condition: MachineOil, Lubricated: true, Typical: 0.15, Low: 0.10, High: 0.26,
		Source: metrology.Source{Title: "torque charts", Mark: metrology.Seen},
	},
	{
		Condition: PhosphateOil, Lubricated: true, Typical: 0.185, Low: 0.15, High: 0.22,
		Source: metrology.Source{Title: "torque charts", Mark: metrology.Seen},
		Note:   "the typical value is the middle of the range (derived)",
	},
	{
		Condition: Cadmium, Typical: 0.17, Low: 0.15, High: 0.19,
		Source: metrology.Source{Title: "torque charts", Mark: metrology.Seen},
		Note:   "the typical value is the middle of the range (derived)",
	},
	{
		Condition: AntiSeizeSteel, Lubricated: true, Typical: 0.12,
		Source: metrology.Source{Title: "Shigley & Mischke, Mechanical Engineering Design", Edition: "5th", Mark: metrology.Seen},
	},
	{
		Condition: AntiSeizeStainless, Lubricated: true, Typical: 0.155, Low: 0.13, High: 0.18,
		Source: metrology.Source{Mark: metrology.Practice},
		Note:   "the typical value is the middle of the range (derived); on stainless the factor can grow with diameter",
	},
	{
		Condition: StainlessDry, Typical: 0.40, Low: 0.30, High: 0.50,
		Source: metrology.Source{Title: "torque charts", Mark: metrology.Seen},
		Note:   "do not assemble dry: it galls; the typical value is the middle of the range (derived)",
	},
	{
		Condition: ThreadlockerPlain, Lubricated: true, Typical: 0.14, Unknown: true,
		Source: metrology.Source{Title: "one torque table", Mark: metrology.Seen},
		Note:   "another source says locking compound raises thread friction",
	},
	{
		Condition: ThreadlockerPhosphate, Lubricated: true, Typical: 0.11, Unknown: true,
		Source: metrology.Source{Title: "one torque table", Mark: metrology.Seen},
		Note:   "another source says locking compound raises thread friction",
	},
	{
		Condition: ThreadlockerCadmium, Lubricated: true, Typical: 0.13, Unknown: true,
		Source: metrology.Source{Title: "one torque table", Mark: metrology.Seen},
		Note:   "another source says locking compound raises thread friction",
	},
	{
		Condition: WaxedPrevailingTorqueNut, Lubricated: true, Typical: 0.1075, Low: 0.082, High: 0.133,
		Source: metrology.Source{Title: "IFI-100", Place: "clamp loads and torques", Mark: metrology.Derived},
		Note:   "range from the table's torques over its clamp loads; the typical value is its middle",
	},
}

// NutFactorDefaults returns the default nut factors with their sources.
func NutFactorDefaults() []NutFactorDefault { return append([]NutFactorDefault(nil), nutFactors...) }

// UnknownConditionError reports a condition without a default nut factor.
type UnknownConditionError struct {
	Text  string
	Known []string
}

// Error lists the conditions there are.
func (e *UnknownConditionError) Error() string {
	return fmt.Sprintf("no default nut factor for %q; there are %s", e.Text, strings.Join(e.Known, ", "))
}

// DefaultNutFactor looks up the default for a condition. It fails with an
// *UnknownConditionError.
func DefaultNutFactor(condition Condition) (NutFactorDefault, error) {
	known := make([]string, 0, len(nutFactors))
	for _, d := range nutFactors {
		if d.Condition == condition {
			return d, nil
		}
		known = append(known, string(d.Condition))
	}
	return NutFactorDefault{}, &UnknownConditionError{Text: string(condition), Known: known}
}
