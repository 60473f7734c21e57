package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) incidentCommand() *cobra.Command {
	var entry entryOptions
	record := &pb.Incident{}
	cmd := a.command("incident KIND PLACE [FASTENERS]", "Record that something went wrong",
		"PLACE is a joint, or a site where no joint is concerned; thread failures need the\n"+
			"joint, --lot and --treatment, and take 1 fastener turned by hand when nothing\n"+
			"else is said. A dropped tool needs --tool.\n\nThread failures: galling, seized, stripped-tapping-screw, stripped-thread,\n"+
			"crossed-thread, broken-fastener. Others: misaligned-hole, seal-gap, leak,\ncoating-damage, dropped-tool, near-miss.")
	cmd.Example = "  trackctl incident galling rvb/ct2/c3/j014 2 --lot M10-ST-2640C --treatment anti-seize --tool TW-RVB-03\n" +
		"  trackctl incident dropped-tool rvb --tool TW-RVB-03"
	cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return ledger.IncidentKinds.All(), cobra.ShellCompDirectiveNoFileComp
	}
	f := newFields(cmd)
	incidentFields(f, record)
	entry.flags(f)
	a.asking(cmd, question{"KIND", strings.Join(ledger.IncidentKinds.All(), ", "), wordCheck(ledger.IncidentKinds)}, question{"PLACE", "a joint such as J014, or a site where no joint is concerned", nil})
	return a.runs(cmd, func(ctx context.Context, args []string) error { return a.incident(ctx, args, f, record, &entry) })
}

// incidentFields binds the flags of what an incident tells besides its kind, its
// place and its number of fasteners.
func incidentFields(f *fields, record *pb.Incident) {
	f.resource(&record.Lot, "lots", "lot", "lot", "LOT", "lot of the fasteners")
	wordField(f, &record.Treatment, ledger.Treatments, "treatment", "treatment", "what the threads carried")
	f.resource(&record.Tool, "tools", "tool", "tool", "SERIAL", "tool that was used or dropped")
	wordField(f, &record.DrivingMethod, ledger.DrivingMethods, "method", "driving_method", "how the fastener was turned")
	f.text(&record.Noticed, "noticed", "noticed", "when in the turn it was noticed, such as \"before clamp-up\"")
	f.text(&record.Action, "action", "action", "what was done at once")
}

func (a *app) incident(ctx context.Context, args []string, f *fields, record *pb.Incident, o *entryOptions) error {
	kind, err := ledger.IncidentKinds.Parse(args[0])
	if err != nil {
		return usage("%v", err)
	}
	place, err := a.incidentPlace(kind, args[1])
	if err != nil {
		return err
	}
	record.Kind = pb.IncidentKind(kind)
	if place.Depth() == 4 {
		record.Joint = place.Resource()
	} else {
		record.Site = place.Resource()
	}
	least := int64(0)
	if kind.ThreadFailure() {
		least = 1
		if err := a.fillIn(f, "lot", "treatment", "tool", "method"); err != nil {
			return err
		}
		if err := a.require(ctx, f, "lot", "treatment"); err != nil {
			return err
		}
		record.Fasteners = 1
		if record.DrivingMethod == 0 {
			record.DrivingMethod = pb.DrivingMethod(ledger.DrivenByHand)
		}
	}
	if kind == ledger.DroppedTool {
		if err := a.fillIn(f, "tool"); err != nil {
			return err
		}
	}
	if len(args) > 2 {
		n, err := parseCount("FASTENERS", args[2], least, ledger.MaxFasteners)
		if err != nil {
			return err
		}
		record.Fasteners = int32(n)
	}
	id, entry, err := a.entry(ctx, o, true)
	if err != nil {
		return err
	}
	record.Name, record.Entry = "incidents/"+id, entry
	names := f.names()
	names["kind"], names["joint"], names["site"], names["fasteners"] = "KIND", "PLACE", "PLACE", "FASTENERS"
	s := sent{kind: ledger.KindIncident, id: id, summary: incidentSummary(kind, place, record), joint: ledger.ShortName(record.GetJoint()), names: names}
	return a.sendRecord(ctx, s, o, record)
}

// incidentPlace reads the place of an incident: a joint, or a site where no
// thread failed.
func (a *app) incidentPlace(kind ledger.IncidentKind, typed string) (ledger.Place, error) {
	if kind.ThreadFailure() {
		return a.placeHere(typed, 4)
	}
	return a.placeHere(typed, 1, 4)
}

func incidentSummary(kind ledger.IncidentKind, place ledger.Place, record *pb.Incident) string {
	n, lot, tool := "", "", ""
	if record.GetFasteners() > 0 {
		n = counted(int(record.GetFasteners()), "fastener")
	}
	if record.GetLot() != "" {
		lot = "lot " + ledger.ShortName(record.GetLot())
	}
	if kind == ledger.DroppedTool {
		tool = "tool " + ledger.ShortName(record.GetTool())
	}
	return sentence(ledger.IncidentKinds.Name(kind), n, place.String(), lot, tool)
}

func incidentColumns() []output.Column[*pb.Incident] {
	type incident = *pb.Incident
	place := func(i incident) string {
		if i.GetJoint() != "" {
			return i.GetJoint()
		}
		return i.GetSite()
	}
	columns := idColumns[incident]()
	columns = append(columns, output.Column[incident]{Name: "kind", Heading: "KIND", Value: func(i incident) any { return text(wordOf(ledger.IncidentKinds, i.GetKind())) }})
	columns = append(columns, placeColumns(4, "PLACE", place)...)
	columns = append(columns, []output.Column[incident]{
		{Name: "spec", Value: func(i incident) any { return text(ledger.ShortName(i.GetSpecification())) }},
		{Name: "fasteners", Heading: "NO", Value: func(i incident) any { return i.GetFasteners() }},
		{Name: "lot", Heading: "LOT", Value: func(i incident) any { return text(ledger.ShortName(i.GetLot())) }},
		{Name: "treatment", Heading: "TREATMENT", Value: func(i incident) any { return text(wordOf(ledger.Treatments, i.GetTreatment())) }},
		{Name: "tool", Heading: "TOOL", Value: func(i incident) any { return text(ledger.ShortName(i.GetTool())) }},
		{Name: "method", Value: func(i incident) any { return text(wordOf(ledger.DrivingMethods, i.GetDrivingMethod())) }},
		{Name: "noticed", Value: func(i incident) any { return text(i.GetNoticed()) }},
		{Name: "action", Value: func(i incident) any { return text(i.GetAction()) }},
	}...)
	return append(columns, entryColumns[incident]()...)
}
