package cli

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
)

// exportFormats are the formats of an exported file by the ending of its name.
var exportFormats = map[string]output.Format{".csv": output.CSV, ".parquet": output.Parquet, ".json": output.JSON}

// exportFormat is the format that --export asks for; the one given where it asks for
// none.
func (s *settings) exportFormat(given output.Format, chosen bool) (output.Format, error) {
	if s.export == "" {
		return given, nil
	}
	format, ok := exportFormats[strings.ToLower(filepath.Ext(s.export))]
	if !ok {
		return "", usage("--export: expected the name of a file that ends in .csv, .parquet or .json, got %q", s.export)
	}
	if chosen && given != format {
		return "", usage("--export: %s is %s and --output asks for %s; leave one of them away", s.export, format, given)
	}
	return format, nil
}

// checkParquet refuses to fill a terminal with what nobody can read.
func (a *app) checkParquet() error {
	if a.format == output.Parquet && a.settings.export == "" && isTerminal(os.Stdout) {
		return usage("--output parquet can't be read in a terminal; name a file with --export, such as --export rows.parquet")
	}
	return nil
}

// exporting runs a command with its answer going into the file of --export: whole, or
// not at all when the command fails.
func (a *app) exporting(cmd *cobra.Command, run runFunc, args []string) (err error) {
	file := a.settings.export
	if file == "" {
		return run(cmd.Context(), args)
	}
	unwritten := func(err error) error {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("the export can't be written: %v", err)}
	}
	// From here on an interrupt must not leave a part behind.
	if err := cmd.Context().Err(); err != nil {
		return err
	}
	part, err := os.CreateTemp(filepath.Dir(file), ".export-*")
	if err != nil {
		return unwritten(err)
	}
	defer func() {
		if err != nil {
			_ = part.Close() // what went wrong before is what matters
			_ = os.Remove(part.Name())
		}
	}()
	answer := bufio.NewWriter(part)
	terminal := a.out
	a.out = answer
	defer func() { a.out = terminal }()
	if err := run(cmd.Context(), args); err != nil {
		return err
	}
	if err := finishExport(part, answer, file); err != nil {
		return unwritten(err)
	}
	_, err = fmt.Fprintf(a.err, "written to %s\n", output.Printable(file))
	return err
}

// finishExport puts a finished part in the place of the file.
func finishExport(part *os.File, answer *bufio.Writer, file string) error {
	if err := answer.Flush(); err != nil {
		return err
	}
	if err := part.Chmod(0o644); err != nil { // it is made to be handed on
		return err
	}
	size, err := part.Seek(0, io.SeekCurrent)
	if err != nil {
		return err
	}
	if err := part.Close(); err != nil {
		return err
	}
	if size == 0 {
		return fmt.Errorf("the command has no rows to export")
	}
	return os.Rename(part.Name(), file)
}
