package cli

import (
	"context"
	"errors"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/output"
	"jointledger/internal/label"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) holdRelease() *cobra.Command {
	var entry entryOptions
	record := &pb.Hold{Action: pb.HoldAction_HOLD_ACTION_RELEASED}
	cmd := a.command("release HOLD", "Release a hold, or all open holds of a joint",
		"HOLD is the id of an open hold, which hold list shows, or a joint: then all of its\n"+
			"open holds are released with the one decision and reason. A hold of its cell, of\n"+
			"a lot or of a tool is released by its id alone. The decision is rework, repair,\n"+
			"use-as-is or scrap (ISO 9000:2015, 3.12). It takes\n"+releasers+".")
	cmd.Example = "  trackctl hold release 019cadd3-6bc0-77c9-9e41-58325664ba11 --decision rework --reason \"torqued again with TW-RVB-02\"\n" +
		"  trackctl hold release rvb/ct2/c3/j014 --decision rework --reason \"sealed again\""
	f := newFields(cmd)
	wordField(f, &record.Decision, ledger.Decisions, "decision", "decision", "what is done with what was held")
	f.text(&record.Reason, "reason", "reason", "why it may be released")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if namesJoint(args[0]) {
			return a.releaseJoint(ctx, args[0], f, record, &entry)
		}
		hold, err := recordArg("HOLD", args[0], "holds")
		if err != nil {
			return err
		}
		if err := f.require("decision", "reason"); err != nil {
			return err
		}
		id, e, err := a.entry(ctx, &entry, true)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		placed, err := pb.NewControlServiceClient(conn).GetHold(ctx, &pb.GetHoldRequest{Name: hold})
		if err != nil {
			return err
		}
		releaseOf(record, placed, id, e)
		record.Releases = hold
		return a.sendHold(ctx, sentRelease(record, id, f), &entry, record)
	})
}

// namesJoint says whether an argument names a place rather than a hold.
func namesJoint(typed string) bool {
	_, err := uuid.Parse(strings.TrimPrefix(typed, "holds/"))
	return err != nil && !strings.HasPrefix(typed, "holds/") && (strings.Contains(typed, "/") || label.Coded(typed))
}

// releaseOf makes record the release of a hold that was placed.
func releaseOf(record, placed *pb.Hold, id string, e *pb.Entry) {
	record.Name, record.Releases, record.Entry = "holds/"+id, placed.GetName(), e
	record.Place, record.Lot, record.Tool, record.Site = placed.GetPlace(), placed.GetLot(), placed.GetTool(), placed.GetSite()
}

func sentRelease(record *pb.Hold, id string, f *fields) sent {
	names := f.names()
	names["releases"] = "HOLD"
	return sent{kind: ledger.KindHold, id: id, names: names,
		summary: sentence("released: "+held(record), wordOf(ledger.Decisions, record.GetDecision()), record.GetReason())}
}

// releaseJoint releases all open holds of a joint. What was released meanwhile is
// left out when it is sent again, so that no id need be kept.
func (a *app) releaseJoint(ctx context.Context, typed string, f *fields, common *pb.Hold, o *entryOptions) error {
	joint, err := placeArg(typed, 4)
	if err != nil {
		return err
	}
	if err := f.require("decision", "reason"); err != nil {
		return err
	}
	if o.id != "" {
		return usage("--id names one record, and a joint may have several holds; give the id of the hold instead of %s", joint)
	}
	conn, err := a.dial()
	if err != nil {
		return err
	}
	filter := holdFilter{place: joint.Resource()}
	var own, cell []*pb.Hold
	err = pages(0, onlyOpen(filter.holding(ctx, conn, joint)), func(h *pb.Hold) error {
		if h.GetPlace() == joint.Resource() {
			own = append(own, h)
		} else {
			cell = append(cell, h)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if len(own) == 0 {
		none := &failure{code: exitUnknown, message: joint.String() + " has no open hold of its own"}
		for _, h := range cell {
			none.lines = append(none.lines, heldSince(h, ""))
		}
		return none
	}
	return a.releaseAll(ctx, conn, f, common, o, own, cell)
}

// releaseAll releases the joint's own holds in one call and says which of its
// cell's are left.
func (a *app) releaseAll(ctx context.Context, conn *grpc.ClientConn, f *fields, common *pb.Hold, o *entryOptions, own, cell []*pb.Hold) error {
	request := &pb.RecordHoldsRequest{}
	var releases []sent
	for _, placed := range own {
		o.id = ""
		id, e, err := a.entry(ctx, o, true)
		if err != nil {
			return err
		}
		record := &pb.Hold{Action: common.GetAction(), Decision: common.GetDecision(), Reason: common.GetReason()}
		releaseOf(record, placed, id, e)
		s := sentRelease(record, id, f)
		s.summary = sentence(s.summary, "hold "+ledger.ShortName(placed.GetName()))
		request.Holds, releases = append(request.Holds, record), append(releases, s)
	}
	for _, h := range cell {
		releases[len(releases)-1].remark = sentence(releases[len(releases)-1].remark, heldSince(h, ""))
	}
	outcomes, err := outcomesOf(pb.NewControlServiceClient(conn).RecordHolds(ctx, request))
	if err != nil {
		return a.callFailure(err, releases[0].names)
	}
	return a.tellOutcomes(releases, outcomes)
}

// tellOutcomes answers for several records that were sent together: each that was
// kept, and the first that was refused with how many were.
func (a *app) tellOutcomes(records []sent, outcomes []*pb.Outcome) error {
	if len(outcomes) != len(records) {
		return &failure{code: exitInternal, message: "the server answered for another number of records than were sent"}
	}
	w, err := output.New(a.config(), "outcomes", answerColumns(sent{}))
	if err != nil {
		return err
	}
	var first *failure
	refusals := 0
	for i, s := range records {
		var f *failure
		err := a.tellEach(w, s, outcomes[i])
		switch {
		case errors.As(err, &f):
			refusals++
			if first == nil {
				first = f
			}
		case err != nil:
			return err
		}
	}
	if a.format != output.Table {
		if err := w.Close(); err != nil {
			return err
		}
	}
	if first == nil {
		return nil
	}
	if len(records) > 1 {
		first.lines = append(first.lines, counted(refusals, "release")+" refused of "+counted(len(records), "hold"))
	}
	return first
}

// tellEach answers for one of several records.
func (a *app) tellEach(w output.Writer[answer], s sent, o *pb.Outcome) error {
	if a.format == output.Table {
		return a.tellOutcome(s, []*pb.Outcome{o})
	}
	state, ok := outcomeStates[o.GetState()]
	if !ok {
		return refused(o.GetRefusal(), s.names)
	}
	return w.Row(answer{sent: s, state: state, findings: bySeverity(o.GetFindings())})
}

// outcomeStates are the words of what became of a record that was not refused.
var outcomeStates = map[pb.Outcome_State]string{
	pb.Outcome_STATE_TAKEN:         "taken",
	pb.Outcome_STATE_ALREADY_KNOWN: "already-known",
}
