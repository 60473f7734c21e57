package cli

import (
	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfolder"
)

// commandTable are the commands by their names, in the order of help. Each is made
// only when it is needed: an entry on the deck should not wait for the flags of
// eighty others.
var commandTable = []struct {
	name string
	make func(*app) *cobra.Command
}{
	{"site", (*app).siteCommand},
	{"tower", (*app).towerCommand},
	{"cell", (*app).cellCommand},
	{"joint", (*app).jointCommand},
	{"spec", (*app).specCommand},
	{"lot", (*app).lotCommand},
	{"batch", (*app).batchCommand},
	{"substitution", (*app).substitutionCommand},
	{"tool", (*app).toolCommand},
	{"person", (*app).personCommand},
	{"calibration", (*app).calibrationCommand},
	{"movement", (*app).movementCommand},
	{"setup", (*app).setupCommand},
	{"settings", (*app).settingsCommand},
	{"doctor", (*app).doctorCommand},
	{"at", (*app).atCommand},
	{"tighten", (*app).tightenCommand},
	{"incident", (*app).incidentCommand},
	{"seal", (*app).sealCommand},
	{"inspect", (*app).inspectCommand},
	{"custody", (*app).custodyCommand},
	{"hold", (*app).holdCommand},
	{"decide", (*app).decideCommand},
	{"sign-off", (*app).signOffCommand},
	{"correct", (*app).correctCommand},
	{"withdraw", (*app).withdrawCommand},
	{"record", (*app).recordCommand},
	{"pending", (*app).pendingCommand},
	{"send", (*app).sendCommand},
	{"undo", (*app).undoCommand},
	{"sheet", newSheetCommand},
	{"enter", (*app).enterCommand},
	{"import", (*app).importCommand},
	{"rate", (*app).rateCommand},
	{"due", (*app).dueCommand},
	{"crib", (*app).cribCommand},
	{"impact", (*app).impactCommand},
	{"remaining", (*app).remainingCommand},
	{"progress", (*app).progressCommand},
	{"history", (*app).historyCommand},
	{"findings", (*app).findingsCommand},
	{"compare", (*app).compareCommand},
	{"standing", (*app).standingCommand},
	{"trend", (*app).trendCommand},
	{"alarm", (*app).alarmCommand},
	{"spares", (*app).sparesCommand},
	{"model", (*app).modelCommand},
	{"leaks", (*app).leaksCommand},
	{"attach", (*app).attachCommand},
	{"attachments", (*app).attachmentsCommand},
	{"attachment", (*app).attachmentCommand},
	{"version", (*app).versionCommand},
	{"exit-codes", func(*app) *cobra.Command {
		return &cobra.Command{Use: "exit-codes", Short: "The codes that trackctl exits with", Long: exitCodesHelp}
	}},
	{"import-format", func(*app) *cobra.Command {
		return &cobra.Command{Use: "import-format", Short: "The files and columns that import takes", Long: csvfolder.Format()}
	}},
	{"json", func(*app) *cobra.Command { return jsonCommand() }},
	{"reckon", newReckonCommand},
	{"rules", newRulesCommand},
	{"labels", newLabelsCommand},
	{"handover", newHandoverCommand},
	{"coverage", (*app).coverageCommand},
	{"ready", (*app).readyCommand},
	{"reliability", (*app).reliabilityCommand},
	{"alarm-rule", (*app).alarmRuleCommand},
	{"alarms", (*app).alarmsCommand},
	{"watch", (*app).watchCommand},
	{"report", (*app).qualityReportCommand},
	{"carry", (*app).carryCommand},
	{"shift", (*app).shiftCommand},
	{"prove", (*app).proveCommand},
}

// commands makes the command that the first argument names, or all of them where it
// names none: for help, for completion, and to say what comes near.
func (a *app) commands(args []string) []*cobra.Command {
	var all []*cobra.Command
	for _, c := range commandTable {
		if len(args) > 0 && args[0] == c.name {
			return []*cobra.Command{c.make(a)}
		}
	}
	for _, c := range commandTable {
		all = append(all, c.make(a))
	}
	return all
}
