//go:build !unix

package cli

import "errors"

// diskFree can't be told on this system.
func diskFree(string) (uint64, error) { return 0, errors.New("this system is not asked for it") }
