package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) alarmRuleCommand() *cobra.Command {
	n := alarmRuleNoun()
	return group("alarm-rule", "Rules by which the server watches failure rates and raises alarms",
		a.alarmRuleAdd(n), a.alarmRuleList(), n.show(a), a.alarmRuleActive(n, "stop", false), a.alarmRuleActive(n, "resume", true))
}

const alarmRuleHelp = `CODE: letters, digits, dots, underscores and hyphens.

The server counts first-pass tightenings and thread failures as they come in, by lot
over all sites or by site, and raises an alarm when the rate is likely raised; see
trackctl watch. A cusum goes on for ever; a sprt ends with a verdict on each lot or
site, for those on trial. What is to be counted can't be changed later: stop the rule
and add another.`

func alarmRuleNoun() *noun[*pb.AlarmRule] {
	return &noun[*pb.AlarmRule]{
		word: "alarm rule", plural: "alarm_rules", arg: "CODE",
		help:    "CODE is that of the rule.",
		columns: alarmRuleColumns,
		name:    collectionName("alarmRules"),
		notes:   []output.Note{alarmRuleCaution()},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.AlarmRule, error) {
			return pb.NewAlarmServiceClient(conn).GetAlarmRule(ctx, &pb.GetAlarmRuleRequest{Name: name})
		},
	}
}

func alarmRuleCaution() output.Note {
	const text = "An alarm says that a rate is likely raised, not why, and holds nothing: look at lot, tool, treatment, hands and weather, and place a hold if it must not be used meanwhile."
	return output.Note{Key: "cautions", Value: []string{text}, Text: []string{text}}
}

func alarmRuleColumns() []output.Column[*pb.AlarmRule] {
	type rule = *pb.AlarmRule
	kinds := func(r rule) []string {
		var words []string
		for _, k := range r.GetIncidentKinds() {
			words = append(words, wordOf(ledger.IncidentKinds, k))
		}
		return words
	}
	points := func(get func(*pb.AlarmPlan) int64) func(rule) any {
		return func(r rule) any {
			if r.GetTest() != pb.AlarmTest_ALARM_TEST_CUSUM {
				return nil
			}
			return get(r.GetPlan())
		}
	}
	perThousand := func(v float64) string { return fmt.Sprintf("%.4g", 1000*v) }
	return append([]output.Column[rule]{
		{Name: "code", Heading: "CODE", Value: func(r rule) any { return ledger.ShortName(r.GetName()) }},
		{Name: "description", Value: func(r rule) any { return text(r.GetDescription()) }},
		{Name: "by", Heading: "BY", Value: func(r rule) any { return text(wordOf(ledger.AlarmGroupings, r.GetGrouping())) }},
		{Name: "kinds", Heading: "KINDS", Value: func(r rule) any { return kinds(r) }, Text: func(r rule) string {
			if len(r.GetIncidentKinds()) == len(ledger.ThreadFailures()) {
				return "thread failures"
			}
			return strings.Join(kinds(r), ", ")
		}},
		{Name: "test", Heading: "TEST", Value: func(r rule) any { return text(wordOf(ledger.AlarmTests, r.GetTest())) }},
		{Name: "in_control_rate_per_attempt", Heading: "IN /1000", Value: func(r rule) any { return r.GetInControlRate() }, Text: func(r rule) string { return perThousand(r.GetInControlRate()) }},
		{Name: "out_of_control_rate_per_attempt", Heading: "OUT /1000", Value: func(r rule) any { return r.GetOutOfControlRate() }, Text: func(r rule) string { return perThousand(r.GetOutOfControlRate()) }},
		{Name: "run_length_attempts", Value: func(r rule) any { return figure(r.GetRunLengthAttempts()) }},
		{Name: "alpha", Value: func(r rule) any { return figure(r.GetAlpha()) }},
		{Name: "beta", Value: func(r rule) any { return figure(r.GetBeta()) }},
		{Name: "count_history", Value: func(r rule) any { return r.GetCountHistory() }},
		{Name: "active", Heading: "ACTIVE", Value: func(r rule) any { return r.GetActive() }},
		{Name: "gain_points", Value: points((*pb.AlarmPlan).GetGainPoints)},
		{Name: "drift_points", Value: points((*pb.AlarmPlan).GetDriftPoints)},
		{Name: "threshold_points", Value: points((*pb.AlarmPlan).GetThresholdPoints)},
		{Name: "start_points", Value: points((*pb.AlarmPlan).GetStartPoints)},
		{Name: "reject_intercept_failures", Value: func(r rule) any { return figure(r.GetPlan().GetRejectInterceptFailures()) }},
		{Name: "accept_intercept_failures", Value: func(r rule) any { return figure(r.GetPlan().GetAcceptInterceptFailures()) }},
		{Name: "slope_failures_per_attempt", Value: func(r rule) any { return figure(r.GetPlan().GetSlopeFailuresPerAttempt()) }},
		{Name: "false_alarm_attempts", Value: func(r rule) any { return figure(r.GetPlan().GetFalseAlarmAttempts()) }},
		{Name: "found_attempts", Value: func(r rule) any { return figure(r.GetPlan().GetFoundAttempts()) }},
		{Name: "summary", Value: func(r rule) any { return text(r.GetPlan().GetSummary()) }},
	}, stamped[rule]()...)
}

func (a *app) alarmRuleAdd(n *noun[*pb.AlarmRule]) *cobra.Command {
	rule := &pb.AlarmRule{}
	request := &pb.CreateAlarmRuleRequest{AlarmRule: rule}
	cmd := a.command("add CODE", "Register an alarm rule", alarmRuleHelp+"\nThe same content again changes nothing.")
	cmd.Example = "  trackctl alarm-rule add GALL-LOT --by lot --kind galling --in-control 2/1000 --out-of-control 8/1000\n" +
		"  trackctl alarm-rule add NEW-LOTS --by lot --test sprt --in-control 0.002 --out-of-control 0.01 --dry-run"
	f := newFields(cmd)
	f.text(&rule.Description, "description", "description", "what it is for")
	wordField(f, &rule.Grouping, ledger.AlarmGroupings, "by", "grouping", "whose failures are counted together")
	var failures []string
	for _, k := range ledger.ThreadFailures() {
		failures = append(failures, ledger.IncidentKinds.Name(k))
	}
	f.words("kind", "incident_kinds", "thread failures that count as failures; all when not given", failures, func(word string) error {
		k, err := ledger.IncidentKinds.Parse(word)
		if err == nil && !slices.Contains(rule.IncidentKinds, pb.IncidentKind(k)) {
			rule.IncidentKinds = append(rule.IncidentKinds, pb.IncidentKind(k))
		}
		return err
	})
	wordField(f, &rule.Test, ledger.AlarmTests, "test", "test", "cusum when not given")
	rateFlag(f, &rule.InControlRate, "in-control", "the rate that is as it should be, failures per attempt")
	rateFlag(f, &rule.OutOfControlRate, "out-of-control", "the raised rate that is to be found soon; twice the in-control rate when not given")
	aboveZeroFlag(f, &rule.RunLengthAttempts, "false-alarm-after", "attempts to a false alarm on average, for each lot or site; those with 50 failures when not given")
	shareFlag(f, &rule.Alpha, "alpha", "risk of an alarm at the in-control rate, of a sprt; 0.05 when not given")
	shareFlag(f, &rule.Beta, "beta", "risk of none at the out-of-control rate, of a sprt; 0.10 when not given")
	f.boolean(&rule.CountHistory, "history", "count_history", "count what is on record already, too")
	f.boolean(&request.ValidateOnly, "dry-run", "", "say what it would buy, and keep nothing")
	for flag, path := range map[string]string{"in-control": "in_control_rate", "out-of-control": "out_of_control_rate",
		"false-alarm-after": "run_length_attempts", "alpha": "alpha", "beta": "beta"} {
		f.paths[flag] = path
	}
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		name, err := n.name(args[0])
		if err != nil {
			return err
		}
		if err := f.require("by", "in-control"); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		request.AlarmRuleId = lastOf(name)
		got, err := pb.NewAlarmServiceClient(conn).CreateAlarmRule(ctx, request)
		if err != nil {
			return a.callFailure(err, f.names())
		}
		verb := "kept"
		if request.ValidateOnly {
			verb = "not kept, --dry-run"
		}
		return kept(a, n.plural, n.columns(), got, "%s: alarm rule %s\n%s", verb, ledger.ShortName(got.GetName()),
			output.Wrap(output.Printable(got.GetPlan().GetSummary()))+"\n"+output.Wrap(alarmRuleCaution().Text[0]))
	})
}

func (a *app) alarmRuleList() *cobra.Command {
	var limit int
	request := &pb.ListAlarmRulesRequest{}
	cmd := a.command("list", "List alarm rules", "")
	limitFlag(cmd, &limit)
	newFields(cmd).boolean(&request.OnlyActive, "active", "only_active", "only those that are active")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		return list(a, limit, "alarm_rules", alarmRuleColumns(), func(size int32, token string) ([]*pb.AlarmRule, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := pb.NewAlarmServiceClient(conn).ListAlarmRules(ctx, request)
			return page.GetAlarmRules(), page.GetNextPageToken(), err
		})
	})
}

// alarmRuleActive makes the command that stops a rule, or lets it go on.
func (a *app) alarmRuleActive(n *noun[*pb.AlarmRule], word string, active bool) *cobra.Command {
	short, long := "Stop applying an alarm rule", "Its alarms stay, and its counters stand where they are until it is resumed."
	if active {
		short, long = "Go on with an alarm rule that was stopped", "It goes on from where it stood, and counts what came in meanwhile."
	}
	return a.runs(a.command(word+" CODE", short, long), func(ctx context.Context, args []string) error {
		name, err := n.name(args[0])
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := pb.NewAlarmServiceClient(conn).UpdateAlarmRule(ctx, &pb.UpdateAlarmRuleRequest{
			AlarmRule: &pb.AlarmRule{Name: name, Active: &active}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"active"}},
		})
		if err != nil {
			return err
		}
		state := map[bool]string{true: "goes on", false: "is stopped"}[active]
		return kept(a, n.plural, n.columns(), got, "alarm rule %s %s", ledger.ShortName(got.GetName()), state)
	})
}
