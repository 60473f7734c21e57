package main

import (
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// mostAtStart is how many bytes a package may allocate before the program begins, if it
// is not among the largeAtStart: whoever is on the deck waits for each of them at each
// entry, and a page that is touched first costs more than what is written to it.
const mostAtStart = 20 << 10

// largeAtStart are the packages that may take more, with a bound about a third above
// what they take: the API's descriptors, and what comes with libraries that cannot be
// had without it.
var largeAtStart = map[string]int{
	"jointledger/proto/jointledger/v1":              600 << 10,
	"google.golang.org/protobuf/types/descriptorpb": 64 << 10, // of the API's own options
	"google.golang.org/grpc":                        40 << 10,
	"google.golang.org/grpc/internal/binarylog":     36 << 10,
	"golang.org/x/net/trace":                        26 << 10,
	"github.com/charmbracelet/ultraviolet":          36 << 10,
	"html/template":                                 26 << 10,
	"github.com/klauspost/compress/flate":           36 << 10,
}

// mostOfOurs is how many bytes any of the packages under internal may take: theirs can
// wait until it is used (sync.OnceValue).
const mostOfOurs = 8 << 10

// Go tells of each package what was allocated while it started. What runs beside it is
// counted too, so the least of some starts is taken; unlike time, that is the same
// however much the machine has to do.
func TestPackagesDoLittleAtStart(t *testing.T) {
	least := map[string]int{}
	for range 5 {
		for name, took := range allocatedAtStart(t) {
			if before, known := least[name]; !known || took < before {
				least[name] = took
			}
		}
	}
	if least["jointledger/proto/jointledger/v1"] == 0 {
		t.Fatalf("Go told nothing of the API's package: %v", least)
	}
	for name, took := range least {
		most, large := largeAtStart[name]
		switch {
		case large:
		case strings.HasPrefix(name, "jointledger/internal/"):
			most = mostOfOurs
		default:
			most = mostAtStart
		}
		if took > most {
			t.Errorf("%s allocates %d bytes before the program begins, %d at most are taken", name, took, most)
		}
	}
}

var initLine = regexp.MustCompile(`(?m)^init (\S+) @.* clock, (\d+) bytes, \d+ allocs$`)

// allocatedAtStart starts this program once and gives the bytes by package.
func allocatedAtStart(t *testing.T) map[string]int {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), role+"=start", "GODEBUG=inittrace=1")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	took := map[string]int{}
	for _, m := range initLine.FindAllStringSubmatch(string(out), -1) {
		if took[m[1]], err = strconv.Atoi(m[2]); err != nil {
			t.Fatal(err)
		}
	}
	return took
}
