package rpc

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// errorDomain is the domain of every google.rpc.ErrorInfo.
const errorDomain = "jointledger"

// How long a client should wait before it tries again.
const (
	retryAfterUnavailable = time.Second
	retryAfterConflict    = 100 * time.Millisecond
)

// statuses makes the status of an error, here and nowhere else.
type statuses struct{ log *slog.Logger }

func errorMapping(s statuses) interceptor {
	return interceptor{"error-mapping", func(ctx context.Context, c call, next func(context.Context) error) error {
		if err := next(ctx); err != nil {
			return s.of(ctx, c, err)
		}
		return nil
	}}
}

var codeOfKind = map[ledger.Kind]codes.Code{
	ledger.KindInternal:        codes.Internal,
	ledger.KindInvalid:         codes.InvalidArgument,
	ledger.KindNotFound:        codes.NotFound,
	ledger.KindExists:          codes.AlreadyExists,
	ledger.KindConflict:        codes.Aborted,
	ledger.KindUnavailable:     codes.Unavailable,
	ledger.KindUnauthenticated: codes.Unauthenticated,
	ledger.KindDenied:          codes.PermissionDenied,
	ledger.KindLimit:           codes.ResourceExhausted,
	ledger.KindPrecondition:    codes.FailedPrecondition,
}

// of builds the status afresh: never from the text of an error that nobody meant
// for a client.
func (s statuses) of(ctx context.Context, c call, err error) error {
	// A status made by gRPC itself, or by its health and reflection services,
	// stands as it is. One that is wrapped in something else is not looked for:
	// its wrapping would be sent too.
	if _, ok := err.(interface{ GRPCStatus() *status.Status }); ok {
		return err
	}
	e := ledger.AsError(err)
	code, known := codeOfKind[e.Kind]
	if !known || code == codes.Internal {
		return s.unclassified(ctx, c, err)
	}
	if e.Cause != nil {
		s.log.WarnContext(ctx, "refused", "method", c.method, "code", code.String(), "request_id", requestID(ctx), "cause", e.Cause)
	}
	details := detailsOf(e)
	var later *retryLater
	if errors.As(err, &later) {
		details = append(details, retryInfo(later.after))
		for _, d := range details {
			if q, ok := d.(*errdetails.QuotaFailure); ok {
				q.Violations[0].Subject = later.subject
			}
		}
	}
	return withDetails(status.New(code, e.Message), details)
}

// unclassified is for errors that are no *ledger.Error, and for those that say
// they are internal. The client's own giving up is not the server's fault.
func (s statuses) unclassified(ctx context.Context, c call, err error) error {
	if ctx.Err() != nil {
		s.log.DebugContext(ctx, "gave up", "method", c.method, "request_id", requestID(ctx), "cause", err)
	}
	switch {
	case errors.Is(ctx.Err(), context.Canceled):
		return status.Error(codes.Canceled, "the call was cancelled by the client")
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		return status.Error(codes.DeadlineExceeded, "the call was not done before its deadline; what it sent may have been kept, and it is safe to send it again")
	}
	id := requestID(ctx)
	cause := err
	var e *ledger.Error
	if errors.As(err, &e) && e.Cause != nil {
		cause = e.Cause
	}
	s.log.ErrorContext(ctx, "internal error", "method", c.method, "request_id", id, "cause", cause)
	return withDetails(status.New(codes.Internal, "internal error"), []protoadapt.MessageV1{
		errorInfo(ledger.ReasonInternal),
		&errdetails.RequestInfo{RequestId: id},
	})
}

func detailsOf(e *ledger.Error) []protoadapt.MessageV1 {
	details := []protoadapt.MessageV1{errorInfo(e.Reason)}
	if len(e.Fields) > 0 {
		bad := &errdetails.BadRequest{}
		for _, f := range e.Fields {
			bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: f.Field, Description: f.Description})
		}
		details = append(details, bad)
	}
	if e.Resource != "" {
		details = append(details, &errdetails.ResourceInfo{
			ResourceType: resourceType(e.Resource), ResourceName: e.Resource, Description: e.Message,
		})
	}
	switch {
	case e.Kind == ledger.KindUnavailable:
		details = append(details, retryInfo(retryAfterUnavailable))
	case e.Kind == ledger.KindConflict && e.Reason != ledger.ReasonEtagMismatch:
		// The same update with an old etag would fail for ever.
		details = append(details, retryInfo(retryAfterConflict))
	case e.Kind == ledger.KindLimit:
		details = append(details, &errdetails.QuotaFailure{
			Violations: []*errdetails.QuotaFailure_Violation{{Subject: "request", Description: e.Message}},
		})
	case e.Kind == ledger.KindPrecondition:
		details = append(details, preconditions(e))
	}
	return details
}

func preconditions(e *ledger.Error) *errdetails.PreconditionFailure {
	failure := &errdetails.PreconditionFailure{}
	for _, v := range e.Violations {
		failure.Violations = append(failure.Violations, &errdetails.PreconditionFailure_Violation{Type: v.Type, Subject: e.Resource, Description: v.Description})
	}
	if len(failure.Violations) == 0 {
		failure.Violations = []*errdetails.PreconditionFailure_Violation{{Type: reasonName(e.Reason), Subject: e.Resource, Description: e.Message}}
	}
	return failure
}

// errorInfo carries the reason under the name it has in the API, without the
// enum's prefix.
func errorInfo(r ledger.Reason) *errdetails.ErrorInfo {
	return &errdetails.ErrorInfo{Reason: reasonName(r), Domain: errorDomain}
}

func reasonName(r ledger.Reason) string {
	return strings.TrimPrefix(pb.ErrorReason(r).String(), "ERROR_REASON_")
}

func retryInfo(d time.Duration) *errdetails.RetryInfo {
	return &errdetails.RetryInfo{RetryDelay: durationpb.New(d)}
}

var resourceTypes = map[string]string{
	"sites": "Site", "towers": "Tower", "cells": "Cell", "joints": "Joint",
	"specifications": "Specification", "lots": "Lot", "tools": "Tool", "people": "Person",
	"batches": "Batch", "substitutions": "Substitution", "attachments": "Attachment", "records": "Record",
	"tightenings": "Tightening", "incidents": "Incident", "calibrations": "Calibration", "lotMovements": "LotMovement",
	"sealings": "Sealing", "inspections": "Inspection", "custodyChanges": "CustodyChange", "holds": "Hold",
	"dispositions": "Disposition", "signOffs": "SignOff", "corrections": "Correction", "toolChecks": "ToolCheck",
	"alarmRules": "AlarmRule", "alarms": "Alarm",
}

// resourceType is the type of the last collection in a resource name, such as
// `jointledger/Tower`.
func resourceType(name string) string {
	parts := strings.Split(name, "/")
	if len(parts) < 2 {
		return ""
	}
	if t, ok := resourceTypes[parts[len(parts)-2]]; ok {
		return errorDomain + "/" + t
	}
	return ""
}

func withDetails(st *status.Status, details []protoadapt.MessageV1) error {
	full, err := st.WithDetails(details...)
	if err != nil {
		// Only for a message that can't be marshalled, such as one with text that
		// is no UTF-8: the bare status is still the truth.
		return st.Err()
	}
	return full.Err()
}
