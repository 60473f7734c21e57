package rules

import (
	"jointledger/internal/metrology"
	"jointledger/internal/sealing"
)

// Default is a limit that holds where neither the specification nor the thing
// itself (tool, batch) gives one.
type Default struct {
	Key     string
	Rule    string // code of the rule that applies it
	Meaning string
	Limit   metrology.Limit
}

// text gives the limit with its source, such as "3 °C (ISO 8502-4, guidance
// (from memory))".
func (d Default) text() string {
	return decimal(d.Limit.Value, 6) + " " + d.Limit.Unit + " (" + d.Limit.Source.String() + ")"
}

// ownChoice marks a limit for which the trade has no custom either.
var ownChoice = metrology.Source{Title: "choice of this project", Mark: "no source"}

var (
	defaultRangeLow = Default{
		Key: "tool-range-low", Rule: CodeToolRange,
		Meaning: "least share of its maximum at which a torque tool is used, and never below its lowest mark",
		Limit:   metrology.Limit{Value: 100 * metrology.UsableLowShare, Unit: "% of the maximum", Source: metrology.UsableRangeSource},
	}
	defaultRangeHigh = Default{
		Key: "tool-range-high", Rule: CodeToolRange,
		Meaning: "greatest share of its maximum at which a torque tool is used",
		Limit:   metrology.Limit{Value: 100 * metrology.UsableHighShare, Unit: "% of the maximum", Source: metrology.UsableRangeSource},
	}
	defaultMinimumTemperature = Default{
		Key: "seal-minimum-temperature", Rule: CodeSealCold,
		Meaning: "lowest temperature of surface and air, 40 °F; the specification and the sealant maker go before it",
		Limit:   sealingLimit("minimum-temperature"),
	}
	defaultDewMargin = Default{
		Key: "seal-dew-margin", Rule: CodeSealDew,
		Meaning: "least temperature of the surface over the dew point",
		Limit:   sealingLimit("minimum-dew-margin"),
	}
	defaultCleanToSeal = Default{
		Key: "seal-clean-to-seal", Rule: CodeSealStaleClean,
		Meaning: "longest time from cleaning to sealing in a dusty or wet place; the record can't tell a clean one",
		Limit:   sealingLimit("clean-to-seal"),
	}
	defaultClockAhead = Default{
		Key: "clock-ahead", Rule: CodeClock,
		Meaning: "how far a device's clock may run ahead of the server's",
		Limit:   metrology.Limit{Value: 5, Unit: "min", Source: ownChoice},
	}
	defaultClockBehind = Default{
		Key: "clock-behind", Rule: CodeClock,
		Meaning: "how long a record of the work may take to arrive without an offline mark",
		Limit:   metrology.Limit{Value: 24, Unit: "h", Source: ownChoice},
	}
)

// Defaults is the one table of limits that no specification, tool or batch
// gives, each with its source. Nut factors and the permissible deviations of
// torque tools, which are tables of their own, are in packages bolting and
// metrology.
func Defaults() []Default {
	return []Default{
		defaultRangeLow, defaultRangeHigh, defaultMinimumTemperature, defaultDewMargin,
		defaultCleanToSeal, defaultClockAhead, defaultClockBehind,
	}
}

// sealingLimit takes a limit from the table of the sealing room.
func sealingLimit(key string) metrology.Limit {
	for _, l := range sealing.LimitTable() {
		if l.Key == key {
			return l.Limit
		}
	}
	panic("rules: package sealing has no limit " + key)
}
