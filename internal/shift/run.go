package shift

import (
	"context"
	"errors"
	"io"
	"strings"

	tea "charm.land/bubbletea/v2"
)

// ErrFault is what Run ends with after a fault of this program: the terminal is
// put back, and what was said to be kept is kept.
var ErrFault = errors.New("a fault in the guided mode")

// ASCIIOnly says by the environment whether the terminal shows no more than ASCII:
// the first of LC_ALL, LC_CTYPE and LANG that is set names the encoding (POSIX.1,
// 8.2).
func ASCIIOnly(getenv func(string) string) bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := getenv(name); v != "" {
			folded := strings.ReplaceAll(strings.ToLower(v), "-", "")
			return !strings.Contains(folded, "utf8")
		}
	}
	return true
}

// Run shows the mode until it is ended, and gives what became of it. The terminal
// is put back as it was, also when ctx ends or the program fails.
func Run(ctx context.Context, m *Model, in io.Reader, out io.Writer, environ []string) error {
	p := tea.NewProgram(m, tea.WithContext(ctx), tea.WithInput(in), tea.WithOutput(out),
		tea.WithEnvironment(environ), tea.WithFPS(30), tea.WithoutSignalHandler())
	_, err := p.Run()
	switch {
	case errors.Is(err, tea.ErrProgramPanic):
		return ErrFault
	case ctx.Err() != nil:
		return context.Cause(ctx)
	}
	return err
}
