//go:build unix

package cli

import (
	"os"

	"golang.org/x/sys/unix"
)

// terminalColumns is how wide the terminal is; 80 where there is none.
func terminalColumns(f *os.File) int {
	size, err := unix.IoctlGetWinsize(int(f.Fd()), unix.TIOCGWINSZ)
	if err != nil || size.Col == 0 {
		return 80
	}
	return min(int(size.Col), 200)
}
