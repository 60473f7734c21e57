package cli

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/proof"
)

// exportedChain writes an export of two records of Ashdown and gives their links.
func exportedChain(t *testing.T) (path string, links []ledger.Link) {
	t.Helper()
	var b bytes.Buffer
	link := ledger.FirstLink("ASH")
	var records []proof.Record
	for i := int64(1); i <= 2; i++ {
		r := &ledger.LotMovement{Entry: ledger.Entry{Sequence: i, Person: "crib"}, Lot: "L-1", Site: "ASH", Kind: ledger.MovementReceived, Quantity: 100 * i}
		link = ledger.NextLink(link, r)
		links = append(links, link)
		records = append(records, proof.Record{Sequence: i, Canonical: ledger.Canonical(r), Link: link})
	}
	w, err := proof.NewWriter(&b, proof.Header{Site: "ASH", ExportTime: time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC), Records: 2, Head: link})
	for _, r := range records {
		if err == nil {
			err = w.Record(r)
		}
	}
	if err == nil {
		err = w.Close()
	}
	path = filepath.Join(t.TempDir(), "ASH.jsonl")
	if err == nil {
		err = os.WriteFile(path, b.Bytes(), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return path, links
}

// TestProve needs no server: none runs.
func TestProve(t *testing.T) {
	path, links := exportedChain(t)
	code, out, errOut := run(t, "", nil, "prove", path, "--link", links[0].String())
	for _, want := range []string{"site ASH: 2 records", "exported 2026-03-04 05:06:07Z", "last link " + links[1].String(), "is that of record 1:"} {
		if code != 0 || !strings.Contains(out, want) {
			t.Errorf("exit %d, %s%s; expected %q", code, out, errOut, want)
		}
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	changed := filepath.Join(t.TempDir(), "changed.jsonl")
	if err := os.WriteFile(changed, bytes.Replace(text, []byte("quantity=200"), []byte("quantity=900"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{changed}, exitData, "line 3, record 2: does not match its link"},
		{[]string{path, "--link", ledger.Link{9}.String()}, exitData, "does not stand in this chain"},
		{[]string{path, "--link", "abc"}, exitUsage, "64 hexadecimal digits"},
		{[]string{filepath.Join(t.TempDir(), "absent")}, exitNoInput, "no such file"},
		{[]string{t.TempDir()}, exitNoInput, "is a directory"},
		{nil, exitUsage, "FILE"},
	} {
		if code, _, errOut := run(t, "", nil, append([]string{"prove"}, tc.args...)...); code != tc.code || !strings.Contains(errOut, tc.says) {
			t.Errorf("%v: exit %d, %s; expected exit %d and %q", tc.args, code, errOut, tc.code, tc.says)
		}
	}
	code, out, _ = run(t, "", nil, "prove", changed, "--output", "json")
	var answer struct {
		Proofs []struct {
			Proved       bool
			Line, Record int
			Problem      string
		}
	}
	if err := json.Unmarshal([]byte(out), &answer); err != nil || code != exitData || len(answer.Proofs) != 1 ||
		answer.Proofs[0].Proved || answer.Proofs[0].Line != 3 || answer.Proofs[0].Record != 2 {
		t.Errorf("exit %d, %v: %s", code, err, out)
	}
}
