package cli

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

// jsonAnswer says what the JSON of some commands looks like.
type jsonAnswer struct {
	commands string
	// key holds the rows, each with the members; notes stand beside it.
	key            string
	members, notes []string
}

func answerOf[T any](commands, key string, columns []output.Column[T], notes ...string) jsonAnswer {
	return jsonAnswer{commands, key, membersOf(columns), notes}
}

// membersOf are the names that the columns have in JSON and CSV.
func membersOf[T any](columns []output.Column[T]) []string {
	var names []string
	for _, c := range columns {
		if c.Name != "" {
			names = append(names, c.Name)
		}
	}
	return names
}

// thing says what the commands of a noun answer.
func thing[T interface{ GetName() string }](n *noun[T], word string, notes ...string) jsonAnswer {
	return answerOf(word+" add, list, show, set", n.plural, n.columns(), notes...)
}

// jsonAnswers are the answers of the commands of this release, made of the columns
// that the commands are written with.
func jsonAnswers() []jsonAnswer {
	return append(thingAnswers(), append(recordAnswers(), questionAnswers()...)...)
}

func thingAnswers() []jsonAnswer {
	return []jsonAnswer{
		thing(siteNoun(), "site"), thing(towerNoun(), "tower"), thing(cellNoun(), "cell"), thing(jointNoun(), "joint"),
		thing(specNoun(), "spec", "cautions"), thing(lotNoun(), "lot"), thing(batchNoun(), "batch"),
		thing(substitutionNoun(), "substitution", "cautions"),
		answerOf("tool add, list, set", "tools", toolColumns()), answerOf("tool show", "tools", toolColumns(), toolShowKeys...),
		thing(personNoun(), "person"),
		answerOf("tool policies", "policies", policyDefaultColumns(), "cautions"),
		answerOf("alarm-rule add, list, show, stop, resume", "alarm_rules", alarmRuleColumns(), "cautions"),
		answerOf("lot stock", "stocks", lotStockColumns("")),
		answerOf("lot where", "joints", lotUseColumns(), "lot", "stocks", "incidents", "open_holds", "alarms"),
	}
}

func recordAnswers() []jsonAnswer {
	answers := []jsonAnswer{
		answerOf("tighten, incident, seal, inspect, custody, tool lend, tool take-back, tool send, tool receive, tool lost, tool dropped, tool overloaded, tool repaired, hold place, hold release, decide, sign-off, withdraw, movement add, tool check, undo, pending mend, pending withdraw, pending resend",
			"outcomes", answerColumns(sent{})),
		answerOf("calibration add", "outcomes", answerColumns(sent{calibration: func() (*pb.Calibration, error) { return nil, nil }})),
		{"(the verdict of a calibration)", "verdict", membersOf(verdictColumns()), nil},
		answerOf("correct", "outcomes", answerColumns(sent{replacement: "given"})),
		{"(a finding, wherever findings are)", "findings", membersOf(findingColumns()), nil},
	}
	for _, r := range []struct{ word, key string }{
		{"tightenings", "tightenings"}, {"incidents", "incidents"}, {"sealings", "sealings"}, {"inspections", "inspections"}, {"calibrations", "calibrations"},
		{"movements", "movements"}, {"custody", "custody_changes"}, {"holds", "holds"}, {"dispositions", "dispositions"}, {"sign-offs", "sign_offs"}, {"corrections", "corrections"},
		{"tool-checks", "tool_checks"},
	} {
		for _, k := range recordKinds() {
			if k.key == r.key {
				answers = append(answers, jsonAnswer{"record list " + r.word + ", record show", r.key, k.members, nil})
			}
		}
	}
	return append(answers,
		answerOf("alarms, record show (watch: each alarm an object on a line of its own)", "alarms", alarmColumns()),
		answerOf("hold list", "holds", holdColumns((*holdCauses)(nil).column())),
		answerOf("pending", "entries", pendingColumns(), "waiting", "refused"),
		answerOf("pending show", "entries", append(pendingColumns(), output.Column[pendingEntry]{Name: "content"})),
		answerOf("send", "deliveries", sendColumns()),
		answerOf("attach, attachments", "attachments", attachmentColumns()),
		answerOf("attachment save", "attachments", savedColumns()),
	)
}

func questionAnswers() []jsonAnswer {
	return []jsonAnswer{
		answerOf("settings", "settings", settingColumns()),
		answerOf("setup", "written", writtenColumns()),
		answerOf("doctor", "checks", checkColumns()),
		answerOf("prove", "proofs", proofColumns()),
		answerOf("at", "in_hand", inHandColumns(time.Time{}), "cautions"),
		answerOf("sheet", "joints", sheetColumns(), "place", "as_of", "source", "cautions"),
		answerOf("enter", "records", enteredColumns(), enteredNoteKeys...),
		answerOf("import", "files", importColumns(), "problems", "findings"),
		answerOf("remaining", "joints", jointStatusColumns(nil), "place", "has_joints", "remaining", "states", "on_hold"),
		answerOf("progress", "days", progressColumns(), "place", "as_of", "joints", "finished", "remaining", "states", "on_hold", "planned_finish", "finish", "cautions"),
		answerOf("history", "items", historyColumns(), "joint", "cautions"),
		answerOf("findings", "findings", recordFindingColumns()),
		answerOf("findings --count", "counts", findingCountColumns()),
		answerOf("rate", "groups", rateColumns(nil, 0.95), "total", "method", "assumption", "cautions"),
		answerOf("due", "items", dueColumns(), "as_of", "cautions"),
		answerOf("tool out", "tools", whereaboutsColumns()),
		answerOf("crib (and out, back_today, on_hold as to_lend)", "to_lend", cribToolColumns(), cribNoteKeys...),
		answerOf("compare", "comparisons", comparedColumns("", "", "", forestAxis(nil)), append(comparedNotes, analysisNotes...)...),
		answerOf("standing", "units", standingColumns("", 1), append(standingNotes, analysisNotes...)...),
		answerOf("trend", "points", trendColumns(), append(trendNotes, analysisNotes...)...),
		answerOf("alarm", "steps", alarmStepColumns(), append(alarmNotes, analysisNotes...)...),
		answerOf("alarm --test sprt", "steps", sprtColumns(false), append(sprtNotes, analysisNotes...)...),
		answerOf("spares", "items", sparesColumns(), append(sparesNotes, analysisNotes...)...),
		answerOf("model", "coefficients", modelColumns("", ""), append(modelNotes, analysisNotes...)...),
		answerOf("leaks", "bands", leakColumns(""), append(leakNotes, analysisNotes...)...),
		answerOf("impact", "failed_calibrations", failedColumns(), "cautions"),
		answerOf("impact SERIAL (gone_over as joints)", "joints", impactJointColumns(), impactNoteKeys()...),
		answerOf("impact SERIAL (apart)", "apart", apartColumns()),
		answerOf("impact SERIAL (failed_points as points)", "points", impactPointColumns()),
		answerOf("impact SERIAL --hold (holds)", "holds", impactHoldColumns()),
		answerOf("carry", "carried_sites", (&app{}).carriedColumns(), "cautions"),
		answerOf("coverage", "cells", cellCoverageColumns(), "gaps", "notes", "as_of", "weeks", "method", "assumption", "cautions"),
		answerOf("coverage --only-gaps", "gaps", gapColumns(), "notes", "as_of", "weeks", "method", "assumption", "cautions"),
		answerOf("ready", "lines", kitAnswerColumns(), "place", "ready", "verdict", "finish_date", "finish_planned", "as_of", "method", "assumption", "cautions"),
		answerOf("reliability", "families", familyColumns(0.95), "headline", "left_out", "as_of", "target", "confidence", "method", "assumption", "cautions"),
		answerOf("reliability --drift", "drifts", driftColumns(), "cautions"),
	}
}

// jsonHelp describes the JSON of every command.
func jsonHelp() string {
	var b strings.Builder
	b.WriteString("With --output json every answer is one object. Its rows stand under a plural key;\n" +
		"what belongs to the answer besides stands under the keys named with \"and\". Names\n" +
		"carry their unit; numbers have their full precision; times are RFC 3339; what is not\n" +
		"given is null. Names keep their meaning from release to release, and new ones may\n" +
		"come. CSV has the same names as its heading; lists in a cell are parted by semicolons.\n" +
		"Parquet has the same names as its columns, typed by their values; what belongs to the\n" +
		"answer besides is in its footer under the same keys.\n" +
		"Groups of rate begin with the groupings asked for. A finish is null when it is\n" +
		"reached or can't be told. p_value of a coefficient of model is the likelihood-ratio\n" +
		"test's, or Wald's where its note says so; wald_z and wald_p_value are Wald's test.\n")
	for _, a := range jsonAnswers() {
		fmt.Fprintf(&b, "\n%s\n", output.Wrap(a.commands))
		line := "  " + a.key + ": " + strings.Join(a.members, ", ")
		if len(a.notes) > 0 {
			line += "; and " + strings.Join(a.notes, ", ")
		}
		b.WriteString(output.Wrap(line) + "\n")
	}
	return b.String()
}

func jsonCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "json", Short: "The names in JSON and CSV answers, by command", Long: "The names in JSON and CSV answers, by command."}
	// Made when it is asked for: every start of the program would pay for it.
	cmd.SetHelpFunc(func(cmd *cobra.Command, _ []string) { fmt.Fprint(cmd.OutOrStdout(), jsonHelp()) })
	return cmd
}
