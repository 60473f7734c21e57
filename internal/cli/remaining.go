package cli

import (
	"cmp"
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
	cmd := a.command("remaining [PLACE]", "Joints that are not accepted yet or on hold, and why",
		"PLACE is a site, tower, cell or joint. A joint is planned, sealed, tightened,\n"+
			"inspected or accepted; a hold on it or on its cell lies across any of these.\n\nPLACE: "+placeHelp)
	cmd.Example = "  trackctl remaining rvb/ct2/c3\n  trackctl remaining c4"
	limitFlag(cmd, &limit)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		place, err := a.placeAsked(args, 1, 2, 3, 4)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewProgressServiceClient(conn)
		read := func(remainingOnly bool) fetch[*pb.JointStatus] {
			return func(size int32, token string) ([]*pb.JointStatus, string, error) {
				page, err := client.ListJointStates(ctx, &pb.ListJointStatesRequest{Place: place.Resource(), RemainingOnly: remainingOnly, PageSize: size, PageToken: token})
				return page.GetJoints(), page.GetNextPageToken(), err
			}
		}
		return a.tellRemaining(place, limit, read, newHoldCauses(ctx, conn))
	})
}

func (a *app) tellRemaining(place ledger.Place, limit int, read func(remainingOnly bool) fetch[*pb.JointStatus], causes *holdCauses) error {
	if limit < 0 {
		return usage("--limit: expected a number of at least 0, got %d", limit)
	}
	w, err := output.New(a.config(), "joints", jointStatusColumns(causes))
	if err != nil {
		return err
	}
	sum := remainingSum{causes: causes}
	err = pages(0, read(true), func(j *pb.JointStatus) error {
		sum.add(j) // the sums are of all, whatever is shown
		if limit > 0 && sum.joints > int64(limit) {
			return nil
		}
		return w.Row(j)
	})
	if err == nil && sum.joints == 0 {
		// Nothing left is either everything done or nothing there.
		err = pages(1, read(false), func(*pb.JointStatus) error { sum.accepted = true; return nil })
	}
	notes := sum.notes(place)
	if err = cmp.Or(err, causes.err); err != nil {
		return err
	}
	return w.Close(notes...)
}

// noJoints says of a place that it is empty, which is not the same as finished.
func noJoints(place ledger.Place) string { return "there are no joints at " + place.String() }

// remainingSum adds up the joints that are left.
type remainingSum struct {
	joints, onHold int64
	states         map[pb.JointState]int64
	holds          []*pb.Hold
	seen           map[string]bool
	// accepted says that there are joints, when none is left.
	accepted bool
	causes   *holdCauses
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
	// What is accepted is only left because it is on hold.
	states, words := stateCounts(s.states, "accepted but on hold")
	total := output.Note{Key: "remaining", Value: s.joints}
	hold := output.Note{Key: "on_hold", Value: s.onHold}
	switch {
	case s.joints == 0 && !s.accepted:
		total.Text = []string{noJoints(place)}
	case s.joints == 0:
		total.Text = []string{"every joint of " + place.String() + " is accepted, and none is on hold"}
	default:
		total.Text = []string{fmt.Sprintf("%s left: %s; %d on hold", counted(int(s.joints), "joint"), words, s.onHold)}
	}
	for _, h := range s.holds {
		hold.Text = append(hold.Text, heldSince(h, s.causes.correctedBy(h)))
	}
	if len(s.holds) > 0 {
		hold.Text = append(hold.Text, releasers+" may release them with trackctl hold release")
	}
	return []output.Note{{Key: "place", Value: place.String()}, {Key: "has_joints", Value: s.joints > 0 || s.accepted}, total, {Key: "states", Value: states}, hold}
}

// stateCounts gives the numbers of joints by state, for programs and for people, to
// whom accepted says what the accepted ones are.
func stateCounts(counts map[pb.JointState]int64, accepted string) (output.Object, string) {
	var object output.Object
	var words []string
	for i, word := range ledger.JointStates.All() {
		n := counts[pb.JointState(i+1)]
		object = append(object, output.Member{Key: word, Value: n})
		if i+1 == int(ledger.JointAccepted) {
			word = accepted
		}
		if n > 0 {
			words = append(words, fmt.Sprintf("%d %s", n, word))
		}
	}
	return object, strings.Join(words, ", ")
}

// jointStatusColumns are the columns of a joint and its state; causes may be nil
// where only their names are of interest.
func jointStatusColumns(causes *holdCauses) []output.Column[*pb.JointStatus] {
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
		{Name: "open_holds", Heading: "ON HOLD", Value: func(s status) any { return openHoldObjects(s.GetOpenHolds(), causes) }, Text: func(s status) string {
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

// openHoldObjects are the holds of an answer about something else; causes are nil
// where nobody looked whether they were corrected.
func openHoldObjects(holds []*pb.Hold, causes *holdCauses) []output.Object {
	var columns []output.Column[*pb.Hold]
	all := holdColumns()
	if causes != nil {
		all = holdColumns(causes.column())
	}
	for _, c := range all {
		switch c.Name {
		case "id", "at", "place", "lot", "serial", "site", "rule", "cause", "cause_corrected_by", "reason", "person":
			columns = append(columns, c)
		}
	}
	return output.ObjectsOf(columns, holds)
}
