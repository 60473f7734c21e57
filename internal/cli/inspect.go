package cli

import (
	"context"
	"fmt"
	"regexp"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/quantity"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) inspectCommand() *cobra.Command {
	var entry entryOptions
	record := &pb.Inspection{}
	cmd := a.command("inspect KIND JOINT", "Record that a joint was inspected",
		"KIND is torque-audit, leak-test or visual. The sample is as large as the number of\nreadings when nothing else is said.\n\n"+caution)
	cmd.Example = "  trackctl inspect torque-audit rvb/ct2/c3/j014 --result pass --readings \"30.7; 33.4 N.m\" --tool TW-RVB-03\n" +
		"  trackctl inspect leak-test rvb/ct2/c3/j021 --result fail --note \"drips at the corner\""
	completeFirst(cmd, ledger.InspectionKinds.All())
	f := newFields(cmd)
	inspectionFields(f, record)
	entry.flags(f)
	a.asking(cmd, question{"KIND", strings.Join(ledger.InspectionKinds.All(), ", "), wordCheck(ledger.InspectionKinds)}, a.jointQuestion())
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		kind, err := ledger.InspectionKinds.Parse(args[0])
		if err != nil {
			return usage("KIND: %v", err)
		}
		joint, err := a.placeHere(args[1], 4)
		if err != nil {
			return err
		}
		if kind == ledger.TorqueAudit {
			if err := a.fillIn(f, "tool"); err != nil {
				return err
			}
		}
		if err := a.require(ctx, f, "result"); err != nil {
			return err
		}
		id, e, err := a.entry(ctx, &entry, true)
		if err != nil {
			return err
		}
		record.Name, record.Kind, record.Joint, record.Entry = "inspections/"+id, pb.InspectionKind(kind), joint.Resource(), e
		names := f.names()
		names["kind"], names["joint"] = "KIND", "JOINT"
		summary := sentence(ledger.InspectionKinds.Name(kind), wordOf(ledger.InspectionResults, record.GetResult()), joint.String())
		s := sent{kind: ledger.KindInspection, id: id, summary: summary, joint: joint.String(), names: names}
		return a.sendRecord(ctx, s, &entry, record)
	})
}

// completeFirst offers the words for the first argument.
func completeFirst(cmd *cobra.Command, words []string) {
	cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return words, cobra.ShellCompDirectiveNoFileComp
	}
}

// inspectionFields binds the flags of what an inspection tells besides its kind
// and joint.
func inspectionFields(f *fields, record *pb.Inspection) {
	wordField(f, &record.Result, ledger.InspectionResults, "result", "result", "whether all was found in order")
	sampleGiven := false
	f.bind("sample", "sample", "N", "fasteners looked at", func(text string) error {
		n, err := parseWhole(text)
		if err == nil {
			record.Sample, sampleGiven = int32(n), true
		}
		return err
	})
	f.bind("readings", "readings_newton_metres", "TORQUES", "readings parted by semicolons, such as \"30.7; 33.4 N.m\"", func(text string) error {
		readings, err := parseTorques(text)
		if err != nil {
			return err
		}
		record.ReadingsNewtonMetres = readings
		if !sampleGiven {
			record.Sample = int32(len(readings))
		}
		return nil
	})
	f.text(&record.Plan, "plan", "plan", "sampling plan that was used")
	f.resource(&record.Tool, "tools", "tool", "tool", "SERIAL", "tool that was used")
}

var trailingUnit = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`[^\d.\s][^;]*$`) })

// parseTorques reads torques parted by semicolons, in newton metres. The unit of
// the last holds for those that have none of their own.
func parseTorques(typed string) ([]float64, error) {
	parts := strings.Split(typed, ";")
	unit := quantity.TorqueUnit(0)
	if word := trailingUnit().FindString(parts[len(parts)-1]); word != "" {
		u, err := quantity.ParseTorqueUnit(strings.TrimSpace(word))
		if err != nil {
			return nil, err
		}
		unit = u
	}
	readings := make([]float64, len(parts))
	for i, part := range parts {
		v, err := quantity.ParseTorqueIn(strings.TrimSpace(part), unit)
		if err != nil {
			return nil, fmt.Errorf("reading %d of %s: %w", i+1, csvfile.Quote(typed), err)
		}
		readings[i] = float64(v)
	}
	return readings, nil
}

func inspectionColumns() []output.Column[*pb.Inspection] {
	type inspection = *pb.Inspection
	columns := idColumns[inspection]()
	columns = append(columns, placeColumns(4, "JOINT", inspection.GetJoint)...)
	columns = append(columns, []output.Column[inspection]{
		{Name: "kind", Heading: "KIND", Value: func(i inspection) any { return text(wordOf(ledger.InspectionKinds, i.GetKind())) }},
		{Name: "result", Heading: "RESULT", Value: func(i inspection) any { return text(wordOf(ledger.InspectionResults, i.GetResult())) }},
		{Name: "sample", Heading: "SAMPLE", Value: func(i inspection) any { return i.GetSample() }},
		{Name: "readings_n_m", Heading: "READINGS N.m", Value: func(i inspection) any { return i.GetReadingsNewtonMetres() }, Text: func(i inspection) string {
			parts := make([]string, len(i.GetReadingsNewtonMetres()))
			for j, v := range i.GetReadingsNewtonMetres() {
				parts[j] = rounded(v, 2)
			}
			return strings.Join(parts, "; ")
		}},
		{Name: "plan", Value: func(i inspection) any { return text(i.GetPlan()) }},
		{Name: "tool", Heading: "TOOL", Value: func(i inspection) any { return text(ledger.ShortName(i.GetTool())) }},
	}...)
	return append(columns, entryColumns[inspection]()...)
}
