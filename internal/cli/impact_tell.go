package cli

import (
	"fmt"
	"strings"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// tellImpact writes an impact, and what was put on hold for it.
func (a *app) tellImpact(got *pb.QueryToolImpactResponse, held *pb.HoldToolImpactResponse) error {
	if a.format == output.Table {
		return a.readImpact(got, held)
	}
	w, err := output.New(a.config(), "joints", impactJointColumns())
	if err != nil {
		return err
	}
	for _, j := range got.GetJoints() {
		if err := w.Row(j); err != nil {
			return err
		}
	}
	notes := impactNotes(got)
	if held != nil {
		notes = append(notes, output.Note{Key: "holds", Value: output.ObjectsOf(impactHoldColumns(), held.GetHolds()), Text: heldLines(held)})
	}
	return w.Close(append(notes, cautionNote(got.GetCautions()))...)
}

// impactNotes are what the answer says besides the joints in question.
func impactNotes(got *pb.QueryToolImpactResponse) []output.Note {
	return []output.Note{
		{Key: "serial", Value: ledger.ShortName(got.GetTool())},
		{Key: "headline", Value: got.GetHeadline(), Text: []string{got.GetHeadline()}},
		{Key: "start_at", Value: when(got.GetStartTime())},
		{Key: "end_at", Value: when(got.GetEndTime())},
		{Key: "as_of", Value: when(got.GetAsOfTime())},
		{Key: "calibration_id", Value: ledger.ShortName(got.GetCalibration().GetName())},
		{Key: "certificate", Value: text(got.GetCalibration().GetCertificate())},
		{Key: "last_good_calibration_id", Value: text(ledger.ShortName(got.GetLastGoodCalibration().GetName()))},
		{Key: "decision_rule", Value: text(wordOf(ledger.DecisionRules, got.GetDecisionRule()))},
		{Key: "limit_pct", Value: got.GetLimitPercent()},
		{Key: "points", Value: output.ObjectsOf(impactPointColumns(), got.GetPoints())},
		{Key: "failed_points", Value: output.ObjectsOf(impactPointColumns(), failedPoints(got))},
		{Key: "bands", Value: bandsObjects(got.GetBands())},
		{Key: "cycles", Value: got.GetCycles()},
		{Key: "gone_over", Value: output.ObjectsOf(impactJointColumns(), got.GetGoneOver())},
		{Key: "apart", Value: output.ObjectsOf(apartColumns(), got.GetApart())},
		{Key: "method", Value: got.GetMethod()},
		{Key: "assumption", Value: got.GetAssumption()},
	}
}

// impactNoteKeys are the keys beside the joints.
func impactNoteKeys() []string {
	var keys []string
	for _, n := range impactNotes(&pb.QueryToolImpactResponse{}) {
		keys = append(keys, n.Key)
	}
	return append(keys, "holds", "cautions")
}

func failedPoints(got *pb.QueryToolImpactResponse) []*pb.ImpactPoint {
	var failed []*pb.ImpactPoint
	for _, p := range got.GetPoints() {
		if p.GetFailed() {
			failed = append(failed, p)
		}
	}
	return failed
}

func bandsObjects(bands []*pb.TorqueBand) []output.Object {
	objects := make([]output.Object, len(bands))
	for i, b := range bands {
		objects[i] = output.Object{{Key: "lower_n_m", Value: pointed(b.LowerNewtonMetres)}, {Key: "upper_n_m", Value: pointed(b.UpperNewtonMetres)}}
	}
	return objects
}

// readImpact writes an impact for a person.
func (a *app) readImpact(got *pb.QueryToolImpactResponse, held *pb.HoldToolImpactResponse) error {
	if err := a.prose(got.GetHeadline()); err != nil {
		return err
	}
	if err := section(a, fmt.Sprintf("test points as found, certificate %s, limit ±%s %%, %s", certificateText(got.GetCalibration().GetCertificate()),
		rounded(got.GetLimitPercent(), 2), wordOf(ledger.DecisionRules, got.GetDecisionRule())), impactPointColumns(), got.GetPoints()); err != nil {
		return err
	}
	if err := a.prose("", "torques in question: "+bandsText(got.GetBands())); err != nil {
		return err
	}
	if err := section(a, "joints in question, the most probably wrong first", impactJointColumns(), got.GetJoints()); err != nil {
		return err
	}
	if err := section(a, "gone over since with a good tool", impactJointColumns(), got.GetGoneOver()); err != nil {
		return err
	}
	if err := section(a, "not estimated", apartColumns(), got.GetApart()); err != nil {
		return err
	}
	lines := []string{""}
	if cured := curedJoints(got); len(cured) > 0 {
		lines = append(lines, "can't be audited by turning, thread-locking compound has cured: "+strings.Join(cured, ", "), "")
	}
	if held != nil {
		lines = append(append(lines, heldLines(held)...), "")
	}
	lines = append(lines, "method: "+got.GetMethod(), "assumption: "+got.GetAssumption())
	return a.prose(append(lines, cautionNote(got.GetCautions()).Text...)...)
}

// prose writes prose for a person.
func (a *app) prose(lines ...string) error {
	for _, l := range lines {
		if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(l))); err != nil {
			return err
		}
	}
	return nil
}

func certificateText(text string) string {
	if text == "" {
		return "without a number"
	}
	return text
}

func bandsText(bands []*pb.TorqueBand) string {
	if len(bands) == 0 {
		return "none"
	}
	parts := make([]string, len(bands))
	for i, b := range bands {
		lower, upper := rounded(b.GetLowerNewtonMetres(), 2), rounded(b.GetUpperNewtonMetres(), 2)
		switch {
		case b.LowerNewtonMetres == nil && b.UpperNewtonMetres == nil:
			parts[i] = "every torque"
		case b.LowerNewtonMetres == nil:
			parts[i] = "below " + upper + " N.m"
		case b.UpperNewtonMetres == nil:
			parts[i] = "above " + lower + " N.m"
		default:
			parts[i] = "above " + lower + " and below " + upper + " N.m"
		}
	}
	return strings.Join(parts, "; ")
}

func curedJoints(got *pb.QueryToolImpactResponse) []string {
	var names []string
	for _, list := range [][]*pb.ImpactJoint{got.GetJoints(), got.GetGoneOver()} {
		for _, j := range list {
			if j.GetLockingCured() {
				names = append(names, ledger.ShortName(j.GetJoint()))
			}
		}
	}
	return names
}

// heldLines say what became of the holds.
func heldLines(held *pb.HoldToolImpactResponse) []string {
	var taken, known, released, refused []string
	for _, h := range held.GetHolds() {
		joint := ledger.ShortName(h.GetJoint())
		switch {
		case h.GetReleasedBy() != "":
			released = append(released, joint)
		case h.GetOutcome().GetState() == pb.Outcome_STATE_TAKEN:
			taken = append(taken, joint)
		case h.GetOutcome().GetState() == pb.Outcome_STATE_ALREADY_KNOWN:
			known = append(known, joint)
		default:
			refused = append(refused, joint)
		}
	}
	var lines []string
	for _, one := range []struct {
		words  string
		joints []string
	}{
		{"put on hold", taken}, {"on hold for it already", known},
		{"held for it before and released, not held anew (hold place holds a joint again)", released}, {"refused", refused},
	} {
		if n := len(one.joints); n > 0 {
			lines = append(lines, fmt.Sprintf("%s %s: %s", counted(n, "joint"), one.words, strings.Join(one.joints, ", ")))
		}
	}
	if lines == nil {
		lines = []string{"no joint was to be put on hold"}
	}
	return lines
}
