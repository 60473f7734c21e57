//go:build unix

package terminal

import (
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// state are the settings of a terminal.
type state struct{ input, output, control, local uint32 }

func stateOf(f *os.File) (state, error) {
	t, err := unix.IoctlGetTermios(int(f.Fd()), getTermios)
	if err != nil {
		return state{}, err
	}
	return state{uint32(t.Iflag), uint32(t.Oflag), uint32(t.Cflag), uint32(t.Lflag)}, nil
}

// ownTerminal gives a program a terminal of its own.
func ownTerminal() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Setsid: true, Setctty: true}
}
