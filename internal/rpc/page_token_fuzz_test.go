package rpc_test

import (
	"encoding/base64"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

// FuzzPageToken: a token gives back the key that it was made of, for the request it was
// made for and for no other, and any other text gives nothing and says why.
func FuzzPageToken(f *testing.F) {
	token := rpc.PageToken(&pb.ListToolsRequest{HomeSite: "sites/RVB"}, "TW-1")
	for _, text := range []string{token, token[:len(token)-1], token + "=", token + "A", strings.Replace(token, "-", "+", 1), "AQ", token[:9] + "\r\n" + token[9:], "", "\xff", "AQAAAAAAAAAAAAAAAAAAAAAAAA"} {
		f.Add("sites/RVB", "TW-1", text)
	}
	f.Add("", "\x00\xff", "x")
	f.Add("sites/RVB\n", "a\nb", "-")
	f.Fuzz(func(t *testing.T, site, key, text string) {
		request := &pb.ListToolsRequest{PageSize: 7, HomeSite: site}
		made := rpc.PageToken(request, key)
		next := &pb.ListToolsRequest{PageSize: 8, PageToken: made, HomeSite: site}
		if after, err := rpc.PageAfter(next, made); err != nil || after != key {
			t.Fatalf("the key %q came back as %q, %v", key, after, err)
		}
		if key != "" {
			for _, other := range []proto.Message{&pb.ListToolsRequest{HomeSite: site + "/"}, &pb.ListToolsRequest{HomeSite: site, Kind: 1}, &pb.ListPeopleRequest{HomeSite: site}} {
				if after, err := rpc.PageAfter(other, made); err == nil {
					t.Errorf("a token of another request gave %q", after)
				}
			}
		}
		after, err := rpc.PageAfter(next, text)
		if err != nil {
			if e := ledger.AsError(err); after != "" || e == nil || e.Kind != ledger.KindInvalid || e.Reason != ledger.ReasonPageTokenInvalid || len(e.Fields) != 1 {
				t.Errorf("%q gave %q, %v", text, after, err)
			}
			return
		}
		// One key has one token, however loosely its text is written (line ends within it,
		// as a mail program makes them).
		raw, err := base64.RawURLEncoding.DecodeString(text)
		if again := rpc.PageToken(request, after); err != nil || text != "" && again != base64.RawURLEncoding.EncodeToString(raw) {
			t.Errorf("%q gave %q, whose token is %q", text, after, again)
		}
	})
}
