package store_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	"jointledger/internal/visible"
)

// TestStateMachineOfLists lets chance keep records, attach contents to them, and read lists
// in small pages while more records come in between.
func TestStateMachineOfLists(t *testing.T) {
	t.Parallel()
	letChance(t, story{
		begin: func(m *machine, rt *rapid.T) {
			m.registerAll(rt)
			m.raw = storetest.Raw(m.t, m.config)
			m.recordNew(rt)
		},
		actions: func(m *machine) map[string]func(*rapid.T) {
			return map[string]func(*rapid.T){
				"record":       m.recordNew,
				"correct":      m.correct,
				"attach":       m.attach,
				"attach more":  m.attach,
				"read pages":   m.readPages,
				"other server": m.change,
			}
		},
		end: func(m *machine, rt *rapid.T) {
			for range 3 {
				m.attach(rt)
				m.readPages(rt)
			}
			m.compareAttachments(rt)
			m.compare(rt)
		},
	})
}

// machineContents are what may be attached: two of one part and one of two.
func machineContents() [][]byte {
	return [][]byte{[]byte("a photo"), []byte("a certificate"), bytes.Repeat([]byte("large "), 50_000)}
}

// attach attaches a content to what was kept before, or to what was not, or under a kind
// that it is not, now and then again.
func (m *machine) attach(rt *rapid.T) {
	of := m.draws(rt) // never kept
	if n := len(m.sent); n > 0 && evenly(rt, 10, "to what was sent") > 0 {
		of = m.sent[evenly(rt, n, "record")]
	}
	kind := of.RecordKind()
	if evenly(rt, 10, "another kind") == 0 {
		kind = ledger.KindTightening
	}
	content := rapid.SampledFrom(machineContents()).Draw(rt, "content")
	a := store.Attachment{FileName: rapid.SampledFrom([]string{"a.png", "größe.png", ""}).Draw(rt, "name"), MediaType: "image/png"} // "" is not valid
	want, reason := m.model.attach(kind, of.Head().ID, a, content)
	got, err := m.s.Attach(m.t.Context(), kind, of.Head().ID, a, content)
	if refusal, ok := errors.AsType[*ledger.Error](err); ok != (reason != 0) || ok && refusal.Reason != reason || err != nil && !ok {
		rt.Fatalf("attached to a %s: %v; the model says reason %d", ledger.RecordKinds.Name(kind), err, reason)
	}
	if diff := cmp.Diff(want, got, cmpopts.IgnoreFields(store.Attachment{}, "CreateTime")); diff != "" {
		rt.Fatalf("attached (-model +store):\n%s", diff)
	}
}

// compareAttachments reads what is attached to each record, and each content: all that the
// model has, whole and once, and no content besides; and what of it is there for who sees
// one site.
func (m *machine) compareAttachments(rt *rapid.T) {
	all := m.compareAttached(rt, visible.Sites{})
	m.compareAttached(rt, visible.Sites{Restricted: true, Codes: []string{storetest.Kolkata}})
	var contents int
	if err := m.raw.QueryRowContext(m.t.Context(), "SELECT count(DISTINCT sha256) FROM blobs").Scan(&contents); err != nil || contents != all {
		rt.Fatalf("%d contents are kept, %v; %d are attached to something", contents, err, all)
	}
}

// compareAttached gives how many contents there are for somebody.
func (m *machine) compareAttached(rt *rapid.T, sees visible.Sites) int {
	ctx, attached := visible.With(m.t.Context(), sees), map[[32]byte]bool{}
	for _, k := range m.model.kept {
		got, err := m.s.Attachments(ctx, k.record.RecordKind(), k.record.Head().ID)
		there := m.model.sees(k, sees.Of)
		if !there {
			if refusal, ok := errors.AsType[*ledger.Error](err); !ok || refusal.Reason != ledger.ReasonUnknownResource {
				rt.Fatalf("attachments of %s, of another site, are %v, %v", ledger.RecordResource(k.record), got, err)
			}
			continue
		}
		if diff := cmp.Diff(k.attached, got, cmpopts.EquateEmpty(), cmpopts.IgnoreFields(store.Attachment{}, "CreateTime")); err != nil || diff != "" {
			rt.Fatalf("attachments of %s, %v (-model +store):\n%s", ledger.RecordResource(k.record), err, diff)
		}
		for _, a := range k.attached {
			attached[a.SHA256] = true
		}
	}
	for _, want := range machineContents() {
		sum, got := sha256.Sum256(want), []byte(nil)
		err := m.s.AttachmentContent(ctx, sum, func(part []byte) error { got = append(got, part...); return nil })
		if attached[sum] != (err == nil) || attached[sum] && !bytes.Equal(got, want) {
			rt.Fatalf("%d bytes of a content came back as %d to who sees %+v, %v; the model has it: %t", len(want), len(got), sees, err, attached[sum])
		}
	}
	return len(attached)
}

// readPages reads a list of records in small pages, while records come in between: it must
// give what there was before, each once, by site in the order of the taking, and of what came
// in meanwhile nothing twice.
func (m *machine) readPages(rt *rapid.T) {
	f := m.drawFilter(rt)
	before := m.model.listed(f)
	var got []uuid.UUID
	page := store.Page{Size: 1 + evenly(rt, 4, "page size")}
	for pages := 0; ; pages++ {
		items, next, err := m.s.Records(m.t.Context(), f, page)
		if err != nil || len(items) > page.Size || next != "" && len(items) < page.Size || pages > 500 {
			rt.Fatalf("page %d of %+v: %d records, next %q, %v", pages, f, len(items), next, err)
		}
		for _, r := range items {
			if h, ok := r.(*ledger.Hold); !ok || h.Rule == "" {
				got = append(got, r.Head().ID)
			}
		}
		if next == "" {
			break
		}
		if page.After = next; evenly(rt, 2, "meanwhile") == 0 && pages < 10 {
			m.recordNew(rt)
		}
	}
	m.agreeOnList(rt, f, before, got)
}

func (m *machine) agreeOnList(rt *rapid.T, f store.RecordFilter, before, got []uuid.UUID) {
	after := m.model.listed(f)
	seen, sites, last := map[uuid.UUID]bool{}, map[string]bool{}, (*modelRecord)(nil)
	for _, id := range got {
		k := m.model.byID[id]
		if k == nil || seen[id] || !slices.Contains(after, id) {
			rt.Fatalf("%+v gives %s, which it gave before: %t; the model has %d such records", f, id, seen[id], len(after))
		}
		switch {
		case last == nil || k.site != last.site:
			if sites[k.site] {
				rt.Fatalf("%+v comes back to the site %s", f, k.site)
			}
			sites[k.site] = true
		case k.batch < last.batch:
			rt.Fatalf("%+v gives %s after %s, which was taken in later", f, id, last.record.Head().ID)
		}
		seen[id], last = true, k
	}
	for _, id := range before {
		if !seen[id] {
			rt.Fatalf("%+v, read by pages, lacks %s, which was there before", f, id)
		}
	}
}

// drawFilter asks for records of a kind, of anything or of something.
func (m *machine) drawFilter(rt *rapid.T) store.RecordFilter {
	f := store.RecordFilter{Kind: rapid.SampledFrom([]ledger.RecordKind{ledger.KindTightening, ledger.KindIncident, ledger.KindLotMovement, ledger.KindHold, ledger.KindToolCheck}).Draw(rt, "kind of list")}
	switch evenly(rt, 4, "filter") {
	case 0:
		f.Place.Site = rapid.SampledFrom([]string{storetest.Denver, storetest.Kolkata}).Draw(rt, "site of list")
	case 1:
		f.Person = rapid.SampledFrom([]string{storetest.DenverPerson, storetest.Visitor}).Draw(rt, "person of list")
	}
	return f
}
