package rpc_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"jointledger/internal/asof"
	pb "jointledger/proto/jointledger/v1"
)

// The client says how old a state may be, and the answer of which moment it is.
func TestStalenessIsAskedAndTold(t *testing.T) {
	moment := time.Date(2026, 3, 2, 16, 4, 5, 600_000_000, time.FixedZone("", 3600))
	var standby bool
	var most time.Duration
	f := serve(t, "", func(ctx context.Context, _ *pb.GetPersonRequest) (*pb.Person, error) {
		r := asof.From(ctx)
		most = r.Most(time.Minute)
		if standby {
			r.Used(moment)
		}
		return &pb.Person{}, nil
	})
	for _, c := range []struct {
		given   []string
		standby bool
		most    time.Duration
		told    string
	}{
		{nil, false, time.Minute, ""},
		{nil, true, time.Minute, "2026-03-02T15:04:05.6Z"},
		{[]string{"10s"}, true, 10 * time.Second, "2026-03-02T15:04:05.6Z"},
		{[]string{"0s"}, false, 0, ""},
		{[]string{"1h"}, false, time.Minute, ""},
	} {
		standby = c.standby
		ctx, header := t.Context(), metadata.MD{}
		for _, v := range c.given {
			ctx = metadata.AppendToOutgoingContext(ctx, "jointledger-max-staleness", v)
		}
		if _, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{}, grpc.Header(&header)); err != nil {
			t.Fatal(err)
		}
		if told := strings.Join(header.Get("jointledger-as-of"), ","); told != c.told || most != c.most {
			t.Errorf("%v: at most %v, told %q; expected %v, %q", c.given, most, told, c.most, c.told)
		}
	}
	for _, given := range [][]string{{"soon"}, {"-1s"}, {"10"}, {"1s", "2s"}} {
		ctx := t.Context()
		for _, v := range given {
			ctx = metadata.AppendToOutgoingContext(ctx, "jointledger-max-staleness", v)
		}
		if _, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{}); status.Code(err) != codes.InvalidArgument || !strings.Contains(err.Error(), "jointledger-max-staleness") {
			t.Errorf("%v: %v; expected that it can't be read", given, err)
		}
	}
}
