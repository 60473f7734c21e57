package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	pb "jointledger/proto/jointledger/v1"
)

// reliabilityFlags are the flags of reliability.
type reliabilityFlags struct {
	families *pb.QueryReliabilityRequest
	drifts   *pb.ListToolDriftsRequest
	drift    bool
	limit    int
}

func (a *app) reliabilityCommand() *cobra.Command {
	o := reliabilityFlags{families: &pb.QueryReliabilityRequest{}, drifts: &pb.ListToolDriftsRequest{}}
	cmd := a.command("reliability", "How many tools were in tolerance when they came back, and how long their interval should be",
		"A family is tools of one kind, one type and class and one band of maximum torque. An\n"+
			"interval runs from a calibration that left the tool good to the next one with\n"+
			"readings as found. It is lengthened on enough results only, and never by much at\n"+
			"once. With --drift it lists how each tool drifted at each test point, and draws the\n"+
			"one that drifts fastest, or those of the tools named.")
	cmd.Example = "  trackctl reliability --kind torque-wrench --target 0.95\n  trackctl reliability --drift\n  trackctl reliability --drift --tool TW-RVB-01"
	f := newFields(cmd)
	a.reliabilityFlags(f, &o)
	asOf := momentOf(f)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewReadinessServiceClient(conn)
		if o.drift {
			for _, name := range []string{"target", "growth-cap", "fewest"} {
				if cmd.Flags().Changed(name) {
					return usage("--%s says nothing about drift; leave it out with --drift", name)
				}
			}
			o.drifts.Kinds, o.drifts.TypeClasses = o.families.GetKinds(), o.families.GetTypeClasses()
			o.drifts.Confidence, o.drifts.AsOfTime = o.families.Confidence, stamp(*asOf)
			return a.drift(ctx, client, f, o)
		}
		for _, name := range []string{"tool", "limit"} {
			if cmd.Flags().Changed(name) {
				return usage("--%s needs --drift; a family is not judged by single tools", name)
			}
		}
		o.families.AsOfTime = stamp(*asOf)
		got, err := client.QueryReliability(ctx, o.families)
		if err != nil {
			return a.callFailure(err, listedNames(f, len(o.families.GetTypeClasses())))
		}
		return a.tellReliability(got)
	})
}

// listedNames are the flags of the fields, each type and class by itself.
func listedNames(f *fields, classes int) map[string]string {
	names := f.names()
	for i := range classes {
		names[fmt.Sprintf("type_classes[%d]", i)] = "--class"
	}
	return names
}

func (a *app) reliabilityFlags(f *fields, o *reliabilityFlags) {
	f.words("kind", "kinds", "only tools of these kinds", ledger.ToolKinds.All(), func(word string) error {
		kind, err := ledger.ToolKinds.Parse(word)
		if err == nil {
			o.families.Kinds = append(o.families.Kinds, pb.ToolKind(kind))
		}
		return err
	})
	var classes []string
	for _, c := range metrology.ToolClasses() {
		classes = append(classes, c.Code())
	}
	f.words("class", "type_classes", "only tools of these types and classes of ISO 6789-1", classes, func(word string) error {
		o.families.TypeClasses = append(o.families.TypeClasses, word)
		return nil
	})
	for _, n := range []struct {
		name, path, help string
		into             **float64
	}{
		{"target", "target", "reliability wanted at the end of the interval, above 0 and below 1; 0.95 when not given", &o.families.Target},
		{"confidence", "confidence", "confidence of every interval, above 0 and below 1; 0.95 when not given", &o.families.Confidence},
		{"growth-cap", "growth_cap", "the most that an interval is lengthened in one step, as a factor from 1 to 10; 1.5 when not given", &o.families.GrowthCap},
	} {
		f.optionalNumber(n.into, n.name, n.path, n.help)
	}
	f.bind("fewest", "fewest_results", "N", "the fewest results from which an interval is lengthened, at least 1; 20 when not given", func(text string) error {
		n, err := parseWhole(text)
		if err == nil {
			fewest := int32(n)
			o.families.FewestResults = &fewest
		}
		return err
	})
	f.bind("tool", "tools", "SERIAL", "with --drift, only this tool; again for another", func(text string) error {
		name, err := resourceArg(text, "tools")
		if err == nil {
			o.drifts.Tools = append(o.drifts.Tools, name)
		}
		return err
	})
	f.cmd.Flags().BoolVar(&o.drift, "drift", false, "list how each tool drifted over its calibrations")
	limitFlag(f.cmd, &o.limit)
}

func (a *app) tellReliability(got *pb.QueryReliabilityResponse) error {
	var sentences, leftOut []string
	for _, f := range got.GetFamilies() {
		sentences = append(sentences, f.GetSentence())
	}
	var left []output.Object
	for _, l := range got.GetLeftOut() {
		left = append(left, output.Object{{Key: "reason", Value: l.GetReason()}, {Key: "intervals", Value: l.GetIntervals()}})
		leftOut = append(leftOut, fmt.Sprintf("left out: %s, %s", counted(int(l.GetIntervals()), "interval"), l.GetReason()))
	}
	notes := []output.Note{
		{Key: "headline", Value: got.GetHeadline(), Text: []string{got.GetHeadline()}},
		{Text: sentences},
		{Key: "left_out", Value: left, Text: leftOut},
		{Key: "as_of", Value: when(got.GetAsOfTime())},
		{Key: "target", Value: got.GetTarget()},
		{Key: "confidence", Value: got.GetConfidence()},
		{Key: "method", Value: got.GetMethod(), Text: given("method: ", got.GetMethod())},
		{Key: "assumption", Value: got.GetAssumption(), Text: given("assumed: ", got.GetAssumption())},
		cautionNote(got.GetCautions()),
	}
	return told(a, "families", familyColumns(got.GetConfidence()), got.GetFamilies(), notes)
}

func familyColumns(confidence float64) []output.Column[*pb.FamilyReliability] {
	type family = *pb.FamilyReliability
	percent := func(v float64) string { return rounded(100*v, 1) }
	return []output.Column[family]{
		{Name: "family", Heading: "FAMILY", Value: func(f family) any { return f.GetFamily() }},
		{Name: "kind", Value: func(f family) any { return text(wordOf(ledger.ToolKinds, f.GetKind())) }},
		{Name: "type_class", Value: func(f family) any { return text(f.GetTypeClass()) }},
		{Name: "band", Value: func(f family) any { return text(f.GetBand()) }},
		{Name: "tools", Heading: "TOOLS", Value: func(f family) any { return f.GetTools() }},
		{Name: "calibrations", Heading: "CALIBRATIONS", Value: func(f family) any { return f.GetCalibrations() }},
		{Name: "in_tolerance", Heading: "IN TOLERANCE", Value: func(f family) any { return f.GetInTolerance() }},
		{Name: "reliability", Heading: "%", Value: func(f family) any { return f.GetReliability() }, Text: func(f family) string { return percent(f.GetReliability()) }},
		{Heading: percentText(confidence) + " INTERVAL", Text: func(f family) string { return percent(f.GetLower()) + " to " + percent(f.GetUpper()) }},
		{Name: "lower", Value: func(f family) any { return f.GetLower() }},
		{Name: "upper", Value: func(f family) any { return f.GetUpper() }},
		{Name: "p_below_target", Heading: "p", Value: func(f family) any { return f.GetPBelowTarget() }, Text: func(f family) string { return pText(f.GetPBelowTarget()) }},
		{Heading: "NOW, MONTHS", Text: func(f family) string { return rounded(f.GetMonths().GetPresent(), 1) }},
		{Heading: "ADVICE", Text: func(f family) string { return adviceText(f.GetMonths()) }},
		{Name: "months", Value: func(f family) any { return adviceObject(f.GetMonths()) }},
		{Name: "cycles", Value: func(f family) any { return adviceObject(f.GetCycles()) }},
		{Name: "sentence", Value: func(f family) any { return f.GetSentence() }},
	}
}

// adviceText is what to do with an interval.
func adviceText(a *pb.IntervalAdvice) string {
	word := wordOf(analysis.IntervalActions, a.GetAction())
	if a.GetAction() == pb.IntervalAction_INTERVAL_ACTION_KEEP {
		return word
	}
	return word + " to " + rounded(a.GetRecommended(), 1)
}

// adviceObject is the advice on an interval; null when there is none.
func adviceObject(a *pb.IntervalAdvice) any {
	if a == nil {
		return nil
	}
	return output.Object{
		{Key: "present", Value: a.GetPresent()}, {Key: "present_from_policy", Value: a.GetPresentFromPolicy()},
		{Key: "estimate", Value: pointed(a.Estimate)}, {Key: "lower", Value: pointed(a.Lower)}, {Key: "upper", Value: pointed(a.Upper)},
		{Key: "model", Value: text(a.GetModel())}, {Key: "action", Value: text(wordOf(analysis.IntervalActions, a.GetAction()))},
		{Key: "recommended", Value: a.GetRecommended()}, {Key: "reason", Value: text(a.GetReason())},
	}
}
