package cli

import (
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
)

// instead makes a command that takes no arguments say what was probably meant by one;
// say gives it for the first.
func instead(cmd *cobra.Command, say func(arg string) string) {
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		return usage("%s takes no arguments, got %s: %s", cmd.CommandPath(), csvfile.Quote(args[0]), say(args[0]))
	}
}

// narrowedByFlags makes a list that is narrowed by flags alone name the flag for an
// argument that it got.
func narrowedByFlags(cmd *cobra.Command) {
	instead(cmd, func(arg string) string {
		if _, err := uuid.Parse(arg[strings.LastIndexByte(arg, '/')+1:]); err == nil {
			return "one record is shown with trackctl record show " + arg
		}
		has := func(flag string) bool { return cmd.Flags().Lookup(flag) != nil }
		site, _, _ := strings.Cut(strings.TrimPrefix(arg, "/"), "/")
		switch {
		case has("place"):
			return "it is narrowed to a place with --place " + arg
		case has("site"):
			return "it is narrowed to a site with --site " + site
		case has("tool"):
			return "it is narrowed to a tool with --tool SERIAL"
		}
		return "it is narrowed by its flags: see " + cmd.CommandPath() + " --help"
	})
}
