package section

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// ReadTool reads the section of a tool.
func ReadTool(name string, content []byte) (t known.ToolPast, err error) {
	r, m := &reading{name: name}, &pb.CarriedTool{}
	if err := r.parse(content, m); err != nil {
		return t, err
	}
	t = known.ToolPast{Tool: wire.ToolFrom(&r.problems, m.GetTool()), Holds: r.spans(m.GetHolds())}
	t.Tool.Serial, t.Tool.Revision = wire.ToolName(&r.problems, "name", m.GetTool().GetName()), r.revision(m.GetTool())
	if t.Home, err = time.LoadLocation(m.GetHomeTimeZone()); err != nil {
		r.problems.Add("home_time_zone", "the zone %q is not known to this program", m.GetHomeTimeZone())
	}
	for _, v := range m.GetCalibrations() {
		if c := kept[*ledger.Calibration](r, v); c != nil {
			t.Calibrations = append(t.Calibrations, *c)
		}
	}
	for _, v := range m.GetCustody() {
		t.Custody = append(t.Custody, r.custody(t.Tool.Serial, v))
	}
	for _, v := range m.GetDroppedTimes() {
		t.Dropped = append(t.Dropped, r.problems.Time("dropped_times", v))
	}
	for _, v := range m.GetChecks() {
		t.Checks = append(t.Checks, analysis.ActionDone{
			Action: wire.Word[ledger.PolicyAction](v.GetAction()), At: r.problems.Time("occur_time", v.GetOccurTime()), Failed: v.GetFailed(),
		})
	}
	t.Uses = r.uses(m.GetUses())
	return t, r.done()
}

func (r *reading) custody(serial string, m *pb.CarriedCustody) ledger.Custody {
	id, err := uuid.FromBytes(m.GetId())
	if err != nil {
		r.problems.Add("custody.id", "%v", err)
	}
	return ledger.Custody{
		Entry: ledger.Entry{ID: id, OccurTime: r.problems.Time("custody.occur_time", m.GetOccurTime())},
		Tool:  serial, Kind: wire.Word[ledger.CustodyKind](m.GetKind()),
		Site: r.problems.Site("custody.site", m.GetSite()), Holder: r.problems.Reference("custody.holder", "people", m.GetHolder()),
	}
}

func (r *reading) uses(m *pb.CarriedUses) []analysis.Use {
	n := len(m.GetTimeSteps())
	if len(m.GetFasteners()) != n {
		r.problems.Add("uses", "has lists of different lengths")
		return nil
	}
	var uses []analysis.Use
	at := int64(0)
	for i, step := range m.GetTimeSteps() {
		at += step
		uses = append(uses, analysis.Use{At: time.UnixMicro(at).UTC(), Fasteners: int64(m.GetFasteners()[i])})
	}
	return uses
}
