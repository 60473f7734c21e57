package service

import (
	"context"
	"crypto/sha256"
	"slices"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/visible"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// thing is how one kind of thing goes between the API and the store. T is the
// domain's type, K what the store finds it by, M its message, R the message that
// creates it.
type thing[T, K any, M thingMessage, R changeRequest] struct {
	// what names the kind, and is the field of the thing in its requests.
	what string
	// message is the thing in a request to create it.
	message func(R) M
	// from reads a message without its name; to writes one.
	from func(*problems, M) T
	to   func(T) M
	// identify puts the name that a request to create asks for into the thing.
	identify func(*problems, R, *T)
	// home is the site that one belongs to without lying in it; nil for a kind that has
	// none.
	home func(T) string
	// mayTurn asks whether the caller may turn what is kept into something else; nil for a
	// kind of which the name says all.
	mayTurn func(ctx context.Context, kept, into T) error
	// parse reads a full resource name in the field of that name.
	parse func(p *problems, field, name string) K

	key      func(T) K
	resource func(T) string
	validate func(T) []ledger.FieldError
	// fields are those that an update may change.
	fields []field[T]

	register func(*store.Store, context.Context, []T, store.Change) ([]store.Outcome, error)
	get      func(*store.Store, context.Context, K) (T, error)
	update   func(s *store.Store, ctx context.Context, key K, version int, c store.Change, apply func(*T) error) (T, error)
}

// thingMessage is what every thing's message has.
type thingMessage interface {
	proto.Message
	GetName() string
	GetEtag() string
}

// changeRequest is what every request to create or update has.
type changeRequest interface {
	proto.Message
	GetRequestId() string
	GetValidateOnly() bool
}

// updateRequest is what every request to update has besides.
type updateRequest interface {
	changeRequest
	GetUpdateMask() *fieldmaskpb.FieldMask
}

// create answers a Create method. The same content again gives what is kept.
func (th thing[T, K, M, R]) create(ctx context.Context, s *Services, req R) (M, error) {
	var none M
	var p problems
	change := changeOf(&p, req)
	item, err := th.read(p, req)
	if err != nil {
		return none, err
	}
	if err := th.mayPut(ctx, s, th.resource(item), item); err != nil {
		return none, err
	}
	outcomes, err := th.register(s.store, ctx, []T{item}, change)
	if err != nil {
		return none, err
	}
	switch {
	case outcomes[0].State == store.Refused:
		return none, outcomes[0].Err
	case outcomes[0].State == store.Taken && change.ValidateOnly:
		return th.to(item), nil
	}
	kept, err := th.get(s.store, ctx, th.key(item))
	if err != nil {
		return none, err
	}
	return th.to(kept), nil
}

// createBatch answers a BatchCreate method.
func (th thing[T, K, M, R]) createBatch(ctx context.Context, s *Services, requests []R, validateOnly bool) ([]*pb.Outcome, error) {
	if err := checkBatch("requests", len(requests)); err != nil {
		return nil, err
	}
	members := make([]member[T], len(requests))
	for i, r := range requests {
		var p problems
		if r.GetRequestId() != "" {
			p.Add("request_id", "must be empty in a batch")
		}
		if r.GetValidateOnly() {
			p.Add("validate_only", "must be left out in a batch: the batch's own holds for all")
		}
		m := &members[i]
		m.item, m.err = th.read(p, r)
		m.name = th.resource(m.item)
		if m.err == nil {
			m.err = th.mayPut(ctx, s, m.name, m.item)
		}
	}
	return keepBatch(ctx, members, func(items []T) ([]store.Outcome, error) {
		return th.register(s.store, ctx, items, store.Change{ValidateOnly: validateOnly})
	})
}

// read reads a request to create. p are the problems found before.
func (th thing[T, K, M, R]) read(p problems, req R) (T, error) {
	var item T
	m := th.message(req)
	given := m.ProtoReflect().IsValid()
	if given {
		item = th.from(&p, m)
	} else {
		p.Add(th.what, "is required")
	}
	th.identify(&p, req, &item)
	return item, p.Invalid(th.what, func() []ledger.FieldError {
		if !given {
			return nil
		}
		return slices.DeleteFunc(th.validate(item), func(f ledger.FieldError) bool {
			// The name follows from the parent: one complaint about it will do.
			return f.Field == "name" && p.About("parent")
		})
	})
}

// fetch answers a Get method.
func (th thing[T, K, M, R]) fetch(ctx context.Context, s *Services, name string) (M, error) {
	var none M
	var p problems
	key := th.parse(&p, "name", name)
	if err := ledger.Invalid("request", p); err != nil {
		return none, err
	}
	item, err := th.get(s.store, ctx, key)
	if err != nil {
		return none, err
	}
	return th.to(item), nil
}

// change answers an Update method; m is the thing in its request.
func (th thing[T, K, M, R]) change(ctx context.Context, s *Services, req updateRequest, m M) (M, error) {
	var none M
	if !m.ProtoReflect().IsValid() {
		return none, ledger.InvalidField("request", th.what, "is required")
	}
	chosen, err := masked(th.what, m, th.fields, req.GetUpdateMask())
	if err != nil {
		return none, err
	}
	var p problems
	change := changeOf(&p, req)
	key := th.parse(&p, "name", m.GetName())

	var unread problems
	given := th.from(&unread, m)
	// Only what the mask names counts: the rest of the message may say anything.
	var edit T
	for _, f := range chosen {
		f.copy(&edit, &given)
	}
	bad := append(p, touching(unread.With(th.validate(edit)), chosen)...)
	if err := ledger.Invalid(th.what, bad); err != nil {
		return none, err
	}
	if err := th.mayPut(ctx, s, m.GetName(), edit); err != nil {
		return none, err
	}
	version, err := wire.VersionOf(m.GetEtag(), th.what, m.GetName())
	if err != nil {
		return none, err
	}
	kept, err := th.update(s.store, ctx, key, version, change, func(item *T) error {
		before := *item
		for _, f := range chosen {
			f.copy(item, &edit)
		}
		if th.mayTurn == nil {
			return nil
		}
		return th.mayTurn(ctx, before, *item)
	})
	if err != nil {
		return none, err
	}
	return th.to(kept), nil
}

// mayPut asks whether the caller may register or change a thing of the name where it
// lies, and knows the site that it is said to belong to.
func (th thing[T, K, M, R]) mayPut(ctx context.Context, s *Services, name string, item T) error {
	if err := allowPlace(ctx, name); err != nil || th.home == nil {
		return err
	}
	if code := th.home(item); code != "" && !visible.From(ctx).Of(code) {
		return s.store.UnknownSite(ctx, code)
	}
	return nil
}

// allowPlace asks whether the caller may register at the site of a resource; what
// belongs to no site was asked for with the method.
func allowPlace(ctx context.Context, resource string) error {
	inside, ok := strings.CutPrefix(resource, "sites/")
	if !ok {
		return nil
	}
	site, _, deeper := strings.Cut(inside, "/")
	if deeper {
		return access.AllowAt(ctx, access.RegisterPlaces, site)
	}
	return access.AllowAt(ctx, access.RegisterSites, site)
}

// changeOf reads how a change is to be made.
func changeOf(p *problems, req changeRequest) store.Change {
	c := store.Change{ValidateOnly: req.GetValidateOnly(), RequestID: req.GetRequestId()}
	if c.RequestID == "" {
		return c
	}
	id, err := uuid.Parse(c.RequestID)
	if err != nil || len(c.RequestID) != 36 {
		p.Add("request_id", "%q is not a UUID in its usual form of 36 characters (AIP-155)", c.RequestID)
	}
	c.RequestID = id.String() // letter case makes no other id
	c.Digest = digest(req)
	return c
}

// digest tells a repeated request from another one under the same id.
func digest(req proto.Message) [sha256.Size]byte {
	bare := proto.Clone(req).ProtoReflect()
	for _, name := range []protoreflect.Name{"request_id", "validate_only"} {
		bare.Clear(bare.Descriptor().Fields().ByName(name))
	}
	// It was received, so it can be marshalled.
	content, _ := proto.MarshalOptions{Deterministic: true}.Marshal(bare.Interface())
	return sha256.Sum256(append([]byte(bare.Descriptor().FullName()+"\n"), content...))
}
