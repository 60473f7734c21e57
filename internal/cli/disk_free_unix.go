//go:build unix

package cli

import "golang.org/x/sys/unix"

// diskFree is how many bytes may still be written to the disk that a folder is on.
func diskFree(folder string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return 0, err
	}
	// The types of these differ from system to system.
	return uint64(s.Bavail) * uint64(s.Bsize), nil
}
