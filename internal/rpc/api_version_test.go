package rpc_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

// A client of another major part of the API is told so in one sentence, before it is
// asked for a token; one of another revision is served.
func TestClientsOfOtherVersions(t *testing.T) {
	f := serve(t, "s3cret-token", answer("people/a"))
	call := func(api, method string) error {
		ctx := context.Background()
		if api != "" {
			ctx = metadata.AppendToOutgoingContext(ctx, pb.APIHeader, api)
		}
		return f.conn.Invoke(ctx, method, &pb.GetPersonRequest{}, &pb.Person{})
	}
	ours := fmt.Sprint(pb.APIMajor)
	for _, api := range []string{"", ours, ours + ".0", ours + ".9999"} {
		if err := call(api, pb.PersonService_GetPerson_FullMethodName); status.Code(err) != codes.Unauthenticated {
			t.Errorf("%q: %v; expected to be asked for the token", api, err)
		}
	}
	newer := fmt.Sprint(pb.APIMajor + 1)
	for _, c := range []struct{ api, method, says string }{
		{newer + ".0", pb.PersonService_GetPerson_FullMethodName, `the client speaks API "` + newer + `.0" and this server API ` + rpc.APIVersion() + ", and the two don't understand each other: bring the server up to date"},
		{"0.7", pb.PersonService_GetPerson_FullMethodName, "bring the client up to date"},
		{"-1", pb.PersonService_GetPerson_FullMethodName, "bring the client up to date"},
		{"new", pb.PersonService_GetPerson_FullMethodName, "expected MAJOR.REVISION in the header jointledger-api"},
		{strings.Repeat("9", 500), pb.PersonService_GetPerson_FullMethodName, "expected MAJOR.REVISION"},
		{"", "/jointledger.v" + newer + ".PersonService/GetPerson", "bring the server up to date"},
		{"", "/jointledger.v0.PersonService/GetPerson", "bring the client up to date"},
	} {
		got := render(call(c.api, c.method))
		if !strings.HasPrefix(got, "FailedPrecondition: ") || !strings.Contains(got, c.says) || !strings.Contains(got, "reason jointledger/API_VERSION") || len(got) > 800 {
			t.Errorf("%.50q, %s: %s", c.api, c.method, got)
		}
	}
	if err := call("", "/jointledger.v1.PersonService/Sesame"); status.Code(err) != codes.Unimplemented || !strings.Contains(err.Error(), "Sesame") {
		t.Errorf("a method that is not there: %v", err)
	}
}
