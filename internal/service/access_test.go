package service_test

import (
	"context"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/service"
)

// methods collects what services register, to call each method as a server does.
type methods map[string]func(context.Context) error

// RegisterService takes in a service.
func (m methods) RegisterService(d *grpc.ServiceDesc, impl any) {
	for _, u := range d.Methods {
		m[d.ServiceName+"/"+u.MethodName] = func(ctx context.Context) error {
			_, err := u.Handler(impl, ctx, func(any) error { return nil }, nil)
			return err
		}
	}
	for _, s := range d.Streams {
		m[d.ServiceName+"/"+s.StreamName] = func(ctx context.Context) error { return s.Handler(impl, emptyStream{ctx}) }
	}
}

// emptyStream gives empty messages and takes any.
type emptyStream struct{ ctx context.Context }

func (s emptyStream) Context() context.Context     { return s.ctx }
func (s emptyStream) SetHeader(metadata.MD) error  { return nil }
func (s emptyStream) SendHeader(metadata.MD) error { return nil }
func (s emptyStream) SetTrailer(metadata.MD)       {}
func (s emptyStream) SendMsg(any) error            { return nil }
func (s emptyStream) RecvMsg(any) error            { return nil }

// may is what a method wants of its caller, by the beginning of its name; the
// longest that fits counts.
var may = map[string]string{
	"Get": "read", "List": "read", "Watch": "read", "Query": "read", "Find": "read", "Count": "read", "Download": "read",
	"Create": "register or change things", "BatchCreate": "register or change things", "Update": "register or change things",
	"Record": "add records", "LendTool": "add records", "SendTool": "add records",
	"RecordHolds": "hold, release, decide or sign off", "RecordDispositions": "hold, release, decide or sign off", "RecordSignOffs": "hold, release, decide or sign off",
	"RecordCorrections": "correct records",
	"HoldToolImpact":    "hold, release, decide or sign off",
	"Upload":            "attach files to records",
	"Deliver":           "add records",
}

// Every method asks whether its caller may, before it does anything else: there
// is no store behind these.
func TestEveryMethodAsksWhetherItsCallerMay(t *testing.T) {
	all := methods{}
	service.New(nil, nil).Register(all)
	if len(all) < 80 {
		t.Fatalf("only %d methods", len(all))
	}
	visitor := access.With(t.Context(), access.Principal{Name: "visitor", Role: 200})
	for name, call := range all {
		if e := ledger.AsError(call(t.Context())); e == nil || e.Kind != ledger.KindUnauthenticated {
			t.Errorf("%s, nobody: %v", name, e)
		}
		method, longest := name[strings.IndexByte(name, '/')+1:], ""
		for prefix := range may {
			if strings.HasPrefix(method, prefix) && len(prefix) > len(longest) {
				longest = prefix
			}
		}
		e := ledger.AsError(call(visitor))
		if e == nil || e.Kind != ledger.KindDenied || e.Message != "visitor may not "+may[longest] {
			t.Errorf("%s, a visitor: %v; expected that he may not %s", name, e, may[longest])
		}
	}
}
