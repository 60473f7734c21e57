package outbox

import (
	"os"

	"golang.org/x/sys/unix"
)

// flush returns when what was written is on the disk, with as much of the file's
// description as reading it takes, and no more: times of the file can wait.
func flush(f *os.File) error {
	for {
		err := unix.Fdatasync(int(f.Fd()))
		if err != unix.EINTR {
			return err
		}
	}
}
