// Command trackctl is the client of the assembly record.
package main

import (
	"os"

	"jointledger/internal/cli"
)

func main() {
	os.Exit(cli.Run(untilInterrupted(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
