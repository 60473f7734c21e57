package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) remainingCommand() *cobra.Command {
	var limit int
	cmd := a.command("remaining PLACE", "Joints that are not accepted yet or on hold, and why",
		"PLACE is a site, tower, cell or joint. A joint is planned, sealed, tightened,\n"+
			"inspected or accepted; a hold on it or on its cell lies across any of these.")
	cmd.Example = "  trackctl remaining rvb/ct2/c3"
	limitFlag(cmd, &limit)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		place, err := placeArg(args[0], 1, 2, 3, 4)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewProgressServiceClient(conn)
		return a.tellRemaining(place, limit, func(size int32, token string) ([]*pb.JointStatus, string, error) {
			page, err := client.ListJointStates(ctx, &pb.ListJointStatesRequest{Place: place.Resource(), RemainingOnly: true, PageSize: size, PageToken: token})
			return page.GetJoints(), page.GetNextPageToken(), err
		})
	})
}

func (a *app) tellRemaining(place ledger.Place, limit int, read fetch[*pb.JointStatus]) error {
	if limit < 0 {
		return usage("--limit: expected a number of at least 0, got %d", limit)
	}
	w, err := output.New(a.config(), "joints", jointStatusColumns())
	if err != nil {
		return err
	}
	var sum remainingSum
	err = pages(0, read, func(j *pb.JointStatus) error {
		sum.add(j) // the sums are of all, whatever is shown
		if limit > 0 && sum.joints > int64(limit) {
			return nil
		}
		return w.Row(j)
	})
	if err != nil {
		return err
	}
	return w.Close(sum.notes(place)...)
}

// remainingSum adds up the joints that are left.
type remainingSum struct {
	joints, onHold int64
	states         map[pb.JointState]int64
	holds          []*pb.Hold
	seen           map[string]bool
}

func (s *remainingSum) add(j *pb.JointStatus) {
	if s.states == nil {
		s.states, s.seen = map[pb.JointState]int64{}, map[string]bool{}
	}
	s.joints++
	s.states[j.GetState()]++
	if len(j.GetOpenHolds()) > 0 {
		s.onHold++
	}
	for _, h := range j.GetOpenHolds() {
		if !s.seen[h.GetName()] { // a cell's hold is that of all its joints
			s.seen[h.GetName()] = true
			s.holds = append(s.holds, h)
		}
	}
}

func (s *remainingSum) notes(place ledger.Place) []output.Note {
	states, words := stateCounts(s.states)
	total := output.Note{Key: "remaining", Value: s.joints}
	hold := output.Note{Key: "on_hold", Value: s.onHold}
	if s.joints == 0 {
		total.Text = []string{"every joint of " + place.String() + " is accepted, and none is on hold"}
	} else {
		total.Text = []string{fmt.Sprintf("%s left: %s; %d on hold", counted(int(s.joints), "joint"), words, s.onHold)}
	}
	for _, h := range s.holds {
		hold.Text = append(hold.Text, heldSince(h))
	}
	if len(s.holds) > 0 {
		hold.Text = append(hold.Text, releasers+" may release them with trackctl hold release")
	}
	return []output.Note{{Key: "place", Value: place.String()}, total, {Key: "states", Value: states}, hold}
}

// stateCounts gives the numbers of joints by state, for programs and for people.
func stateCounts(counts map[pb.JointState]int64) (output.Object, string) {
	var object output.Object
	var words []string
	for i, word := range ledger.JointStates.All() {
		n := counts[pb.JointState(i+1)]
		object = append(object, output.Member{Key: word, Value: n})
		if n > 0 {
			words = append(words, fmt.Sprintf("%d %s", n, word))
		}
	}
	return object, strings.Join(words, ", ")
}

func jointStatusColumns() []output.Column[*pb.JointStatus] {
	type status = *pb.JointStatus
	columns := placeColumns(4, "JOINT", func(s status) string { return s.GetJoint().GetName() })
	return append(columns, []output.Column[status]{
		{Name: "kind", Heading: "KIND", Value: func(s status) any { return text(wordOf(ledger.JointKinds, s.GetJoint().GetKind())) }},
		{Name: "critical", Heading: "CRITICAL", Value: func(s status) any { return s.GetJoint().GetCritical() }},
		{Name: "spec", Heading: "SPEC", Value: func(s status) any { return text(ledger.ShortName(s.GetJoint().GetSpecification())) }},
		{Name: "state", Heading: "STATE", Value: func(s status) any { return text(wordOf(ledger.JointStates, s.GetState())) }},
		{Name: "fasteners", Value: func(s status) any { return s.GetJoint().GetFasteners() }},
		{Name: "tightened", Value: func(s status) any { return s.GetTightened() }},
		{Heading: "TIGHTENED", Text: func(s status) string {
			return fmt.Sprintf("%d of %d", s.GetTightened(), s.GetJoint().GetFasteners())
		}},
		{Name: "tightened_at", Value: func(s status) any { return when(s.GetTightenedTime()) }},
		{Name: "on_hold", Value: func(s status) any { return len(s.GetOpenHolds()) > 0 }},
		{Name: "open_holds", Heading: "ON HOLD", Value: func(s status) any { return openHoldObjects(s.GetOpenHolds()) }, Text: func(s status) string {
			var why []string
			for _, h := range s.GetOpenHolds() {
				if h.GetRule() != "" {
					why = append(why, h.GetRule())
				} else {
					why = append(why, "by "+ledger.ShortName(h.GetEntry().GetPerson()))
				}
			}
			return strings.Join(why, ", ")
		}},
	}...)
}

// openHoldObjects are the holds of an answer about something else.
func openHoldObjects(holds []*pb.Hold) []output.Object {
	var columns []output.Column[*pb.Hold]
	for _, c := range holdColumns() {
		switch c.Name {
		case "id", "at", "place", "lot", "serial", "site", "rule", "cause", "reason", "person":
			columns = append(columns, c)
		}
	}
	return output.ObjectsOf(columns, holds)
}
