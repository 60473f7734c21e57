package cli

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

const impactHelp = `SERIAL is a torque tool; without it, the tools are listed of which a calibration
failed as found, each with the newest such calibration. A calibration counts by its
readings alone, whatever its certificate says, held against ISO 6789-1:2017 for the
tool's type and class. In question are the joints tightened with the tool from its
last good calibration up to the failed one, in the torques beside the test points
that failed: with the torque that each probably got, the most probably wrong first.
JSON and CSV are a re-check list; CSV has the joints in question.

--hold puts on hold, all at once, every joint in question; with --at-least only those
whose probability of a torque outside its limits is at least that, and those without
a probability; or those of --joint. What is on hold for this calibration is not held
twice, and what was released is not held anew.`

// impactOptions are the flags of impact.
type impactOptions struct {
	query  pb.QueryToolImpactRequest
	sites  []string
	limit  int
	asOf   time.Time
	hold   bool
	joints []string
	least  *float64
	reason string
	entry  entryOptions
}

func (a *app) impactCommand() *cobra.Command {
	o := &impactOptions{}
	cmd := a.command("impact [SERIAL]", "What a tool that failed its calibration did to joints", impactHelp+"\n\n"+output.Wrap(caution))
	cmd.Example = "  trackctl impact\n  trackctl impact TW-RVB-02 --output csv\n" +
		"  trackctl impact TW-RVB-02 --hold --at-least 5% --person ab --reason \"wrench failed, recheck\""
	f := newFields(cmd)
	o.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if err := o.check(f, args); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewImpactServiceClient(conn)
		if len(args) == 0 {
			return a.listFailed(ctx, client, o, f)
		}
		if o.query.Tool, err = resourceArg(args[0], "tools"); err != nil {
			return err
		}
		names := f.names()
		names["tool"] = "SERIAL"
		var held *pb.HoldToolImpactResponse
		if o.hold {
			if held, err = a.holdImpact(ctx, client, o); err != nil {
				return a.callFailure(err, names)
			}
		}
		got, err := client.QueryToolImpact(ctx, &o.query)
		if err != nil {
			return a.callFailure(err, names)
		}
		if err := a.tellImpact(got, held); err != nil {
			return err
		}
		return refusedHolds(held, names)
	})
}

func (o *impactOptions) flags(f *fields) {
	calibration := func(dst *string, name, path, help string) {
		f.bind(name, path, "UUID", help, func(text string) (err error) {
			*dst, err = recordArg("--"+name, text, "calibrations")
			return err
		})
	}
	calibration(&o.query.Calibration, "calibration", "calibration", "the calibration to ask about, whether it failed or not; the newest that failed as found when not given")
	calibration(&o.query.LastGoodCalibration, "from", "last_good_calibration", "the calibration to reckon from; the newest before that left the tool good when not given")
	wordField(f, &o.query.DecisionRule, ledger.DecisionRules, "rule", "decision_rule", "by which readings are accepted; simple-acceptance when not given")
	f.asOf(&o.asOf)
	f.bind("site", "sites", "SITE", "without SERIAL: only tools of this site; again for another", func(text string) error {
		site, err := siteOf(text)
		if err == nil {
			o.sites = append(o.sites, site)
		}
		return err
	})
	f.cmd.Flags().IntVar(&o.limit, "limit", 0, "without SERIAL: show at most `N`; all when 0")
	f.cmd.Flags().BoolVar(&o.hold, "hold", false, "put joints on hold; needs --person and --reason")
	f.bind("at-least", "minimum_probability", "PROBABILITY", "with --hold: least probability that holds a joint, such as 5% or 0.05", func(text string) error {
		p, err := parseProbability(text)
		if err == nil {
			o.least = &p
		}
		return err
	})
	f.bind("joint", "joints", "JOINT", "with --hold: hold this joint and no others but those named so", func(text string) error {
		joint, err := placeArg(text, 4)
		if err == nil {
			o.joints = append(o.joints, joint.Resource())
		}
		return err
	})
	f.text(&o.reason, "reason", "reason", "with --hold: why, at most 200 characters; the impact is named before it")
	f.moment(&o.entry.at, "at", "entry.occur_time", "with --hold: when it was decided; now when not given")
	f.text(&o.entry.device, "device", "entry.device", "with --hold: name of the device that it is entered on")
	f.text(&o.entry.note, "note", "entry.note", "with --hold: free text")
	f.boolean(&o.entry.offline, "offline", "entry.offline", "with --hold: it comes late from paper or from a device without signal")
}

// parseProbability reads a share of one, or a number of percent.
func parseProbability(text string) (float64, error) {
	number, percent := strings.CutSuffix(strings.TrimSpace(text), "%")
	v, problem := csvfile.ParseNumber(strings.TrimSpace(number))
	if percent {
		v /= 100
	}
	if problem != "" || v < 0 || v > 1 {
		return 0, fmt.Errorf("expected a probability from 0 to 1, such as 5%% or 0.05, got %s", csvfile.Quote(text))
	}
	return math.Abs(v), nil // -0 is 0
}

// check refuses flags that have nothing to do with what is asked.
func (o *impactOptions) check(f *fields, args []string) error {
	given := func(names ...string) string {
		for _, n := range names {
			if f.cmd.Flags().Changed(n) {
				return n
			}
		}
		return ""
	}
	if len(args) == 0 {
		if n := given("calibration", "from", "hold"); n != "" {
			return usage("--%s needs SERIAL", n)
		}
	} else if n := given("site", "limit"); n != "" {
		return usage("--%s stands only without SERIAL", n)
	}
	if !o.hold {
		if n := given("at-least", "joint", "reason", "at", "device", "note", "offline"); n != "" {
			return usage("--%s stands only with --hold", n)
		}
	} else if err := f.require("reason"); err != nil {
		return err
	}
	if o.least != nil && len(o.joints) > 0 {
		return usage("--at-least and --joint both say which joints; expected one of them")
	}
	o.query.AsOfTime = stamp(o.asOf)
	return nil
}

// holdImpact puts the joints on hold.
func (a *app) holdImpact(ctx context.Context, client pb.ImpactServiceClient, o *impactOptions) (*pb.HoldToolImpactResponse, error) {
	_, entry, err := a.entry(ctx, &o.entry, true)
	if err != nil {
		return nil, err
	}
	return client.HoldToolImpact(ctx, &pb.HoldToolImpactRequest{
		Tool: o.query.GetTool(), Calibration: o.query.GetCalibration(), LastGoodCalibration: o.query.GetLastGoodCalibration(),
		DecisionRule: o.query.GetDecisionRule(), AsOfTime: o.query.GetAsOfTime(),
		MinimumProbability: o.least, Joints: o.joints, Reason: o.reason, Entry: entry,
	})
}

// refusedHolds is the failure for joints that could not be put on hold.
func refusedHolds(held *pb.HoldToolImpactResponse, names map[string]string) error {
	var first *failure
	n := 0
	for _, h := range held.GetHolds() {
		if h.GetOutcome().GetState() != pb.Outcome_STATE_REFUSED {
			continue
		}
		if n++; first == nil {
			first = refused(h.GetOutcome().GetRefusal(), names)
		}
	}
	if first == nil {
		return nil
	}
	first.lines = append(first.lines, fmt.Sprintf("%d of %s not held", n, counted(len(held.GetHolds()), "joint")))
	return first
}

func (a *app) listFailed(ctx context.Context, client pb.ImpactServiceClient, o *impactOptions, f *fields) error {
	request := &pb.ListFailedCalibrationsRequest{DecisionRule: o.query.GetDecisionRule(), AsOfTime: o.query.GetAsOfTime(), Sites: o.sites}
	return list(a, o.limit, "failed_calibrations", failedColumns(), func(size int32, token string) ([]*pb.FailedCalibration, string, error) {
		request.PageSize, request.PageToken = size, token
		page, err := client.ListFailedCalibrations(ctx, request)
		if err != nil {
			return nil, "", a.callFailure(err, f.names())
		}
		return page.GetFailedCalibrations(), page.GetNextPageToken(), nil
	}, torqueCaution())
}

func failedColumns() []output.Column[*pb.FailedCalibration] {
	type failed = *pb.FailedCalibration
	return []output.Column[failed]{
		{Name: "serial", Heading: "SERIAL", Value: func(f failed) any { return ledger.ShortName(f.GetTool()) }},
		{Name: "site", Heading: "SITE", Value: func(f failed) any { return text(ledger.ShortName(f.GetSite())) }},
		{Name: "at", Heading: "FAILED AT", Value: func(f failed) any { return when(f.GetOccurTime()) }},
		{Name: "certificate", Heading: "CERTIFICATE", Value: func(f failed) any { return text(f.GetCertificate()) }},
		{Name: "failed_points_n_m", Heading: "POINTS N.m", Value: func(f failed) any {
			targets := []float64{}
			for _, p := range f.GetFailedPoints() {
				targets = append(targets, p.GetTargetNewtonMetres())
			}
			return targets
		}},
		{Name: "worst_pct", Heading: "WORST %", Value: func(f failed) any { return pointed(f.WorstPercent) }, Text: func(f failed) string {
			if f.WorstPercent == nil {
				return "no torque"
			}
			return fmt.Sprintf("%+.1f", f.GetWorstPercent())
		}},
		{Name: "joints", Heading: "JOINTS", Value: func(f failed) any { return f.GetJoints() }},
		{Name: "gone_over", Heading: "GONE OVER", Value: func(f failed) any { return f.GetGoneOver() }},
		{Name: "without_torque", Heading: "NO TORQUE KNOWN", Value: func(f failed) any { return f.GetWithoutTorque() }},
		{Name: "start_at", Value: func(f failed) any { return when(f.GetStartTime()) }},
		{Name: "calibration_id", Value: func(f failed) any { return ledger.ShortName(f.GetCalibration()) }},
		{Name: "last_good_calibration_id", Value: func(f failed) any { return text(ledger.ShortName(f.GetLastGoodCalibration())) }},
	}
}
