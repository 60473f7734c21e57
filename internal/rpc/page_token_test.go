package rpc_test

import (
	"encoding/base64"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

func TestPageTokens(t *testing.T) {
	request := &pb.ListToolsRequest{PageSize: 10, Kind: pb.ToolKind_TOOL_KIND_HOIST, HomeSite: "sites/RVB"}
	token := rpc.PageToken(request, "TW-RVB-01\x00\xff")
	if token == "" {
		t.Fatal("no token")
	}
	// The page's size, and of course the token itself, may differ.
	next := &pb.ListToolsRequest{PageSize: 99, PageToken: token, Kind: pb.ToolKind_TOOL_KIND_HOIST, HomeSite: "sites/RVB"}
	if after, err := rpc.PageAfter(next, token); err != nil || after != "TW-RVB-01\x00\xff" {
		t.Errorf("%q %v", after, err)
	}
	if after, err := rpc.PageAfter(next, ""); err != nil || after != "" {
		t.Errorf("the first page: %q %v", after, err)
	}
	if got := rpc.PageToken(request, ""); got != "" {
		t.Errorf("the end of the list: %q", got)
	}

	refused := func(name string, err error) {
		t.Helper()
		if e := ledger.AsError(err); e == nil || e.Kind != ledger.KindInvalid || e.Reason != ledger.ReasonPageTokenInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	_, err := rpc.PageAfter(&pb.ListToolsRequest{Kind: pb.ToolKind_TOOL_KIND_SLING, HomeSite: "sites/RVB"}, token)
	refused("another filter", err)
	_, err = rpc.PageAfter(&pb.ListToolsRequest{HomeSite: "sites/RVB"}, token)
	refused("a filter less", err)
	// The same fields under the same numbers, in the request of another method.
	_, err = rpc.PageAfter(&pb.ListPeopleRequest{HomeSite: "sites/RVB"}, rpc.PageToken(&pb.ListSitesRequest{Region: "sites/RVB"}, "k"))
	refused("another method", err)

	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil {
		t.Fatal(err)
	}
	for i := range raw {
		damaged := append([]byte(nil), raw...)
		damaged[i] ^= 1
		_, err := rpc.PageAfter(next, base64.RawURLEncoding.EncodeToString(damaged))
		refused("a byte changed", err)
	}
	for _, bad := range []string{"x", "!!!", token[:len(token)-3], token + "AAAA", token[:4]} {
		_, err := rpc.PageAfter(next, bad)
		refused(bad, err)
	}
}
