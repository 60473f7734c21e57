package proof_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/proof"
)

func nextLink(previous ledger.Link, canonical []byte) ledger.Link {
	return sha256.Sum256(append(previous[:], canonical...))
}

// provedByHand checks an export as its header tells, with the standard library alone:
// what somebody would write who does not trust this program.
func provedByHand(text []byte) (records int, head string, ok bool) {
	var link [sha256.Size]byte
	announced := -1
	for _, line := range bytes.Split(bytes.TrimSuffix(text, []byte("\n")), []byte("\n")) {
		var l struct {
			Type, Site, Canonical, Link, Head string
			Sequence, Records                 int
		}
		if json.Unmarshal(line, &l) != nil {
			return records, head, false
		}
		switch l.Type {
		case "header":
			link = sha256.Sum256([]byte("jointledger chain 1\n" + l.Site + "\n"))
			announced = l.Records
		case "record":
			records++
			link = sha256.Sum256(append(link[:], l.Canonical...))
			if l.Sequence != records || l.Link != hex.EncodeToString(link[:]) {
				return records, head, false
			}
		case "footer":
			head = l.Head
		}
	}
	return records, head, records == announced && head == hex.EncodeToString(link[:])
}

func TestAnExportCanBeProvedByHand(t *testing.T) {
	chain := chainOf("RVB", chainLength)
	records, head, ok := provedByHand(sound(t))
	if !ok || records != chainLength || head != chain[chainLength-1].Link.String() {
		t.Errorf("%d records up to %s, %t", records, head, ok)
	}
}

// FuzzVerify: whatever comes, it neither panics nor proves what is not to be proved.
func FuzzVerify(f *testing.F) {
	text := exported(f, "RVB", chainOf("RVB", 5))
	f.Add(text)
	f.Add(exported(f, "KVR", nil))
	f.Add(text[:len(text)/2])
	f.Add(bytes.Replace(text, []byte("fasteners=8"), []byte("fasteners=9"), 1))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := proof.Verify(bytes.NewReader(text))
		if err != nil {
			if err.Error() == "" {
				t.Error("an error without a word")
			}
			return
		}
		records, head, ok := provedByHand(text)
		if !ok || int64(records) != s.Records || head != s.Head.String() {
			t.Errorf("proved: %+v; by hand: %d records up to %s, %t", s, records, head, ok)
		}
	})
}
