package httpjson_test

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/grpc"

	"jointledger/internal/httpjson"
	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

// Who asks too often is told in how many seconds to come again (RFC 9110, section 10.2.3),
// by methods with one answer, by streams, and by the Connect protocol's own clients.
func TestRetryAfter(t *testing.T) {
	for name, tc := range map[string]struct {
		path string
		kind string // of the body; JSON unless given
	}{
		"one answer": {path: getPerson}, "a stream": {path: download},
		"Connect, binary": {path: getPerson, kind: "application/proto"},
	} {
		t.Run(name, func(t *testing.T) {
			// The bucket holds one call and is filled again in 20 seconds.
			f := serveWithin(t, rpc.Quota{Rate: 0.05, Burst: 1}, httpjson.Options{}, false)
			f.download = func(grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error { return nil }
			body, headers := "{}", []string(nil)
			if tc.kind != "" {
				body, headers = "", []string{"Content-Type", tc.kind}
			}
			if a := f.send(t, "POST", tc.path, strings.NewReader(body), headers...); a.status != http.StatusOK || a.header.Get("Retry-After") != "" {
				t.Fatalf("the first: %d, Retry-After %q; %s", a.status, a.header.Get("Retry-After"), a.body)
			}
			a := f.send(t, "POST", tc.path, strings.NewReader(body), headers...)
			if a.status != http.StatusTooManyRequests || a.code() != "resource_exhausted" {
				t.Fatalf("the second: %d; %s", a.status, a.body)
			}
			// Less than 20 by as much as the two calls took.
			if s, err := strconv.Atoi(a.header.Get("Retry-After")); err != nil || s < 1 || s > 20 {
				t.Errorf("Retry-After is %q; expected a number of seconds from 1 to 20", a.header.Get("Retry-After"))
			}
		})
	}
}

// A moment is a second; a limit that does not pass with time says nothing of when.
func TestRetryAfterOfAnError(t *testing.T) {
	for name, tc := range map[string]struct {
		of     *ledger.Error
		status int
		want   string
	}{
		"unavailable":        {&ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable, Message: "away"}, 503, "1"},
		"too large":          {&ledger.Error{Kind: ledger.KindLimit, Reason: ledger.ReasonLimitExceeded, Message: "too many members"}, 429, ""},
		"a conflict, no 429": {&ledger.Error{Kind: ledger.KindConflict, Reason: ledger.ReasonConflict, Message: "met another"}, 409, ""},
	} {
		t.Run(name, func(t *testing.T) {
			f := serve(t, httpjson.Options{}, false)
			f.get = func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) { return nil, tc.of }
			a := f.send(t, "POST", getPerson, strings.NewReader("{}"))
			if a.status != tc.status || a.header.Get("Retry-After") != tc.want || !strings.Contains(a.body, tc.of.Message) {
				t.Errorf("%d, Retry-After %q, %s; expected %d, %q", a.status, a.header.Get("Retry-After"), a.body, tc.status, tc.want)
			}
		})
	}
}
