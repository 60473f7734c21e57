package rpc

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// APIVersion is the API that this server speaks, such as `1.4`.
func APIVersion() string { return fmt.Sprintf("%d.%d", pb.APIMajor, pb.APIRevision) }

// apiVersion refuses a client of another major part of the API in one sentence, before
// it is asked for anything else. A client says which API it speaks in a header, or by
// the package of the service that it calls; who says nothing is believed.
func apiVersion(known func(method string) bool) interceptor {
	return interceptor{"api-version", func(ctx context.Context, c call, next func(context.Context) error) error {
		for _, v := range metadata.ValueFromIncomingContext(ctx, pb.APIHeader) {
			if major, ok := majorOf(v); !ok || major != pb.APIMajor {
				return otherMajor(v)
			}
		}
		if of, ok := strings.CutPrefix(c.method, ourServices+"v"); ok {
			number, _, _ := strings.Cut(of, ".")
			if major, err := strconv.Atoi(number); err == nil && major != pb.APIMajor {
				return otherMajor(number)
			}
		}
		if !known(c.method) {
			return status.Errorf(codes.Unimplemented, "this server does not know the method %.200q", c.method)
		}
		return next(ctx)
	}}
}

// majorOf reads the major part of a version such as 1.4.
func majorOf(version string) (int, bool) {
	major, _, _ := strings.Cut(version, ".")
	n, err := strconv.Atoi(major)
	return n, err == nil
}

func otherMajor(theirs string) error {
	which := "bring the client up to date"
	switch major, ok := majorOf(theirs); {
	case !ok:
		which = "expected MAJOR.REVISION in the header " + pb.APIHeader
	case major > pb.APIMajor:
		which = "bring the server up to date, or use a client of its release"
	}
	if len(theirs) > 20 {
		theirs = theirs[:20]
	}
	return &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonAPIVersion,
		Message: fmt.Sprintf("the client speaks API %s and this server API %s, and the two don't understand each other: %s",
			strconv.Quote(theirs), APIVersion(), which)}
}

// unknownService has the interceptors run for methods that are not there, where
// apiVersion answers; it is never reached.
func unknownService(any, grpc.ServerStream) error {
	return status.Error(codes.Unimplemented, "this server does not know the method")
}
