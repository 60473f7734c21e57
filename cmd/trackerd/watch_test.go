package main

import (
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// nextAlarm waits for the next alarm of a watch.
func nextAlarm(t *testing.T, w pb.AlarmService_WatchAlarmsClient) *pb.Alarm {
	t.Helper()
	for {
		m, err := w.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if m.Alarm != nil {
			return m.Alarm
		}
	}
}

// TestEveryServerTellsOfAlarms has one of three servers lead and raise alarms. Clients
// that watch any of them are told, also after the one that led was killed.
func TestEveryServerTellsOfAlarms(t *testing.T) {
	dsn := startCluster(t).DSN("postgres")
	fleetOn(t, dsn)
	s := serversOn(t, dsn, 3)
	rule := &pb.AlarmRule{Grouping: pb.AlarmGrouping_ALARM_GROUPING_LOT,
		IncidentKinds: []pb.IncidentKind{pb.IncidentKind_INCIDENT_KIND_GALLING}, InControlRate: 0.02, OutOfControlRate: 0.2, RunLengthAttempts: 200}
	if _, err := pb.NewAlarmServiceClient(s.conns[0]).CreateAlarmRule(t.Context(), &pb.CreateAlarmRuleRequest{AlarmRuleId: "GALL", AlarmRule: rule}); err != nil {
		t.Fatal(err)
	}
	var watches []pb.AlarmService_WatchAlarmsClient
	for _, conn := range s.conns {
		w, err := pb.NewAlarmServiceClient(conn).WatchAlarms(t.Context(), &pb.WatchAlarmsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if m, err := w.Recv(); err != nil || m.Alarm != nil {
			t.Fatalf("the first message: %v, %v; expected that the watch has begun", m, err)
		}
		watches = append(watches, w)
	}
	gall := func(lot string, by int) {
		r := storetest.NewIncident(ledger.Galling, storetest.DenverJoint, func(r *ledger.Incident) {
			r.Entry.ID, r.OccurTime, r.Lot, r.Fasteners = uuid.Must(uuid.NewV7()), ledger.Microseconds(time.Now()), lot, 40
		})
		answer, err := pb.NewAssemblyServiceClient(s.conns[by]).RecordIncidents(t.Context(), &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{wire.IncidentTo(r)}})
		if err != nil || answer.Outcomes[0].State != pb.Outcome_STATE_TAKEN {
			t.Fatal(answer, err)
		}
	}
	leader := func() int {
		return slices.IndexFunc(s.each, func(p *program) bool { return strings.Contains(p.log.String(), "this server leads") })
	}
	for deadline := time.Now().Add(patience); leader() < 0; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("no server leads")
		}
	}
	first := leader()
	gall(storetest.StainlessLot, (first+1)%3) // by a server that does not lead
	raised := ""
	for i, w := range watches {
		a := nextAlarm(t, w)
		if a.Lot != "lots/"+storetest.StainlessLot || raised != "" && a.Name != raised {
			t.Errorf("server %d tells of %v; expected the alarm %s", i, a, raised)
		}
		raised = a.Name
	}
	s.each[first].signal(os.Kill)
	gall(storetest.OtherStainlessLot, (first+2)%3)
	for i, w := range watches {
		if i == first {
			continue
		}
		if a := nextAlarm(t, w); a.Lot != "lots/"+storetest.OtherStainlessLot {
			t.Errorf("after the leader was killed, server %d tells of %v", i, a)
		}
	}
}
