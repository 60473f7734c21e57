package service

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
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
	// action is what recording one takes.
	action access.Action
	from   func(*problems, M) T
	to     func(T) M
	// judge refuses members of a batch for what the store can't see in them; nil
	// for a kind that has nothing of the sort.
	judge func(context.Context, *Services, []M, []member[ledger.Record]) error
	// complete puts into a message what the record itself does not hold; nil when
	// it holds everything.
	complete func(context.Context, *recordNames, T, M) error
}

func (k record[T, M]) what() string {
	return wire.Spoken(k.kind)
}

// keep answers a Record method.
func (k record[T, M]) keep(ctx context.Context, s *Services, messages []M, validateOnly bool) ([]*pb.Outcome, error) {
	if err := checkBatch(k.members, len(messages)); err != nil {
		return nil, err
	}
	members := make([]member[ledger.Record], len(messages))
	for i, m := range messages {
		members[i] = k.read(m)
	}
	if k.judge != nil {
		if err := k.judge(ctx, s, messages, members); err != nil {
			return nil, err
		}
	}
	return keepBatch(ctx, members, func(records []ledger.Record) ([]store.Outcome, error) {
		return s.store.Record(ctx, records, store.Change{ValidateOnly: validateOnly, Caller: callerOf(ctx), Queued: tellQueued(ctx)})
	})
}

// read reads a member of a batch.
func (k record[T, M]) read(m M) member[ledger.Record] {
	var p problems
	r := k.from(&p, m)
	return member[ledger.Record]{item: r, name: m.GetName(), err: p.Invalid(k.what(), r.Validate)}
}

// fetch answers a Get method.
func (k record[T, M]) fetch(ctx context.Context, s *Services, name string) (M, error) {
	var none M
	var p problems
	id := p.RecordID("name", k.collection, name)
	if err := ledger.Invalid("request", p); err != nil {
		return none, err
	}
	found, err := s.store.FindRecord(ctx, k.kind, id)
	if err != nil {
		return none, err
	}
	return k.message(ctx, namesFrom(s.store), found)
}

// list answers a List method, given the filter as far as its fields are the
// kind's own.
func (k record[T, M]) list(ctx context.Context, s *Services, req listRequest, p problems, f store.RecordFilter) ([]M, string, error) {
	f.Kind = k.kind
	records, next, err := listPage(req, p, func(page store.Page) ([]ledger.Record, string, error) {
		return s.store.Records(ctx, f, page)
	}, func(r ledger.Record) ledger.Record { return r })
	if err != nil {
		return nil, "", err
	}
	names := namesFrom(s.store)
	out := make([]M, len(records))
	for i, r := range records {
		if out[i], err = k.message(ctx, names, r); err != nil {
			return nil, "", err
		}
	}
	return out, next, nil
}

// message writes a record of this kind.
func (k record[T, M]) message(ctx context.Context, names *recordNames, r ledger.Record) (M, error) {
	var none M
	typed, ok := r.(T)
	if !ok {
		return none, fmt.Errorf("store gave a %T for a %s", r, k.what())
	}
	m := k.to(typed)
	if k.complete != nil {
		if err := k.complete(ctx, names, typed, m); err != nil {
			return none, err
		}
	}
	return m, nil
}

// messages writes records of this kind.
func (k record[T, M]) messages(ctx context.Context, names *recordNames, records []T) ([]M, error) {
	var out []M
	for _, r := range records {
		m, err := k.message(ctx, names, r)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

// workRequest is what the requests that list work on joints have.
type workRequest interface {
	GetPlace() string
	GetPerson() string
	GetStartTime() *timestamppb.Timestamp
	GetEndTime() *timestamppb.Timestamp
}

func workFilter(p *problems, r workRequest) store.RecordFilter {
	f := store.RecordFilter{
		Place:  p.PlaceFilter("place", r.GetPlace()),
		Person: p.Reference("person", "people", r.GetPerson()),
	}
	f.Start, f.End = p.Period(r.GetStartTime(), r.GetEndTime())
	return f
}
