package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// EntryCommands are the commands that enter a record, by their words: those that take
// its id, and those that make one otherwise, each found in the table of commands.
func EntryCommands() []string {
	var names []string
	var walk func(*cobra.Command, []string)
	walk = func(cmd *cobra.Command, path []string) {
		path = append(slices.Clone(path), cmd.Name())
		for _, c := range cmd.Commands() {
			walk(c, path)
		}
		name := strings.Join(path, " ")
		if cmd.Runnable() && (cmd.Flags().Lookup("id") != nil || slices.Contains(entersOtherwise, name)) {
			names = append(names, name)
		}
	}
	for _, c := range (&app{}).commands(nil) {
		walk(c, nil)
	}
	slices.Sort(names)
	return names
}

// entersOtherwise are commands that enter records and take no id: undo makes its own,
// enter has a column for them.
var entersOtherwise = []string{"undo", "enter"}
