package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
)

// importFormat is the import format as practitioners hand it over, typed in
// again here so that the generator's own copy is held against something.
var importFormat = []struct{ name, header string }{
	{"batches", "batch,kind,product,expires"},
	{"calibrations", "id,serial,at,laboratory,certificate,phase,target_n_m,readings_n_m,expanded_uncertainty_n_m,coverage_factor"},
	{"custody", "id,serial,kind,site,person,at"},
	{"incidents", "id,site,tower,cell,joint,at,person,kind,fasteners,lot,treatment,tool,method,noticed,action,note"},
	{"inspections", "id,site,tower,cell,joint,at,person,kind,sample,readings_n_m,result"},
	{"joints", "site,tower,cell,joint,kind,critical,spec,fasteners"},
	{"lot_movements", "id,lot,site,kind,quantity,at,by,reference"},
	{"lots", "lot,supplier,heat,thread,length_mm,material,property_class,coating,head"},
	{"people", "person,name,employer,site,roles,qualification,expires"},
	{"sealings", "id,site,tower,cell,joint,at,person,sealant,batch,width_mm,solvent,cleaned_at,air_c,surface_c,humidity_pct,splices,flange_straight"},
	{"sites", "code,name,region,time_zone,status"},
	{"specs", "spec,thread,length_mm,material,property_class,coating,head,treatment,locking,torque_n_m,torque_tolerance_pct,torque_basis,nut_factor,sealant,seal_width_mm,min_surface_c"},
	{"tightenings", "id,site,tower,cell,joint,at,person,lot,treatment,batch,tool,torque_n_m,fasteners,pass,method"},
	{"tools", "serial,kind,type_class,min_n_m,max_n_m,resolution_n_m,home_site,interval_months,interval_cycles"},
	{"towers", "site,tower,material,drawing,planned_start,planned_finish"},
}

// records are the files of records, which carry an id and a time.
var records = []string{"calibrations", "custody", "incidents", "inspections", "lot_movements", "sealings", "tightenings"}

func TestHeadersAndLineEnds(t *testing.T) {
	for _, f := range importFormat {
		text, err := os.ReadFile(filepath.Join(demo, f.name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.HasPrefix(text, []byte(f.header+"\r\n")) {
			t.Errorf("%s.csv: wrong header", f.name)
		}
		if bytes.Count(text, []byte("\n")) != bytes.Count(text, []byte("\r\n")) {
			t.Errorf("%s.csv: a line end that is not CRLF (RFC 4180)", f.name)
		}
		if _, err := csv.NewReader(bytes.NewReader(text)).ReadAll(); err != nil {
			t.Errorf("%s.csv: %v", f.name, err)
		}
	}
}

// Identifiers are version 7 UUIDs (RFC 9562, 5.7) whose 48 bits of milliseconds
// are the record's time, and none names two records. A calibration's lines share
// one.
func TestIdentifiers(t *testing.T) {
	seen := map[string]string{}
	for _, name := range records {
		for _, l := range read(t, name) {
			id, err := uuid.Parse(l["id"])
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if id.Version() != 7 || id.Variant() != uuid.RFC4122 || id.String() != l["id"] {
				t.Errorf("%s: %s is not a version 7 UUID in canonical text", name, l["id"])
			}
			var ms int64
			for _, b := range id[:6] {
				ms = ms<<8 | int64(b)
			}
			if at := instant(t, l["at"]); at.UnixMilli() != ms {
				t.Errorf("%s: %s was made at %s, the record at %s", name, id, time.UnixMilli(ms).UTC(), at.UTC())
			}
			record := name
			if name == "calibrations" {
				record = l["certificate"]
			}
			if other, ok := seen[l["id"]]; ok && (name != "calibrations" || other != record) {
				t.Errorf("%s: id %s twice", name, l["id"])
			}
			seen[l["id"]] = record
		}
	}
}

// Times are RFC 3339, some with Z and some with the site's offset; offsets are
// those of the site's zone at that instant.
func TestTimesMixForms(t *testing.T) {
	zones := zonesOf(t)
	for _, name := range []string{"tightenings", "sealings", "incidents", "inspections"} {
		zulu, local := 0, map[string]int{}
		for _, l := range read(t, name) {
			at := instant(t, l["at"])
			if strings.HasSuffix(l["at"], "Z") {
				zulu++
				continue
			}
			if want := at.In(zones[l["site"]]).Format(time.RFC3339); want != l["at"] {
				t.Errorf("%s: %s at %s, where it was %s", name, l["at"], l["site"], want)
			}
			local[l["at"][len(l["at"])-6:]]++
		}
		if zulu == 0 || local["-08:00"] == 0 || local["+09:30"] == 0 || len(local) != 2 {
			t.Errorf("%s: %d with Z, %v with offsets: want all three forms", name, zulu, local)
		}
	}
}

// Every word comes from the lists of the domain.
func TestClosedVocabularies(t *testing.T) {
	for _, v := range []struct{ file, column, words string }{
		{"tightenings", "pass", "first final re-tightening"},
		{"tightenings", "method", "hand impact-then-torque-tool"},
		{"tightenings", "treatment", "none anti-seize thread-locking-compound"},
		{"incidents", "kind", "galling seized stripped-tapping-screw crossed-thread broken-fastener misaligned-hole leak dropped-tool"},
		{"inspections", "kind", "torque-audit leak-test visual"},
		{"inspections", "result", "pass fail"},
		{"custody", "kind", "received issued returned sent dropped"},
		{"lot_movements", "kind", "received sent scrapped"},
		{"calibrations", "phase", "as-found as-left"},
		{"sealings", "splices", "none corner mid-run"},
		{"lots", "material", "304 galvanized-steel"},
		{"joints", "kind", "structural mechanical seam"},
		{"batches", "kind", "anti-seize thread-locking-compound strip-sealant gun-grade-sealant solvent"},
	} {
		used := map[string]bool{}
		for _, l := range read(t, v.file) {
			used[l[v.column]] = true
		}
		words := strings.Fields(v.words)
		for w := range used {
			if !slices.Contains(words, w) {
				t.Errorf("%s.%s holds %q", v.file, v.column, w)
			}
		}
		if len(used) != len(words) {
			t.Errorf("%s.%s uses %d of the %d words %v", v.file, v.column, len(used), len(words), words)
		}
	}
}

// Every name that a record uses is defined, and joints have their parents.
func TestReferences(t *testing.T) {
	for _, r := range []struct{ file, column, to, key string }{
		{"towers", "site", "sites", "code"}, {"joints", "site", "sites", "code"}, {"joints", "spec", "specs", "spec"},
		{"people", "site", "sites", "code"}, {"tools", "home_site", "sites", "code"},
		{"calibrations", "serial", "tools", "serial"}, {"custody", "serial", "tools", "serial"},
		{"custody", "person", "people", "person"}, {"custody", "site", "sites", "code"},
		{"lot_movements", "lot", "lots", "lot"}, {"lot_movements", "by", "people", "person"},
		{"sealings", "person", "people", "person"}, {"sealings", "batch", "batches", "batch"},
		{"tightenings", "lot", "lots", "lot"}, {"tightenings", "batch", "batches", "batch"},
		{"tightenings", "tool", "tools", "serial"}, {"tightenings", "person", "people", "person"},
		{"incidents", "lot", "lots", "lot"}, {"incidents", "tool", "tools", "serial"}, {"incidents", "person", "people", "person"},
		{"inspections", "person", "people", "person"},
	} {
		known := map[string]bool{"": true} // a column may be empty where nothing applies
		for _, l := range read(t, r.to) {
			known[l[r.key]] = true
		}
		for _, l := range read(t, r.file) {
			if !known[l[r.column]] {
				t.Errorf("%s.%s names %q, which %s does not define", r.file, r.column, l[r.column], r.to)
			}
		}
	}
	joints := map[string]bool{}
	for _, l := range read(t, "joints") {
		joints[jointOf(l)] = true
	}
	for _, name := range []string{"sealings", "tightenings", "incidents", "inspections"} {
		for _, l := range read(t, name) {
			if !joints[jointOf(l)] {
				t.Errorf("%s names joint %s, which does not exist", name, jointOf(l))
			}
		}
	}
}

// jointOf spells the joint of a line.
func jointOf(l line) string {
	return strings.Join([]string{l["site"], l["tower"], l["cell"], l["joint"]}, "/")
}

// instant reads an RFC 3339 time.
func instant(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// quantity reads a decimal number.
func quantity(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// zonesOf returns the sites' time zones.
func zonesOf(t *testing.T) map[string]*time.Location {
	t.Helper()
	zones := map[string]*time.Location{}
	for _, l := range read(t, "sites") {
		loc, err := time.LoadLocation(l["time_zone"])
		if err != nil {
			t.Fatal(err)
		}
		zones[l["code"]] = loc
	}
	return zones
}

// The scenario borrows no name from real makers: firms appear under these
// invented names only, and notes stay short.
func TestInventedNamesAndShortNotes(t *testing.T) {
	firms := regexp.MustCompile(`^(Vellamy Stainless|Ostrell Bolt Works|Tannick Supply|Brindlecote Fasteners|Pellwether Erection|Dunnock Steelwork|Umberlow Calibration)$`)
	for _, c := range []struct{ file, column string }{{"lots", "supplier"}, {"people", "employer"}, {"calibrations", "laboratory"}} {
		for _, l := range read(t, c.file) {
			if !firms.MatchString(l[c.column]) {
				t.Errorf("%s.%s: %q", c.file, c.column, l[c.column])
			}
		}
	}
	for _, l := range read(t, "incidents") {
		if len(l["note"]) > 60 {
			t.Errorf("long note: %q", l["note"])
		}
	}
}
