package architecture

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

const module = "jointledger/"

// pure packages compute: besides each other they import the standard library
// and what is listed in pureLibraries, nothing that does input or output.
var pure = []string{
	"internal/ledger", "internal/nearest", "internal/quantity", "internal/stats", "internal/metrology",
	"internal/bolting", "internal/sealing", "internal/sampling", "internal/analysis", "internal/fleetgen",
	"internal/regression", "internal/rules", "internal/known", "internal/handover", "internal/label", "internal/report", "internal/termfigure", "internal/controlchart", "internal/sequential", "internal/reliability", "internal/calendar", "internal/visible", "internal/asof", "internal/proof", "internal/recent",
}

var pureLibraries = []string{"gonum.org/v1/gonum", "github.com/google/uuid", "github.com/agnivade/levenshtein", "github.com/arran4/golang-ical"}

// impure standard packages are those that reach outside the program.
var impure = []string{"os", "os/exec", "net", "net/http", "database/sql", "io/ioutil", "syscall"}

// may says for each other package of ours which packages of ours it may import;
// a name stands for what lies below it too.
var may = map[string][]string{
	"proto/jointledger/v1":           {},
	"migrations":                     {},
	"ent/column":                     {},
	"ent/schema":                     {"ent/column"},
	"ent":                            {"ent"},
	"internal/pgcluster":             {},
	"internal/garbage":               {},
	"internal/store":                 {"internal/recent", "internal/metrology", "internal/proof", "internal/asof", "internal/known", "internal/rules", "internal/handover", "internal/ledger", "internal/nearest", "internal/visible", "internal/analysis", "ent", "migrations"},
	"internal/store/entgen":          {},
	"internal/store/newmigration":    {"ent/migrate", "internal/pgcluster"},
	"internal/store/storetest":       {"internal/store", "internal/pgcluster", "internal/ledger", "internal/analysis", "migrations"},
	"internal/access":                {"internal/ledger", "internal/visible", "proto/jointledger/v1"},
	"internal/rpc":                   {"internal/asof", "internal/access", "internal/ledger", "proto/jointledger/v1"},
	"internal/httpjson":              {"internal/rpc", "proto/openapi"},
	"proto/openapi":                  {},
	"internal/identity":              {"internal/access", "internal/ledger", "internal/rpc", "internal/store"},
	"internal/wire":                  {"internal/rules", "internal/ledger", "internal/analysis", "internal/stats", "internal/metrology", "proto/jointledger/v1"},
	"internal/service":               {"internal/visible", "internal/carry/section", "internal/wire", "internal/rules", "internal/access", "internal/rpc", "internal/ledger", "internal/analysis", "internal/stats", "internal/metrology", "internal/store", "proto/jointledger/v1"},
	"internal/carry/section":         {"internal/analysis", "internal/known", "internal/ledger", "internal/rules", "internal/wire", "proto/jointledger/v1"},
	"internal/carry/pack":            {"internal/carry/section", "internal/known", "internal/ledger"},
	"internal/carry/outbox":          {"proto/jointledger/v1"},
	"internal/cli":                   {"internal/proof", "internal/known", "internal/wire", "internal/shift", "internal/carry", "internal/calendar", "internal/rules", "internal/label", "internal/cli", "internal/ledger", "internal/nearest", "internal/report", "internal/termfigure", "internal/quantity", "internal/bolting", "internal/metrology", "internal/sealing", "internal/sampling", "internal/stats", "internal/analysis", "proto/jointledger/v1"},
	"internal/shift":                 {"internal/shift", "internal/ledger", "internal/quantity", "internal/rules"},
	"internal/bench":                 {"internal/bench", "internal/carry", "internal/known", "internal/analysis", "internal/fleetgen", "internal/garbage", "internal/ledger", "internal/pgcluster", "internal/rpc", "internal/service", "internal/store", "internal/wire", "proto/jointledger/v1"},
	"internal/faults":                {"internal/carry", "internal/pgcluster", "proto/jointledger/v1"},
	"internal/bench/glm":             {"internal/regression"},
	"cmd/trackerd":                   {"cmd/trackerd", "internal/garbage", "internal/httpjson", "internal/identity", "internal/nearest", "internal/rpc", "internal/service", "internal/store", "internal/access", "internal/ledger"},
	"cmd/trackctl":                   {"internal/cli"},
	"internal/architecture":          {},
	"internal/advisory":              {},
	"internal/buildinfo":             {},
	"internal/store/storetest/model": {"internal/ledger"},
}

// only says who alone may import a library directly: the store reads databases,
// and proto types stop at the service and the command line.
var only = map[string][]string{
	"entgo.io/ent":                     {"ent", "internal/store"},
	"jointledger/ent":                  {"ent", "internal/store"},
	"modernc.org/sqlite":               {"internal/store", "internal/bench", "internal/faults"},
	"github.com/jackc/pgx":             {"internal/store", "internal/bench", "internal/faults"},
	"github.com/golang-migrate":        {"internal/store"},
	"database/sql":                     {"ent", "internal/store", "internal/bench", "internal/faults"},
	"google.golang.org/grpc":           {"proto", "internal/identity", "internal/rpc", "internal/service", "internal/cli", "internal/access", "internal/bench", "internal/faults", "cmd/trackerd"},
	"jointledger/proto/jointledger/v1": {"internal/carry", "internal/wire", "internal/access", "internal/rpc", "internal/service", "internal/cli", "internal/bench", "internal/faults"},
	"github.com/spf13/cobra":           {"internal/cli", "cmd/trackerd"},
	"jointledger/internal/store":       {"internal/store", "internal/identity", "internal/service", "internal/bench", "cmd/trackerd"},
	"github.com/boombuler/barcode":     {"internal/cli"},
	"connectrpc.com/vanguard":          {"internal/httpjson"},
	"github.com/parquet-go/parquet-go": {"internal/cli/columnar"},
	"jointledger/internal/pgcluster":   {"internal/store", "internal/bench", "internal/faults"},
}

type listed struct {
	ImportPath string
	Imports    []string
}

func packages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "./...")
	cmd.Dir = "../.."
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	if len(all) < 20 {
		t.Fatalf("only %d packages listed", len(all))
	}
	return all
}

// under says whether path is one of the names or lies below one.
func under(path string, names []string) bool {
	return slices.ContainsFunc(names, func(n string) bool { return path == n || strings.HasPrefix(path, n+"/") })
}

func isStandard(path string) bool { return !strings.Contains(strings.SplitN(path, "/", 2)[0], ".") }

func TestPureRoomsStayPure(t *testing.T) {
	for _, p := range packages(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		if !under(name, pure) {
			continue
		}
		for _, i := range p.Imports {
			ours, isOurs := strings.CutPrefix(i, module)
			switch {
			case isOurs && !under(ours, pure):
				t.Errorf("%s is pure and must not import %s", name, ours)
			case !isOurs && isStandard(i) && slices.Contains(impure, i):
				t.Errorf("%s is pure and must not import %s", name, i)
			case !isOurs && !isStandard(i) && !under(i, pureLibraries):
				t.Errorf("%s is pure and must not import %s", name, i)
			}
		}
	}
}

func TestWhoMayImportWhom(t *testing.T) {
	for _, p := range packages(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		if under(name, pure) {
			continue
		}
		allowed, ok := rule(name)
		if !ok {
			t.Errorf("%s has no rule: say in this test what it may import", name)
			continue
		}
		for _, i := range p.Imports {
			if ours, isOurs := strings.CutPrefix(i, module); isOurs && !under(ours, allowed) {
				t.Errorf("%s must not import %s", name, ours)
			}
		}
	}
}

// rule gives the rule of the package or of the nearest one above it.
func rule(name string) ([]string, bool) {
	for n := name; n != ""; {
		if allowed, ok := may[n]; ok {
			return allowed, true
		}
		i := strings.LastIndexByte(n, '/')
		if i < 0 {
			break
		}
		n = n[:i]
	}
	return nil, false
}

func TestWhoAloneMayImport(t *testing.T) {
	used := map[string]bool{}
	for _, p := range packages(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		for _, i := range p.Imports {
			for library, who := range only {
				if !under(i, []string{library}) {
					continue
				}
				used[library] = true
				if !under(name, who) {
					t.Errorf("%s must not import %s", name, i)
				}
			}
		}
	}
	for library := range only {
		if !used[library] {
			t.Errorf("nobody imports %s: the rule about it guards nothing", library)
		}
	}
}

// The shipped programs carry no cgo and the client carries no database.
func TestClientCarriesNoDatabase(t *testing.T) {
	cmd := exec.Command("go", "list", "-deps", "./cmd/trackctl")
	cmd.Dir = "../.."
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0") // as it is shipped
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, dep := range strings.Fields(string(out)) {
		if under(dep, []string{"jointledger/internal/store", "jointledger/ent", "modernc.org/sqlite", "github.com/jackc/pgx", "runtime/cgo"}) {
			t.Errorf("trackctl links %s", dep)
		}
	}
}
