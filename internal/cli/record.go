package cli

import (
	"context"

	"github.com/spf13/cobra"
)

func (a *app) recordCommand() *cobra.Command {
	movements, calibrations := a.movementList(), a.calibrationList()
	movements.Use, calibrations.Use = "movements", "calibrations"
	lists := group("list", "List records of one kind", a.listTightenings(), a.listIncidents(), a.listSealings(), a.listInspections(),
		calibrations, movements, a.listCustody(), a.listHolds(), a.listDispositions(), a.listSignOffs(), a.listCorrections(), a.listToolChecks())
	return group("record", "Records of every kind, as they were made", lists, a.recordShow())
}

// recordFilter are the flags that cut a list of records.
type recordFilter struct {
	place, lot, tool, person string
	span
}

// flags binds all of them.
func (r *recordFilter) flags(f *fields) {
	r.placeFlag(f)
	f.resource(&r.lot, "lots", "lot", "lot", "LOT", "only of this lot")
	r.toolFlag(f)
	r.personFlag(f)
	r.span.flags(f)
}

func (r *recordFilter) placeFlag(f *fields) {
	f.place(&r.place, "place", "place", "only at or below this site, tower, cell or joint", 1, 2, 3, 4)
}

func (r *recordFilter) toolFlag(f *fields) {
	f.resource(&r.tool, "tools", "tool", "tool", "SERIAL", "only with this tool")
}

func (r *recordFilter) personFlag(f *fields) {
	f.resource(&r.person, "people", "by-person", "person", "PERSON", "only by this person")
}

func (a *app) recordShow() *cobra.Command {
	cmd := a.command("show ID", "Show a record of any kind", "ID is the record's UUID, or its resource name such as incidents/UUID.")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		k, r, err := a.findRecord(ctx, args[0])
		if err != nil {
			return err
		}
		return k.show(a, r)
	})
}
