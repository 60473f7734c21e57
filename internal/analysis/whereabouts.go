package analysis

import (
	"time"

	"jointledger/internal/ledger"
)

// ToolStation says where a tool is. Its numbers are those of the API's enum.
type ToolStation uint8

// Tool stations.
const (
	InCrib ToolStation = iota + 1
	Lent
	InTransit
	Lost
)

// ToolStations are the words of ToolStation.
var ToolStations = ledger.NewWords[ToolStation]("station", "in-crib", "lent", "in-transit", "lost")

// Whereabouts says where a tool is, who has it, and what speaks against lending it.
type Whereabouts struct {
	Tool    ledger.Tool
	Station ToolStation
	// Site is that of the newest change of custody, the home site without one.
	Site string
	// Holder is empty when nobody has it.
	Holder, HolderName string
	// Since and LastChange are of the newest change of custody; zero without one.
	Since      time.Time
	LastChange ledger.CustodyKind
	// Refusals are as LendingRefusals has them for Site, but that it is lent.
	Refusals []ToolRefusal
	// NextDue is the earliest of all actions but checks for each shift; nil for none.
	NextDue *PolicyItem
}

// WhereaboutsOf says where a tool is as of a moment. The error is that of PolicyDue.
func WhereaboutsOf(t TrackedTool, asOf time.Time) (Whereabouts, error) {
	items, err := t.items(asOf)
	if err != nil {
		return Whereabouts{}, err
	}
	w := Whereabouts{Tool: t.Due.Tool, Station: InCrib, Site: t.station()}
	if c := t.Custody; c != nil {
		w.Since, w.LastChange = c.Since, c.Kind
		switch {
		case c.Kind == ledger.CustodyLost:
			w.Station = Lost
		case c.Kind == ledger.CustodySent:
			w.Station = InTransit
		case t.lent():
			w.Station, w.Holder, w.HolderName = Lent, c.Holder, c.HolderName
		}
	}
	for _, r := range t.lendingRefusals(items, w.Site, asOf) {
		if r.Reason != RefusedLent {
			w.Refusals = append(w.Refusals, r)
		}
	}
	for i, item := range items {
		if !item.BeforeUse && (w.NextDue == nil || item.DueAt.Before(w.NextDue.DueAt)) {
			w.NextDue = &items[i]
		}
	}
	return w, nil
}
