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
			"a lot or of a tool is released by its id alone. Without a signal the holds are those\n"+
			"that this device carries or has placed. The decision is rework, repair,\n"+
			"use-as-is or scrap (ISO 9000:2015, 3.12). It takes\n"+releasers+".")
	cmd.Example = "  trackctl hold release 019cadd3-6bc0-77c9-9e41-58325664ba11 --decision rework --reason \"torqued again with TW-RVB-02\"\n" +
		"  trackctl hold release rvb/ct2/c3/j014 --decision rework --reason \"sealed again\""
	f := newFields(cmd)
	wordField(f, &record.Decision, ledger.Decisions, "decision", "decision", "what is done with what was held")
	f.text(&record.Reason, "reason", "reason", "why it may be released")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if a.namesJoint(args[0]) {
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
		placed, err := lookUp(ctx, a, func(ctx context.Context, conn *grpc.ClientConn) (*pb.Hold, error) {
			return pb.NewControlServiceClient(conn).GetHold(ctx, &pb.GetHoldRequest{Name: hold})
		}, func() (*pb.Hold, error) { return a.openHold(hold) })
		if err != nil {
			return err
		}
		releaseOf(record, placed, id, e)
		record.Releases = hold
		return a.sendHold(ctx, sentRelease(record, id, f), &entry, record)
	})
}

// namesJoint says whether an argument names a place rather than a hold: one with a
// slash, the code of a label, or the end of a name near the current place.
func (a *app) namesJoint(typed string) bool {
	if _, err := uuid.Parse(strings.TrimPrefix(typed, "holds/")); err == nil || strings.HasPrefix(typed, "holds/") {
		return false
	}
	if strings.Contains(typed, "/") || label.Coded(typed) {
		return true
	}
	_, somewhere, err := a.here()
	return err == nil && somewhere
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
	joint, err := a.placeHere(typed, 4)
	if err != nil {
		return err
	}
	if err := f.require("decision", "reason"); err != nil {
		return err
	}
	if o.id != "" {
		return usage("--id names one record, and a joint may have several holds; give the id of the hold instead of %s", joint)
	}
	found, err := lookUp(ctx, a, func(ctx context.Context, conn *grpc.ClientConn) (jointHolds, error) {
		return jointHoldsAt(ctx, conn, joint)
	}, func() (jointHolds, error) { return a.jointHoldsHere(joint) })
	if err != nil {
		return err
	}
	if len(found.own) == 0 {
		none := &failure{code: exitUnknown, message: joint.String() + " has no open hold of its own"}
		for _, h := range found.cell {
			none.lines = append(none.lines, heldSince(h, ""))
		}
		none.lines = append(none.lines, given("", found.remark)...)
		return none
	}
	return a.releaseAll(ctx, f, common, o, found)
}

// jointHoldsAt reads the open holds of a joint at the server.
func jointHoldsAt(ctx context.Context, conn *grpc.ClientConn, joint ledger.Place) (found jointHolds, err error) {
	filter := holdFilter{place: joint.Resource()}
	err = pages(0, onlyOpen(filter.holding(ctx, conn, joint)), func(h *pb.Hold) error {
		if h.GetPlace() == joint.Resource() {
			found.own = append(found.own, h)
		} else {
			found.cell = append(found.cell, h)
		}
		return nil
	})
	return found, err
}

// releaseAll releases the joint's own holds together and says which of its cell's are
// left.
func (a *app) releaseAll(ctx context.Context, f *fields, common *pb.Hold, o *entryOptions, found jointHolds) error {
	var records []record
	var releases []sent
	for _, placed := range found.own {
		o.id = ""
		id, e, err := a.entry(ctx, o, true)
		if err != nil {
			return err
		}
		r := &pb.Hold{Action: common.GetAction(), Decision: common.GetDecision(), Reason: common.GetReason()}
		releaseOf(r, placed, id, e)
		s := sentRelease(r, id, f)
		s.summary = sentence(s.summary, "hold "+ledger.ShortName(placed.GetName()))
		records, releases = append(records, r), append(releases, s)
	}
	last := &releases[len(releases)-1]
	for _, h := range found.cell {
		last.remark = sentence(last.remark, heldSince(h, ""))
	}
	last.remark = sentence(last.remark, found.remark)
	box, first, err := a.outboxFor(siteOfRecord(records[0]))
	if err != nil {
		return err
	}
	if first {
		return a.keepEach(ctx, box, releases, records)
	}
	conn, err := a.dial()
	if err != nil {
		return err
	}
	outcomes, err := recordDirectly(ctx, conn, records)
	if err != nil {
		return a.withoutData(a.callFailure(err, releases[0].names))
	}
	for i := range records {
		a.noteDirect(box, releases[i], records[i:i+1], outcomes[i:i+1])
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
