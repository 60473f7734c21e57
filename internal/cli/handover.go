package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
	_ "time/tzdata" // a page must tell a site's times right on any machine

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/report"
	pb "jointledger/proto/jointledger/v1"
)

// exitNotComplete is for a hand-over record that was written and is not complete.
const exitNotComplete = 1

// handoverLines is how many of the missing things are told on the terminal; the
// page has them all.
const handoverLines = 20

// handoverTimeout is how long the record may make wait for its first part, and for
// each that follows, when --timeout says nothing else: the server first reads
// everything that a site has.
const handoverTimeout = 5 * time.Minute

const handoverHelp = `PLACE is a cell, a tower or a site. The page needs nothing else to be read: no
network, no script. It prints on A4 and US letter. What is missing comes first; the
record never calls itself complete while anything is.

The exit code is 0 when the record is complete and 1 when it is not; it is written
either way. Other codes are those of trackctl exit-codes, and then nothing is
written. The record of a whole site takes a while: --timeout is 5 minutes when not
given.

With --output json the whole record is one object, SI throughout, null for what was
not given:
  place, site, read_at, prepared_by, program
  complete, missing       the verdict, and each missing thing with its place
  specifications, lots    those used, with torque_n_m and its low and high
  tools                   with calibrations: points, and the verdicts as_found and
                          as_left under ISO 6789-1:2017 (simple acceptance)
  joints                  each with state, open_holds and records; a record has its
                          kind, id, at, person, chain_sequence, corrected_by, its
                          content under the name of its kind, findings, attachments
  people, chain           who made the records; sequence and link of the chain's head

`

// newHandoverCommand makes the command that hands a place over.
func newHandoverCommand(a *app) *cobra.Command {
	var file string
	cmd := a.command("handover PLACE", "Write the hand-over record of a cell, tower or site", handoverHelp+caution)
	cmd.Example = "  trackctl handover rvb/ct2/c3 --file rvb-ct2-c3.html\n  trackctl handover rvb/ct2 --output json > rvb-ct2.json"
	newFields(cmd).bind("file", "", "FILE", "write to this file instead of the standard output; an earlier one is replaced", func(text string) error {
		if text == "" {
			return errors.New("expected the name of a file")
		}
		file = text
		return nil
	})
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		place, err := a.placeAsked(args, 1, 2, 3)
		if err != nil {
			return err
		}
		switch {
		case a.format == output.CSV || a.format == output.Parquet:
			return usage("--output: a hand-over record is a page (table, which is the default) or json, not %s", a.format)
		case a.format == output.Table && file == "" && isTerminal(os.Stdout):
			return usage("the page would fill this terminal; name a file with --file, such as --file %s", "handover.html")
		}
		if !cmd.Flags().Changed("timeout") {
			a.settings.timeout = handoverTimeout
		}
		h, err := a.readHandover(ctx, place)
		if err != nil {
			return err
		}
		return a.tellHandover(h, file)
	})
}

// readHandover reads the whole record. A stream that ends too soon is an error:
// half a record must not look like one.
func (a *app) readHandover(ctx context.Context, place ledger.Place) (*report.HandoverDocument, error) {
	ctx, cancel := context.WithCancel(ctx) // ends the stream of a record that is given up
	defer cancel()
	conn, err := a.dial()
	if err != nil {
		return nil, err
	}
	b := &handoverBuilder{place: place, program: "trackctl " + versionText(), person: a.settings.person}
	stream, err := pb.NewProgressServiceClient(conn).GetHandover(ctx, &pb.GetHandoverRequest{Place: place.Resource()})
	for err == nil {
		var part *pb.GetHandoverResponse
		if part, err = stream.Recv(); err == nil {
			err = b.add(part)
		}
	}
	if errors.Is(err, io.EOF) {
		return b.document()
	}
	var f *failure
	if errors.As(err, &f) {
		return nil, f
	}
	return nil, a.callFailure(err, map[string]string{"place": "PLACE"})
}

// tellHandover writes the record and tells in short what is in it.
func (a *app) tellHandover(h *report.HandoverDocument, file string) error {
	write := report.Handover
	if a.format == output.JSON {
		write = report.HandoverJSON
	}
	var b bytes.Buffer
	if err := write(&b, h); err != nil {
		return &failure{code: exitInternal, message: fmt.Sprintf("the record can't be laid out: %v", err)}
	}
	if file == "" {
		if _, err := a.out.Write(b.Bytes()); err != nil {
			return err
		}
	} else if err := replaceFile(file, b.Bytes()); err != nil {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("the record can't be written: %v", err)}
	}
	a.summariseHandover(h, file)
	if !h.Complete {
		return &failure{code: exitNotComplete}
	}
	return nil
}

func (a *app) summariseHandover(h *report.HandoverDocument, file string) {
	say := func(format string, args ...any) {
		fmt.Fprintf(a.err, "%s\n", output.Printable(fmt.Sprintf(format, args...)))
	}
	if h.Complete {
		say("COMPLETE: %s, %s, nothing missing", h.Place, counted(len(h.Joints), "joint"))
	} else {
		say("NOT COMPLETE: %s, %s, %s missing", h.Place, counted(len(h.Joints), "joint"), counted(len(h.Missing), "thing"))
	}
	for i, m := range h.Missing {
		if i == handoverLines {
			say("  and %d more; the record has them all", len(h.Missing)-i)
			break
		}
		say("  %s: %s", m.Place, m.Short())
	}
	if file != "" {
		say("written to %s", file)
	}
	say("%s", caution)
}

// replaceFile writes a file whole or not at all: who finds it finds a finished
// one. What is no plain file, such as a device, is written to as it is.
func replaceFile(name string, content []byte) (err error) {
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() {
		return os.WriteFile(name, content, 0o644)
	}
	part, err := os.CreateTemp(filepath.Dir(name), ".handover-*")
	if err != nil {
		if failed := (*os.PathError)(nil); errors.As(err, &failed) { // the part's name says nothing to who asked
			return fmt.Errorf("folder %s: %w", filepath.Dir(name), failed.Err)
		}
		return err
	}
	defer func() {
		if err != nil {
			_ = os.Remove(part.Name()) // what went wrong before is what matters
		}
	}()
	_, err = part.Write(content)
	if err == nil {
		err = part.Chmod(0o644) // it is made to be handed on
	}
	if closed := part.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(part.Name(), name)
	}
	return err
}
