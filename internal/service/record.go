package service

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// record is how one kind of record goes between the API and the store. T is the
// domain's type, M its message.
type record[T ledger.Record, M interface{ GetName() string }] struct {
	kind ledger.RecordKind
	// collection of the resource names, which is `members` in camel case.
	collection string
	// members is the field of a batch.
	members string
	from    func(*problems, M) T
	to      func(T) M
}

func (k record[T, M]) what() string {
	return strings.ReplaceAll(ledger.RecordKinds.Name(k.kind), "-", " ")
}

// keep answers a Record method.
func (k record[T, M]) keep(ctx context.Context, s *Services, messages []M, validateOnly bool) ([]*pb.Outcome, error) {
	if err := access.Allow(ctx, access.Record); err != nil {
		return nil, err
	}
	if err := checkBatch(k.members, len(messages)); err != nil {
		return nil, err
	}
	members := make([]member[ledger.Record], len(messages))
	for i, m := range messages {
		var p problems
		r := k.from(&p, m)
		members[i] = member[ledger.Record]{item: r, name: m.GetName(), err: p.invalid(k.what(), r.Validate)}
	}
	return keepBatch(members, func(records []ledger.Record) ([]store.Outcome, error) {
		return s.store.Record(ctx, records, store.Change{ValidateOnly: validateOnly})
	})
}

// fetch answers a Get method.
func (k record[T, M]) fetch(ctx context.Context, s *Services, name string) (M, error) {
	var none M
	if err := access.Allow(ctx, access.Read); err != nil {
		return none, err
	}
	var p problems
	id := p.recordID("name", k.collection, name)
	if err := ledger.Invalid("request", p); err != nil {
		return none, err
	}
	found, err := s.store.FindRecord(ctx, k.kind, id)
	if err != nil {
		return none, err
	}
	return k.message(found)
}

// list answers a List method, given the filter as far as its fields are the
// kind's own.
func (k record[T, M]) list(ctx context.Context, s *Services, req listRequest, p problems, f store.RecordFilter) ([]M, string, error) {
	f.Kind = k.kind
	records, next, err := listPage(ctx, req, p, func(page store.Page) ([]ledger.Record, string, error) {
		return s.store.Records(ctx, f, page)
	}, func(r ledger.Record) ledger.Record { return r })
	if err != nil {
		return nil, "", err
	}
	out := make([]M, len(records))
	for i, r := range records {
		if out[i], err = k.message(r); err != nil {
			return nil, "", err
		}
	}
	return out, next, nil
}

func (k record[T, M]) message(r ledger.Record) (M, error) {
	typed, ok := r.(T)
	if !ok {
		var none M
		return none, fmt.Errorf("store gave a %T for a %s", r, k.what())
	}
	return k.to(typed), nil
}

// placeFilter reads a place that is one, with nothing left open.
func (p *problems) placeFilter(field, name string) ledger.Place {
	place := p.place(field, name)
	if hasWildcard(place) {
		p.add(field, "%q stands for many; expected one site, tower, cell or joint, or nothing", name)
	}
	return place
}

// period reads a start that counts and an end that does not.
func (p *problems) period(start, end *timestamppb.Timestamp) (from, to time.Time) {
	from, to = p.time("start_time", start), p.time("end_time", end)
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		p.add("end_time", "%s is before start_time %s", to.Format(time.RFC3339), from.Format(time.RFC3339))
	}
	return from, to
}
