package cli

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
)

// version is set by the build (-ldflags -X); otherwise the module's own version
// or revision is shown.
var version string

func versionText() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	text := info.Main.Version
	if text == "" || text == "(devel)" {
		text = "devel"
	}
	return text
}

type versionInfo struct{ version, goVersion, platform string }

func (a *app) versionCommand() *cobra.Command {
	return a.runs(a.command("version", "Show the version", ""), func(context.Context, []string) error {
		v := versionInfo{versionText(), runtime.Version(), runtime.GOOS + "/" + runtime.GOARCH}
		if a.format == output.Table {
			_, err := fmt.Fprintf(a.out, "trackctl %s (%s, %s)\n", v.version, v.goVersion, v.platform)
			return err
		}
		return output.Show(a.config(), "versions", []output.Column[versionInfo]{
			{Name: "version", Value: func(v versionInfo) any { return v.version }},
			{Name: "go_version", Value: func(v versionInfo) any { return v.goVersion }},
			{Name: "platform", Value: func(v versionInfo) any { return v.platform }},
		}, v)
	})
}
