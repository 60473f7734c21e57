package cli

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) sealCommand() *cobra.Command {
	var entry entryOptions
	record := &pb.Sealing{}
	cmd := a.command("seal JOINT", "Record that sealant was laid on a joint's flanges",
		"What was measured is checked against the specification and the maker's limits:\n"+
			"the surface's temperature and its distance from the dew point, the time since\n"+
			"cleaning, the width, the splices, the batch's shelf life. A sealing that breaks a\n"+
			"rule is kept all the same, and said so.")
	cmd.Example = "  trackctl seal rvb/ct2/c3/j021 --sealant strip --batch SE-05 --width \"25.4 mm\" --air \"12 C\" --surface \"11.5 C\" --humidity 62 --splice corner"
	f := newFields(cmd)
	sealingFields(f, record)
	entry.flags(f)
	a.asking(cmd, a.jointQuestion())
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		joint, err := a.placeHere(args[0], 4)
		if err != nil {
			return err
		}
		if err := a.require(ctx, f, "sealant"); err != nil {
			return err
		}
		id, e, err := a.entry(ctx, &entry, true)
		if err != nil {
			return err
		}
		record.Name, record.Joint, record.Entry = "sealings/"+id, joint.Resource(), e
		names := f.names()
		names["joint"] = "JOINT"
		batch := ""
		if record.GetBatch() != "" {
			batch = "batch " + record.GetBatch()
		}
		s := sent{kind: ledger.KindSealing, id: id, summary: sentence("sealed", joint.String(), record.GetSealant(), batch), joint: joint.String(), names: names}
		return a.sendRecord(ctx, s, &entry, record)
	})
}

// sealingFields binds the flags of what a sealing tells besides its joint.
func sealingFields(f *fields, record *pb.Sealing) {
	f.text(&record.Sealant, "sealant", "sealant", "kind of sealant as the specification names it, such as strip")
	f.text(&record.Batch, "batch", "batch", "batch of the sealant")
	f.length(&record.WidthMillimetres, "width", "width_millimetres", "width of the sealant")
	f.text(&record.Solvent, "solvent", "solvent", "solvent used for cleaning")
	f.bind("cleaned-at", "clean_time", "TIME", "when the flanges were cleaned, such as "+csvfile.TimeExample, func(text string) error {
		t, err := csvfile.ParseTime(text)
		if err == nil {
			record.CleanTime = timestamppb.New(t)
		}
		return err
	})
	f.temperature(&record.AirCelsius, "air", "air_celsius", "temperature of the air")
	f.temperature(&record.SurfaceCelsius, "surface", "surface_celsius", "temperature of the surface")
	f.bind("humidity", "humidity_percent", "PERCENT", "relative humidity, above 0 and at most 100, such as 62", func(text string) error {
		v, problem := csvfile.ParseNumber(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "%")))
		if problem != "" {
			return fmt.Errorf("%s", problem)
		}
		record.HumidityPercent = &v
		return nil
	})
	wordField(f, &record.Splice, ledger.Splices, "splice", "splice", "where the strip was joined")
	f.optionalBool(&record.FlangeStraight, "flange-straight", "flange_straight", "whether the flange was straight or made so")
}

// optionalBool makes a flag for yes or no that may be left open.
func (f *fields) optionalBool(dst **bool, name, path, help string) {
	f.bind(name, path, "BOOL", help+": true or false", func(text string) error {
		v, err := strconv.ParseBool(strings.ToLower(text))
		if err != nil {
			return fmt.Errorf("expected true or false, got %s", csvfile.Quote(text))
		}
		*dst = &v
		return nil
	})
	f.cmd.Flags().Lookup(name).NoOptDefVal = "true"
}

func sealingColumns() []output.Column[*pb.Sealing] {
	type sealing = *pb.Sealing
	columns := idColumns[sealing]()
	columns = append(columns, placeColumns(4, "JOINT", sealing.GetJoint)...)
	columns = append(columns, []output.Column[sealing]{
		{Name: "spec", Value: func(s sealing) any { return text(ledger.ShortName(s.GetSpecification())) }},
		{Name: "sealant", Heading: "SEALANT", Value: func(s sealing) any { return text(s.GetSealant()) }},
		{Name: "batch", Heading: "BATCH", Value: func(s sealing) any { return text(s.GetBatch()) }},
		{Name: "width_mm", Heading: "mm", Value: func(s sealing) any { return figure(s.GetWidthMillimetres()) }},
		{Name: "solvent", Value: func(s sealing) any { return text(s.GetSolvent()) }},
		{Name: "cleaned_at", Value: func(s sealing) any {
			if s.GetCleanTime() == nil {
				return nil
			}
			_, offset := occurred(s.GetEntry()).Zone()
			return s.GetCleanTime().AsTime().In(time.FixedZone("", offset))
		}},
		{Name: "air_c", Heading: "AIR °C", Value: func(s sealing) any { return pointed(s.AirCelsius) }},
		{Name: "surface_c", Heading: "SURFACE °C", Value: func(s sealing) any { return pointed(s.SurfaceCelsius) }},
		{Name: "humidity_pct", Heading: "% RH", Value: func(s sealing) any { return pointed(s.HumidityPercent) }},
		{Name: "splice", Heading: "SPLICE", Value: func(s sealing) any { return text(wordOf(ledger.Splices, s.GetSplice())) }},
		{Name: "flange_straight", Value: func(s sealing) any {
			if s.FlangeStraight == nil {
				return nil
			}
			return s.GetFlangeStraight()
		}},
	}...)
	return append(columns, entryColumns[sealing]()...)
}
