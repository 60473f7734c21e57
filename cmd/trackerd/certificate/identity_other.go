//go:build !unix

package certificate

import "io/fs"

// identity tells two files of one name apart: here by time and size alone.
func identity(fs.FileInfo) string { return "" }
