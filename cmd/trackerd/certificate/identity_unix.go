//go:build unix

package certificate

import (
	"fmt"
	"io/fs"
	"syscall"
)

// identity tells two files of one name apart, and two owners of one file.
func identity(info fs.FileInfo) string {
	if s, ok := info.Sys().(*syscall.Stat_t); ok {
		return fmt.Sprint(s.Dev, s.Ino, s.Uid, s.Gid)
	}
	return ""
}
