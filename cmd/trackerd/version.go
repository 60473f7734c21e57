package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"
)

func versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Args:  noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			fmt.Fprintln(c.OutOrStdout(), "trackerd", buildVersion())
			return nil
		},
	}
}

// buildVersion is what the Go tool wrote into the program: the module's version,
// the commit, and the compiler.
func buildVersion() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "(unknown)"
	}
	version, revision, changed := info.Main.Version, "", ""
	if version == "" {
		version = "(devel)"
	}
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = " " + s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = " (changed)"
		}
	}
	return version + revision + changed + " " + info.GoVersion
}
