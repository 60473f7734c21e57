//go:build !unix

package cli

import "os"

// terminalColumns is how wide a terminal is taken to be.
func terminalColumns(*os.File) int { return 80 }
