package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func alarmColumns() []output.Column[*pb.Alarm] {
	type alarm = *pb.Alarm
	columns := idColumns[alarm]()
	columns = append(columns, []output.Column[alarm]{
		{Name: "rule", Heading: "RULE", Value: func(v alarm) any { return ledger.ShortName(v.GetRule()) }},
		{Name: "site", Heading: "SITE", Value: func(v alarm) any { return ledger.ShortName(v.GetSite()) }},
		{Name: "lot", Heading: "LOT", Value: func(v alarm) any { return text(ledger.ShortName(v.GetLot())) }},
		{Name: "test", Value: func(v alarm) any { return text(wordOf(ledger.AlarmTests, v.GetTest())) }},
		{Name: "statistic", Value: func(v alarm) any { return v.GetStatistic() }},
		{Name: "threshold", Value: func(v alarm) any { return v.GetThreshold() }},
		{Name: "failures", Heading: "FAILURES", Value: func(v alarm) any { return v.GetFailures() }},
		{Name: "attempts", Heading: "ATTEMPTS", Value: func(v alarm) any { return v.GetAttempts() }},
		{Name: "sentence", Value: func(v alarm) any { return v.GetSentence() }},
		{Name: "cause", Value: func(v alarm) any { return v.GetCause() }},
	}...)
	return append(columns, entryColumns[alarm]()...)
}

// alarmKind is a kind of record that only the server makes, and nobody replaces.
func alarmKind() *recordKind {
	return newRecordKind(ledger.KindAlarm, "alarms", alarmColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Alarm, error) {
		return pb.NewAlarmServiceClient(conn).GetAlarm(ctx, &pb.GetAlarmRequest{Name: name})
	})
}

func (a *app) alarmsCommand() *cobra.Command {
	var limit int
	var r recordFilter
	request := &pb.ListAlarmsRequest{}
	cmd := a.command("alarms", "List the alarms that were raised", "By site, and in each site in the order in which they were raised.")
	limitFlag(cmd, &limit)
	f := newFields(cmd)
	f.resource(&request.Rule, "alarmRules", "rule", "rule", "CODE", "only of this alarm rule")
	f.site(&request.Site, "site", "site", "only at this site")
	f.resource(&request.Lot, "lots", "lot", "lot", "LOT", "only of this lot")
	r.span.flags(f)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		return list(a, limit, "alarms", alarmColumns(), func(size int32, token string) ([]*pb.Alarm, string, error) {
			request.PageSize, request.PageToken, request.StartTime, request.EndTime = size, token, r.start(), r.end()
			page, err := pb.NewAlarmServiceClient(conn).ListAlarms(ctx, request)
			return page.GetAlarms(), page.GetNextPageToken(), err
		})
	})
}
