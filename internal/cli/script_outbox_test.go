package cli_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// firstColumn sets the variable to the first value of the second line of a CSV file.
func firstColumn(ts *testscript.TestScript, _ bool, args []string) {
	rows, err := csv.NewReader(strings.NewReader(ts.ReadFile(args[1]))).ReadAll()
	ts.Check(err)
	if len(rows) < 2 {
		ts.Fatalf("%s has no second line: %q", args[1], rows)
	}
	ts.Setenv(args[0], rows[1][0])
}

// flipByte changes the last byte of a file, or one that is so far before it.
func flipByte(ts *testscript.TestScript, _ bool, args []string) {
	name := ts.MkAbs(args[0])
	data, err := os.ReadFile(name)
	ts.Check(err)
	back := 0
	if len(args) > 1 {
		back, err = strconv.Atoi(args[1])
		ts.Check(err)
	}
	data[len(data)-1-back] ^= 0x20
	ts.Check(os.WriteFile(name, data, 0o600))
}
