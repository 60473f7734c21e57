package rpc_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// render writes a status down with all its details, one a line.
func render(err error) string {
	st := status.Convert(err)
	lines := []string{st.Code().String() + ": " + st.Message()}
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			lines = append(lines, "reason "+d.Domain+"/"+d.Reason)
		case *errdetails.BadRequest:
			for _, f := range d.FieldViolations {
				lines = append(lines, "field "+f.Field+": "+f.Description)
			}
		case *errdetails.ResourceInfo:
			lines = append(lines, "resource "+d.ResourceType+" "+d.ResourceName)
		case *errdetails.RetryInfo:
			lines = append(lines, "retry "+d.RetryDelay.AsDuration().String())
		case *errdetails.QuotaFailure:
			for _, v := range d.Violations {
				lines = append(lines, "quota "+v.Subject+": "+v.Description)
			}
		case *errdetails.PreconditionFailure:
			for _, v := range d.Violations {
				lines = append(lines, "precondition "+v.Type+" "+v.Subject+": "+v.Description)
			}
		case *errdetails.RequestInfo:
			lines = append(lines, "request "+d.RequestId)
		default:
			lines = append(lines, fmt.Sprintf("unexpected detail %T", d))
		}
	}
	return strings.Join(lines, "\n")
}

func TestStatusOfEachKindOfError(t *testing.T) {
	secret := errors.New("dial tcp 10.1.2.3:5432: password was hunter2")
	for _, c := range []struct {
		name string
		err  error
		want string
	}{
		{"invalid", ledger.Invalid("tightening", []ledger.FieldError{{Field: "joint", Description: "is required"}, {Field: "fasteners", Description: "0 is out of range"}}), `
InvalidArgument: tightening is not valid
reason jointledger/INVALID_FIELD
field joint: is required
field fasteners: 0 is out of range`},
		{"not found", ledger.NotFound("tower", "sites/RVB/towers/CT9", "CT8"), `
NotFound: tower "RVB/CT9" is not known; the nearest known is "CT8"
reason jointledger/UNKNOWN_RESOURCE
resource jointledger/Tower sites/RVB/towers/CT9`},
		{"exists", ledger.Exists("lot", "lots/L1"), `
AlreadyExists: lot "L1" is already registered with other content; update it instead
reason jointledger/RESOURCE_EXISTS
resource jointledger/Lot lots/L1`},
		{"record id reused", ledger.RecordIDReused("lotMovements/019cadd3-6bc0-77c9-9e41-58325664ba11"), `
AlreadyExists: record id 019cadd3-6bc0-77c9-9e41-58325664ba11 was used before with other content; a record is never changed, make a new one
reason jointledger/RECORD_ID_REUSED
resource jointledger/LotMovement lotMovements/019cadd3-6bc0-77c9-9e41-58325664ba11`},
		{"etag", &ledger.Error{Kind: ledger.KindConflict, Reason: ledger.ReasonEtagMismatch, Message: "site changed meanwhile", Resource: "sites/RVB"}, `
Aborted: site changed meanwhile
reason jointledger/ETAG_MISMATCH
resource jointledger/Site sites/RVB`},
		{"conflict", &ledger.Error{Kind: ledger.KindConflict, Reason: ledger.ReasonConflict, Message: "too many at once", Cause: secret}, `
Aborted: too many at once
reason jointledger/CONFLICT
retry 100ms`},
		{"unavailable", &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable, Message: "the database can't be used now", Cause: secret}, `
Unavailable: the database can't be used now
reason jointledger/STORE_UNAVAILABLE
retry 1s`},
		{"denied", &ledger.Error{Kind: ledger.KindDenied, Reason: ledger.ReasonPermissionDenied, Message: "visitor may not read"}, `
PermissionDenied: visitor may not read
reason jointledger/PERMISSION_DENIED`},
		{"limit", &ledger.Error{Kind: ledger.KindLimit, Reason: ledger.ReasonLimitExceeded, Message: "too large"}, `
ResourceExhausted: too large
reason jointledger/LIMIT_EXCEEDED
quota request: too large`},
		{"precondition", &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonHoldNotOpen, Message: "the hold is not open", Resource: "holds/019cadd3-6bc0-77c9-9e41-58325664ba11"}, `
FailedPrecondition: the hold is not open
reason jointledger/HOLD_NOT_OPEN
resource jointledger/Hold holds/019cadd3-6bc0-77c9-9e41-58325664ba11
precondition HOLD_NOT_OPEN holds/019cadd3-6bc0-77c9-9e41-58325664ba11: the hold is not open`},
		{"empty place", &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonEmptyPlace, Message: "there is no joint at RVB/CT2", Resource: "sites/RVB/towers/CT2"}, `
FailedPrecondition: there is no joint at RVB/CT2
reason jointledger/EMPTY_PLACE
resource jointledger/Tower sites/RVB/towers/CT2
precondition EMPTY_PLACE sites/RVB/towers/CT2: there is no joint at RVB/CT2`},
		{"internal", &ledger.Error{Kind: ledger.KindInternal, Reason: ledger.ReasonInternal, Message: "chain of RVB is broken", Cause: secret}, `
Internal: internal error
reason jointledger/INTERNAL
request call-7`},
		{"unknown", fmt.Errorf("reading: %w", secret), `
Internal: internal error
reason jointledger/INTERNAL
request call-7`},
		{"wrapped status", fmt.Errorf("asking another server: %w", status.Error(codes.NotFound, "secret name")), `
Internal: internal error
reason jointledger/INTERNAL
request call-7`},
		{"wrapped domain error", fmt.Errorf("line 7: %w", ledger.Exists("lot", "lots/L1")), `
AlreadyExists: lot "L1" is already registered with other content; update it instead
reason jointledger/RESOURCE_EXISTS
resource jointledger/Lot lots/L1`},
		{"cancelled inside only", fmt.Errorf("background task: %w", context.Canceled), `
Internal: internal error
reason jointledger/INTERNAL
request call-7`},
		{"own status", status.Error(codes.Unimplemented, "not here"), `
Unimplemented: not here`},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := serve(t, "", func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) { return nil, c.err })
			ctx := metadata.AppendToOutgoingContext(context.Background(), "x-request-id", "call-7")
			_, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{})
			if d := cmp.Diff(strings.TrimPrefix(c.want, "\n"), render(err)); d != "" {
				t.Error(d)
			}
			if errors.Is(c.err, secret) && !strings.Contains(f.log.String(), "hunter2") {
				t.Errorf("the cause is not in the log: %s", f.log)
			}
		})
	}
}

// Every collection of the API's names has a type of its own in the details.
func TestResourceTypes(t *testing.T) {
	for collection, want := range map[string]string{
		"batches": "Batch", "substitutions": "Substitution", "attachments": "Attachment", "sealings": "Sealing", "inspections": "Inspection",
		"custodyChanges": "CustodyChange", "holds": "Hold", "dispositions": "Disposition", "signOffs": "SignOff", "corrections": "Correction",
		"alarmRules": "AlarmRule", "alarms": "Alarm",
		"tightenings": "Tightening", "incidents": "Incident", "calibrations": "Calibration", "lotMovements": "LotMovement", "records": "Record",
	} {
		f := serve(t, "", func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) {
			return nil, ledger.NotFound("thing", collection+"/x", "")
		})
		_, err := f.people.GetPerson(t.Context(), &pb.GetPersonRequest{})
		if !strings.HasSuffix(render(err), "\nresource jointledger/"+want+" "+collection+"/x") {
			t.Errorf("%s", render(err))
		}
	}
}

func TestPanicIsAnInternalErrorAndTheServerLives(t *testing.T) {
	f := serve(t, "", func(_ context.Context, r *pb.GetPersonRequest) (*pb.Person, error) {
		if r.Name == "" {
			panic("nil map of " + "secrets")
		}
		return &pb.Person{Name: r.Name}, nil
	})
	ctx := metadata.AppendToOutgoingContext(context.Background(), "x-request-id", "call-8")
	_, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{})
	if got, want := render(err), "Internal: internal error\nreason jointledger/INTERNAL\nrequest call-8"; got != want {
		t.Errorf("%s; expected %s", got, want)
	}
	for _, part := range []string{"nil map of secrets", "status_test.go", "call-8"} {
		if !strings.Contains(f.log.String(), part) {
			t.Errorf("%q is not in the log: %s", part, f.log)
		}
	}
	if p, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{Name: "people/a"}); err != nil || p.Name != "people/a" {
		t.Errorf("after the panic: %v %v", p, err)
	}
}

func TestGivingUpIsNotTheServersFault(t *testing.T) {
	// The driver's error on an interrupted query need not say that the context
	// ended.
	began := make(chan struct{}, 2)
	ended := make(chan struct{}, 2)
	f := serve(t, "", func(ctx context.Context, _ *pb.GetPersonRequest) (*pb.Person, error) {
		began <- struct{}{}
		<-ctx.Done()
		defer func() { ended <- struct{}{} }()
		return nil, errors.New("interrupted (9)")
	})
	ctx, cancel := context.WithCancel(context.Background())
	go func() { <-began; cancel() }()
	if _, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{}); status.Code(err) != codes.Canceled {
		t.Errorf("cancelled: %v", err)
	}
	<-ended
	ctx, cancel = context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	if _, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{}); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("past the deadline: %v", err)
	}
	<-ended
	if strings.Contains(f.log.String(), "internal error") {
		t.Errorf("logged as an internal error: %s", f.log)
	}
}
