package cli

import (
	"context"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/quantity"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) tightenCommand() *cobra.Command {
	var entry entryOptions
	record := &pb.Tightening{
		Pass:          pb.Pass(ledger.PassFirst),
		DrivingMethod: pb.DrivingMethod(ledger.DrivenByHand),
	}
	cmd := a.command("tighten JOINT FASTENERS", "Record that fasteners of a joint were brought to torque",
		"FASTENERS is how many reached the specified torque at their first attempt; each\n"+
			"that failed is an incident of its own. Pass is first and method hand when not\n"+
			"given.\n\n"+caution)
	cmd.Example = "  trackctl tighten rvb/ct2/c3/j014 10 --lot M10-ST-2640C --treatment anti-seize --tool TW-RVB-03 --torque \"32 N.m\""
	f := newFields(cmd)
	tighteningFields(f, record)
	entry.flags(f)
	a.asking(cmd, a.jointQuestion(), fastenersQuestion)
	return a.runs(cmd, func(ctx context.Context, args []string) error { return a.tighten(ctx, args, f, record, &entry) })
}

// tighteningFields binds the flags of what a tightening tells besides its joint
// and its number of fasteners.
func tighteningFields(f *fields, record *pb.Tightening) {
	f.resource(&record.Lot, "lots", "lot", "lot", "LOT", "lot of the fasteners")
	wordField(f, &record.Treatment, ledger.Treatments, "treatment", "treatment", "what the threads carried")
	f.text(&record.CompoundBatch, "batch", "compound_batch", "batch of the compound on the threads")
	f.resource(&record.Tool, "tools", "tool", "tool", "SERIAL", "tool that was used")
	f.bind("torque", "torque_newton_metres", "TORQUE", "set or read torque, such as \"32 N.m\" or \"24 lbf.ft\"", func(text string) error {
		v, err := quantity.ParseTorque(text)
		if err == nil {
			torque := float64(v)
			record.TorqueNewtonMetres, record.TorqueAsTyped = &torque, text
		}
		return err
	})
	wordField(f, &record.Pass, ledger.Passes, "pass", "pass", "which round it was")
	wordField(f, &record.DrivingMethod, ledger.DrivingMethods, "method", "driving_method", "how they were turned")
}

func (a *app) tighten(ctx context.Context, args []string, f *fields, record *pb.Tightening, o *entryOptions) error {
	joint, err := a.placeHere(args[0], 4)
	if err != nil {
		return err
	}
	n, err := parseCount("FASTENERS", args[1], 1, ledger.MaxFasteners)
	if err != nil {
		return err
	}
	if err := a.fillIn(f, "lot", "treatment", "batch", "tool", "torque", "method"); err != nil {
		return err
	}
	if err := a.require(ctx, f, "lot", "treatment"); err != nil {
		return err
	}
	id, entry, err := a.entry(ctx, o, true)
	if err != nil {
		return err
	}
	record.Name, record.Joint, record.Fasteners, record.Entry = "tightenings/"+id, joint.Resource(), int32(n), entry
	names := f.names()
	names["joint"], names["fasteners"] = "JOINT", "FASTENERS"
	summary := sentence(counted(int(n), "fastener"), wordOf(ledger.Passes, record.GetPass())+" pass", joint.String(), "lot "+ledger.ShortName(record.GetLot()))
	s := sent{kind: ledger.KindTightening, id: id, summary: summary, joint: joint.String(), names: names}
	return a.sendRecord(ctx, s, o, record)
}

func tighteningColumns() []output.Column[*pb.Tightening] {
	type tightening = *pb.Tightening
	columns := idColumns[tightening]()
	columns = append(columns, placeColumns(4, "JOINT", tightening.GetJoint)...)
	columns = append(columns, []output.Column[tightening]{
		{Name: "spec", Value: func(t tightening) any { return text(ledger.ShortName(t.GetSpecification())) }},
		{Name: "fasteners", Heading: "NO", Value: func(t tightening) any { return t.GetFasteners() }},
		{Name: "lot", Heading: "LOT", Value: func(t tightening) any { return ledger.ShortName(t.GetLot()) }},
		{Name: "treatment", Heading: "TREATMENT", Value: func(t tightening) any { return text(wordOf(ledger.Treatments, t.GetTreatment())) }},
		{Name: "batch", Value: func(t tightening) any { return text(t.GetCompoundBatch()) }},
		{Name: "tool", Heading: "TOOL", Value: func(t tightening) any { return text(ledger.ShortName(t.GetTool())) }},
		{Name: "torque_n_m", Heading: "N.m", Value: func(t tightening) any {
			if t.TorqueNewtonMetres == nil {
				return nil
			}
			return t.GetTorqueNewtonMetres()
		}, Text: func(t tightening) string {
			if t.TorqueNewtonMetres == nil {
				return ""
			}
			return rounded(t.GetTorqueNewtonMetres(), 2)
		}},
		{Name: "torque_as_typed", Value: func(t tightening) any { return text(t.GetTorqueAsTyped()) }},
		{Name: "pass", Heading: "PASS", Value: func(t tightening) any { return text(wordOf(ledger.Passes, t.GetPass())) }},
		{Name: "method", Value: func(t tightening) any { return text(wordOf(ledger.DrivingMethods, t.GetDrivingMethod())) }},
	}...)
	return append(columns, entryColumns[tightening]()...)
}
