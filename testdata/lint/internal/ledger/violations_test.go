package ledger

import (
	"fmt"
	"os"
	"testing"
)

func TestUsetesting(t *testing.T) {
	os.Setenv("NAME", "value")
}

func ExampleUnparam() { // testableexamples
	fmt.Println(Unparam())
}
