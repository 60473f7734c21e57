package main

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// tightening is a call with one record of so many fasteners.
func tightening(id string, fasteners int32) *call {
	return &call{tightenings: []*pb.Tightening{{Name: "tightenings/" + id, Fasteners: fasteners}}}
}

func outcome(s pb.Outcome_State) []*pb.Outcome { return []*pb.Outcome{{State: s}} }

// The checker sees each thing that must not be, and nothing in what is sound.
func TestTheCheckerSees(t *testing.T) {
	const taken, known = pb.Outcome_STATE_TAKEN, pb.Outcome_STATE_ALREADY_KNOWN
	lostReply := status.Error(codes.Unavailable, "error reading from server: EOF")
	for name, tc := range map[string]struct {
		told          func(*answers)
		found         map[string]int
		lost, doubled int
		unknown, kept int
		problem       string // empty for none
	}{
		"sound": {told: func(a *answers) { a.take(tightening("1", 1), outcome(taken)) }, found: map[string]int{"tightenings/1": 1}},
		"lost":  {told: func(a *answers) { a.take(tightening("1", 1), outcome(taken)) }, found: map[string]int{}, lost: 1, problem: "acknowledged and is lost"},
		"on record twice": {told: func(a *answers) { a.take(tightening("1", 1), outcome(taken)) }, found: map[string]int{"tightenings/1": 2},
			doubled: 1, problem: "on record 2 times"},
		"taken twice": {told: func(a *answers) {
			a.take(tightening("1", 1), outcome(taken))
			a.take(tightening("1", 1), outcome(taken))
		}, found: map[string]int{"tightenings/1": 1}, doubled: 1, problem: "taken 2 times"},
		"a lost reply to what was kept": {told: func(a *answers) {
			a.fail(tightening("1", 1), lostReply)
			a.take(tightening("1", 1), outcome(known))
		}, found: map[string]int{"tightenings/1": 1}, unknown: 1, kept: 1},
		"a lost reply to what was not kept": {told: func(a *answers) {
			a.fail(tightening("1", 1), lostReply)
			a.take(tightening("1", 1), outcome(taken))
		}, found: map[string]int{"tightenings/1": 1}, unknown: 1},
		"on record and never told": {told: func(a *answers) { a.fail(tightening("1", 1), lostReply) }, found: map[string]int{"tightenings/1": 1},
			unknown: 1, problem: "the writer was never told"},
		"from nowhere": {told: func(*answers) {}, found: map[string]int{"tightenings/1": 1}, problem: "nobody sent it"},
	} {
		t.Run(name, func(t *testing.T) {
			a, l := newAnswers(), &line{}
			tc.told(a)
			a.compare(tc.found, l)
			if l.Lost != tc.lost || l.Doubled != tc.doubled || l.Unknown != tc.unknown || l.Kept != tc.kept {
				t.Errorf("%d lost, %d doubled, %d unknown, %d kept of these; expected %d, %d, %d, %d", l.Lost, l.Doubled, l.Unknown, l.Kept, tc.lost, tc.doubled, tc.unknown, tc.kept)
			}
			first := strings.Join(l.problems.first, "; ")
			if tc.problem == "" && first != "" || !strings.Contains(first, tc.problem) {
				t.Errorf("problems %q; expected %q", first, tc.problem)
			}
		})
	}
}

// What a correction withdraws counts no more, and what it puts in the place does.
func TestAttemptsAreCountedAnew(t *testing.T) {
	a := newAnswers()
	a.take(tightening("1", 12), outcome(pb.Outcome_STATE_TAKEN))
	a.take(tightening("2", 5), outcome(pb.Outcome_STATE_TAKEN))
	a.take(&call{incident: &pb.Incident{Name: "incidents/3", Fasteners: 1}}, outcome(pb.Outcome_STATE_TAKEN))
	instead := &call{correction: &pb.Correction{Name: "corrections/4", Corrects: "tightenings/1",
		Replacement: &pb.Correction_Tightening{Tightening: &pb.Tightening{Name: "tightenings/5", Fasteners: 10}}}}
	a.take(instead, append(outcome(pb.Outcome_STATE_TAKEN), outcome(pb.Outcome_STATE_TAKEN)...))
	a.fail(tightening("6", 100), status.Error(codes.Unavailable, "EOF"))
	if got := a.attempts(); got != 16 {
		t.Errorf("%d attempts; expected 16: 5 and 10 fasteners that stand, and a thread that galled", got)
	}
}
