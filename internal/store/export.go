package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/proof"
)

// ExportSite writes the chain of a site to a new file: every record with the bytes
// that its link is made of, what was found on it, the digests of what is attached to
// it, and what the registers say of the things that records name. All of it is read
// from one state of the database. The file is proved before it has its name, so that
// a file of that name is whole. Errors: KindNotFound when there is no such site;
// KindExists when there is such a file, which is left alone; KindPrecondition when
// the chain does not verify.
func (s *Store) ExportSite(ctx context.Context, site, path string) (summary proof.Summary, err error) {
	err = writeNew(path, func(f *os.File) error {
		var failed *fs.PathError
		err := s.writeSite(ctx, site, f)
		if errors.As(err, &failed) && failed.Path == f.Name() { // as on a full disk: no fault of the database's
			return fileFault(path, failed.Err)
		}
		if err != nil {
			return err
		}
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return err
		}
		summary, err = proof.Verify(f)
		var fault *proof.Fault
		if errors.As(err, &fault) {
			return notWhole(site, fault.Error())
		}
		return err
	})
	return summary, err
}

// notWhole is that the chain of a site does not verify.
func notWhole(site, problem string) error {
	return &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonConflict,
		Message: fmt.Sprintf("the chain of site %s is not whole, so that nothing is exported (%s); `trackerd verify` tells more", site, problem)}
}

// writeSite writes an export of a site to w.
func (s *Store) writeSite(ctx context.Context, site string, w io.Writer) error {
	return s.viewLong(ctx, func(t *tx) error {
		if err := t.noTimeouts(ctx); err != nil {
			return err
		}
		key, err := t.needNamed(ctx, siteNoun, site)
		if err != nil {
			return err
		}
		head := proof.Header{Site: site, ExportTime: ledger.Microseconds(time.Now())}
		var link []byte
		if err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT sequence, link FROM chains WHERE id = ?"), key).Scan(&head.Records, &link); err != nil {
			return fmt.Errorf("chain of site %s: %w", site, err)
		}
		copy(head.Head[:], link)
		e := exporter{tx: t, site: key, code: site, named: newNamedThings()}
		if e.out, err = proof.NewWriter(w, head); err != nil {
			return err
		}
		if err := e.records(ctx, head.Records); err != nil {
			return err
		}
		if err := e.registers(ctx); err != nil {
			return err
		}
		return e.out.Close()
	})
}

// exporter writes one site.
type exporter struct {
	*tx
	site  int
	code  string
	out   *proof.Writer
	named namedThings
}

// records writes the chain in windows, so that memory does not grow with it.
func (e *exporter) records(ctx context.Context, length int64) error {
	const window = 1000
	base := int64(e.site) << sequenceBits
	for from := int64(1); from <= length; from += window {
		last := min(from+window-1, length)
		records, err := e.recordsBetween(ctx, base+from, base+last)
		if err != nil {
			return err
		}
		keys := make([]any, 0, len(records))
		for id := range records {
			keys = append(keys, id)
		}
		findings, err := e.findingsOf(ctx, keys)
		if err != nil {
			return err
		}
		attached, err := e.attachments(ctx, keys, nil)
		if err != nil {
			return err
		}
		for sequence := from; sequence <= last; sequence++ {
			r, ok := records[base+sequence]
			if !ok {
				return notWhole(e.code, fmt.Sprintf("record %d is missing", sequence))
			}
			one := proof.Record{Sequence: sequence, Canonical: ledger.Canonical(r), Findings: findings[base+sequence], Link: r.Head().Link}
			for _, a := range attached[base+sequence] {
				one.Attachments = append(one.Attachments, proof.Attachment{SHA256: fmt.Sprintf("%x", a.SHA256), FileName: a.FileName, MediaType: a.MediaType, Size: a.Size})
			}
			if err := e.out.Record(one); err != nil {
				return err
			}
			e.named.take(proof.NamedIn(one.Canonical))
		}
	}
	return nil
}

// noTimeouts takes off what limits the time of a statement: to read all of a chain
// takes as long as the chain is long.
func (t *tx) noTimeouts(ctx context.Context) error {
	if t.engine != (postgresEngine{}) {
		return nil
	}
	return noTimeouts(ctx, t.sql)
}

func noTimeouts(ctx context.Context, t transaction) error {
	for _, name := range []string{"statement_timeout", "lock_timeout", "idle_in_transaction_session_timeout"} {
		if _, err := t.ExecContext(ctx, "SET LOCAL "+name+" = 0"); err != nil {
			return err
		}
	}
	return nil
}
