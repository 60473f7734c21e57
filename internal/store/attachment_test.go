package store_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// photo is content of a size that is no two times the same within a part.
func photo(size int) []byte {
	content := make([]byte, size)
	draw := rand.NewChaCha8([32]byte{1})
	draw.Read(content) // it never fails
	return content
}

func (d *diary) attach(r ledger.Record, name string, content []byte) store.Attachment {
	d.t.Helper()
	a, err := d.s.Attach(context.Background(), r.RecordKind(), r.Head().ID, store.Attachment{FileName: name, MediaType: "image/png"}, content)
	if err != nil {
		d.t.Fatal(err)
	}
	return a
}

// content reads an attachment's content and the sizes of its parts.
func (d *diary) content(sum [32]byte) (content []byte, parts []int) {
	d.t.Helper()
	err := d.s.AttachmentContent(context.Background(), sum, func(part []byte) error {
		content, parts = append(content, part...), append(parts, len(part))
		return nil
	})
	if err != nil {
		d.t.Fatal(err)
	}
	return content, parts
}

func TestAttachmentsComeBackAsTheyWere(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		r := d.tighten(structural, 8)
		const part = 256 << 10
		var attached []store.Attachment
		for size, parts := range map[int][]int{1: {1}, part - 1: {part - 1}, part: {part}, part + 1: {part, 1}, 3*part + 5: {part, part, part, 5}} {
			want := photo(size)
			a := d.attach(r, "größe.png", want)
			attached = append(attached, a)
			if a.SHA256 != sha256.Sum256(want) || a.Size != int64(size) || a.FileName != "größe.png" || a.MediaType != "image/png" ||
				a.Record != ledger.RecordResource(r) || a.CreateTime.IsZero() {
				t.Errorf("%d bytes: attached as %+v", size, a)
			}
			got, sizes := d.content(a.SHA256)
			if !bytes.Equal(got, want) {
				t.Errorf("%d bytes came back as %d others", size, len(got))
			}
			if diff := cmp.Diff(parts, sizes); diff != "" {
				t.Errorf("%d bytes: parts (-want +got):\n%s", size, diff)
			}
		}
		listed, err := d.s.Attachments(ctx, ledger.KindTightening, r.ID)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(attached, listed); diff != "" {
			t.Errorf("attachments (-attached +listed):\n%s", diff)
		}
	})
}

// A content is kept once, whatever it is attached to, and attached once to each.
func TestAttachmentsAreKeptOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		first, second := d.tighten(structural, 8), d.happen(ledger.Leak, structural)
		content := photo(300 << 10)
		a := d.attach(first, "a.png", content)
		again := d.attach(first, "another name.png", content)
		if diff := cmp.Diff(a, again); diff != "" {
			t.Errorf("attached again (-first +second):\n%s", diff)
		}
		b := d.attach(second, "b.png", content)
		if b.SHA256 != a.SHA256 || b.FileName != "b.png" || b.Record != ledger.RecordResource(second) {
			t.Errorf("attached to another record: %+v", b)
		}
		for r, want := range map[ledger.Record][]store.Attachment{first: {a}, second: {b}} {
			got, err := d.s.Attachments(ctx, r.RecordKind(), r.Head().ID)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%T (-want +got):\n%s", r, diff)
			}
		}
		if got, parts := d.content(a.SHA256); !bytes.Equal(got, content) || len(parts) != 2 {
			t.Errorf("%d bytes in %d parts came back", len(got), len(parts))
		}
	})
}

func TestAttachmentsAreRefused(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		r := d.tighten(structural, 8)
		sound := store.Attachment{FileName: "a.png", MediaType: "image/png"}
		for name, test := range map[string]struct {
			a       store.Attachment
			content []byte
			fields  []string
		}{
			"no name":        {store.Attachment{MediaType: "image/png"}, photo(1), []string{"file_name"}},
			"long name":      {store.Attachment{FileName: strings.Repeat("ö", 201), MediaType: "image/png"}, photo(1), []string{"file_name"}},
			"NUL in name":    {store.Attachment{FileName: "a\x00.png", MediaType: "image/png"}, photo(1), []string{"file_name"}},
			"no UTF-8":       {store.Attachment{FileName: "a\xff.png", MediaType: "image/png"}, photo(1), []string{"file_name"}},
			"nothing at all": {store.Attachment{}, nil, []string{"file_name", "media_type", "chunk"}},
		} {
			_, err := d.s.Attach(ctx, ledger.KindTightening, r.ID, test.a, test.content)
			if diff := cmp.Diff(test.fields, fieldsOf(wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField))); diff != "" {
				t.Errorf("%s: fields (-want +got):\n%s", name, diff)
			}
		}
		d.attach(r, strings.Repeat("ö", 200), photo(1))

		unknown := uuid.New()
		_, err := d.s.Attach(ctx, ledger.KindLotMovement, unknown, sound, photo(1))
		e1 := wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource, "lot movement")
		if e1.Resource != ledger.RecordName(ledger.KindLotMovement, unknown) {
			t.Errorf("resource %q", e1.Resource)
		}
		// A record of another kind is none of this one.
		_, err = d.s.Attach(ctx, ledger.KindIncident, r.ID, sound, photo(1))
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
		_, err = d.s.Attachments(ctx, ledger.KindIncident, r.ID)
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
		sum := sha256.Sum256(photo(2))
		err = d.s.AttachmentContent(ctx, sum, func([]byte) error { t.Error("a part of nothing"); return nil })
		if e := wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource); !strings.HasPrefix(e.Resource, "attachments/") || len(e.Resource) != len("attachments/")+64 {
			t.Errorf("resource %q", e.Resource)
		}
	})
}

// The error of whoever takes the parts ends the reading and is given back as it
// is; so no reader is mistaken for a fault of the store.
func TestAttachmentReaderMayStop(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		a := d.attach(d.tighten(structural, 8), "a.png", photo(1<<20))
		stop, parts := errors.New("line is gone"), 0
		err := d.s.AttachmentContent(context.Background(), a.SHA256, func([]byte) error { parts++; return stop })
		if err != stop || parts != 1 { //nolint:errorlint // the very error
			t.Errorf("%v after %d parts; expected %v after 1", err, parts, stop)
		}
		if got, _ := d.content(a.SHA256); len(got) != 1<<20 {
			t.Errorf("%d bytes afterwards", len(got))
		}
	})
}

// Whoever reads a content holds nothing of the database meanwhile: many more may
// read at once than there are connections, each in the middle of its content.
func TestSlowAttachmentReadersHoldNothing(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		d := newDiary(t, e)
		want := photo(600 << 10)
		a := d.attach(d.tighten(structural, 8), "a.png", want)
		const readers = 100
		var read func(depth int) error
		read = func(depth int) error {
			var got []byte
			err := d.s.AttachmentContent(ctx, a.SHA256, func(part []byte) error {
				if got = append(got, part...); len(got) == len(part) && depth < readers {
					return read(depth + 1) // while this one has its first part
				}
				return nil
			})
			if err == nil && !bytes.Equal(got, want) {
				t.Errorf("reader %d got %d other bytes", depth, len(got))
			}
			return err
		}
		if err := read(1); err != nil {
			t.Errorf("%d readers at once: %v", readers, err)
		}
		d.tighten(structural, 8)
	})
}

// A content that was changed behind the store's back is not passed off as what
// was attached.
func TestDamagedAttachmentIsTold(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		s := storetest.OpenFleet(t, c)
		d := &diary{t, s, storetest.Occurred}
		a := d.attach(d.tighten(structural, 8), "a.png", photo(10))
		db := storetest.Raw(t, c)
		if e.Name == "postgres" {
			mustExec(t, db, `DROP TRIGGER "blobs_never_change" ON "blobs"`)
		} else {
			mustExec(t, db, "DROP TRIGGER blobs_never_update")
		}
		mustExec(t, db, "UPDATE blobs SET content = sha256")
		err := s.AttachmentContent(context.Background(), a.SHA256, func([]byte) error { return nil })
		wantError(t, err, ledger.KindInternal, ledger.ReasonInternal)
	})
}
