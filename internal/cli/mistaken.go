package cli

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/grpc"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// findMistaken finds the record that is to be corrected: one that waits on this device
// is taken from here, and so is one that was sent when there is no signal. Of a record of
// another device its name is enough to withdraw it; to replace it, it must be whole.
func (a *app) findMistaken(ctx context.Context, typed string, whole bool) (*recordKind, record, error) {
	id, err := parseRecordID(typed)
	if err != nil {
		return a.findRecord(ctx, typed) // which says what is wrong with it
	}
	var own *outbox.Entry
	if a.keepsAnything() {
		_, entries, err := a.outboxEntries()
		if err != nil {
			return nil, nil, err
		}
		own = entryByID(entries, id)
	}
	if own != nil && own.State != outbox.Delivered {
		return correctable(own)
	}
	type found struct {
		kind   *recordKind
		record record
	}
	f, err := lookUp(ctx, a, func(ctx context.Context, _ *grpc.ClientConn) (found, error) {
		k, r, err := a.findRecord(ctx, typed)
		return found{k, r}, err
	}, func() (found, error) {
		if own != nil {
			k, r, err := correctable(own)
			return found{k, r}, err
		}
		k, r, err := a.carriedRecord(typed, whole)
		return found{k, r}, err
	})
	return f.kind, f.record, err
}

// keepsAnything says whether this device has an outbox.
func (a *app) keepsAnything() bool {
	box, err := a.deviceOutbox()
	return err == nil && box.Exists()
}

// correctable is the record of an entry that the server has, or will get.
func correctable(e *outbox.Entry) (*recordKind, record, error) {
	switch e.State {
	case outbox.Refused:
		return nil, nil, &failure{code: exitData, message: fmt.Sprintf("the entry %s was refused, and never kept", e.ID), lines: []string{wayOn(e.ID.String())}}
	case outbox.Withdrawn, outbox.Replaced:
		return nil, nil, &failure{code: exitData, message: fmt.Sprintf("the entry %s was refused, and is %s", e.ID, e.State)}
	default: // the others go on below
	}
	p, err := readPending(e)
	if err != nil {
		return nil, nil, &failure{code: exitIO, message: err.Error()}
	}
	k, err := kindOfName(p.record.GetName())
	return k, p.record, err
}

// carriedRecord finds a record of another device in carried data, or takes it by its
// name where its kind was typed. Carried data have of a record what rules ask of it, and
// of few kinds: enough to withdraw one, and not to make another in its place.
func (a *app) carriedRecord(typed string, whole bool) (*recordKind, record, error) {
	id, err := parseRecordID(typed)
	if err != nil {
		return nil, nil, err
	}
	packs := a.allPacks()
	if len(packs) == 0 {
		return nil, nil, a.nothingCarried("the record " + id.String() + " can't be looked up")
	}
	const shorter = "trackctl withdraw takes it back without a signal, and the entry can be made anew; or correct it where there is one"
	for _, p := range packs {
		r, ok := p.Record(id)
		if err := p.Err(); err != nil {
			return nil, nil, carriedFailure(p.Site().Code, err)
		}
		if !ok {
			continue
		}
		m, is := wire.RecordTo(r).(record)
		if !is {
			continue
		}
		if whole {
			return nil, nil, &failure{code: exitUnavailable, message: fmt.Sprintf("the %s %s was made on another device: to replace it, it must be read whole from the server, which can't be reached", recordWord(m), id),
				lines: []string{shorter}}
		}
		k, err := kindOfName(m.GetName())
		return k, m, err
	}
	collection, _, named := strings.Cut(strings.TrimSpace(typed), "/")
	if whole || !named {
		f := a.notKnownHere("the record "+id.String(), packs)
		f.code = exitUnavailable
		f.lines = []string{"the server, which would know it, can't be reached", "with its kind before the id, trackctl withdraw takes it back all the same, such as trackctl withdraw incidents/" + id.String()}
		return nil, nil, f
	}
	k, err := kindOfCollection(recordKinds(), collection)
	if err != nil {
		return nil, nil, err
	}
	r := k.blank()
	setString(r, "name", ledger.RecordName(k.kind, id))
	return k, r, nil
}

// mayCorrect refuses, before anything is kept, what the server would: a correction of a
// record of a kind that has none, and a second one of a record that this device has
// corrected.
func (a *app) mayCorrect(k *recordKind, name string) error {
	refuse := func(format string, args ...any) error {
		return &failure{code: exitData, message: "not kept: " + fmt.Sprintf(format, args...)}
	}
	switch k.kind {
	case ledger.KindCorrection:
		return refuse("a correction can't be corrected; correct the record that holds now")
	case ledger.KindHold, ledger.KindDisposition:
		return refuse("a %s is undone by another decision, not by a correction", ledger.RecordKinds.Name(k.kind))
	case ledger.KindAlarm:
		return refuse("an alarm is answered by a decision, such as a hold on the lot, not by a correction")
	default: // the others go on below
	}
	if !a.keepsAnything() {
		return nil
	}
	_, entries, err := a.outboxEntries()
	if err != nil {
		return err
	}
	for _, e := range entries {
		if e.State != outbox.Waiting && e.State != outbox.Delivered || !e.Mentions(name) {
			continue
		}
		p, err := readPending(e)
		if err != nil {
			continue
		}
		if c, is := p.record.(*pb.Correction); is && c.GetCorrects() == name {
			return refuse("record %s was corrected already on this device, by %s; correct its replacement instead", ledger.ShortName(name), e.ID)
		}
	}
	return nil
}
