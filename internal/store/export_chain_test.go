package store_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/proof"
	"jointledger/internal/store/storetest"
)

// TestExportsProveThemselves exports chains with records of every kind.
func TestExportsProveThemselves(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		everyKind(t, s)
		r := storetest.NewTightening(storetest.DenverJoint)
		storetest.Record(t, s, r)
		d := &diary{t, s, storetest.Occurred}
		attached := d.attach(r, "photo <1>.png", photo(1000))
		report := soundReport(t, s)
		dir := t.TempDir()
		for _, site := range report.Sites {
			path := filepath.Join(dir, site.Site)
			told, err := s.ExportSite(ctx, site.Site, path)
			if err != nil {
				t.Fatal(err)
			}
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			read, err := proof.Verify(bytes.NewReader(text))
			if err != nil || read.Records != site.Records || read.Head.String() != site.Head || read.Site != site.Site {
				t.Errorf("%s: %+v, %v; expected %d records up to %s", site.Site, read, err, site.Records, site.Head)
			}
			if told.Head != read.Head || told.Records != read.Records {
				t.Errorf("%s: told %+v, and read %+v", site.Site, told, read)
			}
			if site.Site != storetest.Denver {
				continue
			}
			if read.Attachments != 1 || !bytes.Contains(text, fmt.Appendf(nil, `"attachments":[{"sha256":"%x","file_name":"photo <1>.png"`, attached.SHA256)) {
				t.Errorf("%d attachments", read.Attachments)
			}
			for _, want := range []string{
				`"register":"sites","name":"RVB","fields":{"display_name":"Riverbend"`, `"register":"people","name":"a.reyes","fields":{"display_name":"A. Reyes","employer":"Northgate Erectors"`,
				`"register":"joints","name":"RVB/CT1/C1/J001"`, `"register":"cells","name":"RVB/CT1/C2"`, `"register":"towers","name":"RVB/CT2"`, `"register":"tools","name":"TW-0107"`,
				`"register":"lots","name":"M10-316-4471"`, `"register":"specifications","name":"SS-M10-STR@1"`, `"register":"alarm-rules","name":"GALL-LOT"`, `"findings":[{"rule":`,
			} {
				if !bytes.Contains(text, []byte(want)) {
					t.Errorf("the export has no %s", want)
				}
			}
			if bytes.Contains(text, []byte("KVR/")) {
				t.Error("the export names places of another site")
			}
		}
		only(t, dir, storetest.Kolkata, storetest.Denver)
		_, err := s.ExportSite(ctx, storetest.Denver, filepath.Join(dir, storetest.Denver))
		told(t, "over a file", err, ledger.KindExists, "there is a file")
		_, err = s.ExportSite(ctx, "NONE'; --", filepath.Join(dir, "none"))
		told(t, "of no site", err, ledger.KindNotFound, "is not known")
		only(t, dir, storetest.Kolkata, storetest.Denver)
	})
}

// TestABrokenChainIsNotExported tampers with a record behind the triggers.
func TestABrokenChainIsNotExported(t *testing.T) {
	t.Parallel()
	for what, statement := range map[string]string{
		"changed":          "UPDATE tightenings SET fasteners = 9 WHERE id = (SELECT min(id) FROM tightenings)",
		"gone":             "DELETE FROM tightenings WHERE id = (SELECT max(id) FROM tightenings)",
		"with its finding": "UPDATE findings SET message = 'nothing' WHERE id = (SELECT min(id) FROM findings)",
	} {
		c := storetest.SQLite().NewConfig(t)
		s := storetest.OpenFleet(t, c)
		storetest.Record(t, s, storetest.NewTightening(storetest.DenverJoint), storetest.NewTightening(storetest.DenverJoint))
		db := storetest.Raw(t, c)
		for _, name := range lines(t, db, "SELECT name FROM sqlite_master WHERE type = 'trigger'") {
			mustExec(t, db, "DROP TRIGGER "+name)
		}
		mustExec(t, db, statement)
		dir := t.TempDir()
		_, err := s.ExportSite(context.Background(), storetest.Denver, filepath.Join(dir, "export"))
		told(t, what, err, ledger.KindPrecondition, "is not whole")
		if err != nil && !strings.Contains(err.Error(), "record ") {
			t.Errorf("%s: %v; expected it to name the record", what, err)
		}
		only(t, dir)
	}
}
