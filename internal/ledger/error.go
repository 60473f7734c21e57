package ledger

import (
	"errors"
	"fmt"
	"strings"
)

// Kind is the coarse class of an error; each maps to one gRPC status code.
type Kind uint8

// The kinds of error. The zero value is KindInternal, so that an error nobody
// classified is never mistaken for the caller's fault.
const (
	KindInternal Kind = iota
	KindInvalid
	KindNotFound
	KindExists
	KindConflict
	KindUnavailable
	KindUnauthenticated
	KindDenied
	KindLimit
	// KindPrecondition: what is asked for can't be done in the present state.
	KindPrecondition
)

// Reason is the fine, stable, machine-readable class of an error. Its numbers
// are those of jointledger.v1.ErrorReason.
type Reason uint8

// The reasons.
const (
	ReasonUnspecified Reason = iota
	ReasonInvalidField
	ReasonUnknownResource
	ReasonResourceExists
	ReasonRecordIDReused
	ReasonRequestIDReused
	ReasonEtagMismatch
	ReasonPageTokenInvalid
	ReasonUpdateMaskInvalid
	ReasonUnauthenticated
	ReasonPermissionDenied
	ReasonStoreUnavailable
	ReasonConflict
	ReasonLimitExceeded
	ReasonInternal
	ReasonAlreadyCorrected
	ReasonHoldNotOpen
	ReasonEmptyPlace
	ReasonNoFailedCalibration
	ReasonToolWithoutLimit
	ReasonToolNotFit
	ReasonAPIVersion
)

// FieldError names one field and says what was expected of it.
type FieldError struct {
	// Field is the field's path in snake_case, as the API has it.
	Field string
	// Description says what was expected and what came.
	Description string
}

// Violation is one condition that is not met.
type Violation struct {
	// Type is a stable word in capitals, such as ON_HOLD.
	Type string
	// Description is a clause for a person.
	Description string
}

// Error is the one error type that leaves the domain and the store.
type Error struct {
	Kind    Kind
	Reason  Reason
	Message string
	// Fields lists every field that is wrong; only with KindInvalid.
	Fields []FieldError
	// Resource is the resource name of the thing that is unknown or in the way.
	Resource string
	// Violations are the single conditions that are not met; only with
	// KindPrecondition, and empty when the message says all.
	Violations []Violation
	// Cause is for the server's log; it is never shown to a client.
	Cause error
}

// Error gives the sentence for a person, with the field errors.
func (e *Error) Error() string {
	if len(e.Fields) == 0 {
		return e.Message
	}
	parts := make([]string, len(e.Fields))
	for i, f := range e.Fields {
		parts[i] = f.Field + ": " + f.Description
	}
	return e.Message + ": " + strings.Join(parts, "; ")
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Cause }

// AsError reads err as an *Error; anything else is an internal error with err
// as its cause.
func AsError(err error) *Error {
	if err == nil {
		return nil
	}
	var e *Error
	if errors.As(err, &e) {
		return e
	}
	return &Error{Kind: KindInternal, Reason: ReasonInternal, Message: "internal error", Cause: err}
}

// Invalid reports field errors; nil when there are none.
func Invalid(what string, fields []FieldError) error {
	if len(fields) == 0 {
		return nil
	}
	return &Error{Kind: KindInvalid, Reason: ReasonInvalidField, Message: what + " is not valid", Fields: fields}
}

// InvalidField reports one field.
func InvalidField(what, field, format string, args ...any) error {
	return Invalid(what, []FieldError{{field, fmt.Sprintf(format, args...)}})
}

// NotFound reports that the resource of the given type and name is unknown.
// The nearest known name is added when there is one.
func NotFound(resourceType, resource, nearest string) *Error {
	msg := fmt.Sprintf("%s %q is not known", resourceType, ShortName(resource))
	if nearest != "" {
		msg += fmt.Sprintf("; the nearest known is %q", nearest)
	}
	return &Error{Kind: KindNotFound, Reason: ReasonUnknownResource, Message: msg, Resource: resource}
}

// Exists reports that the name is taken by a thing with other content.
func Exists(resourceType, resource string) *Error {
	return &Error{
		Kind: KindExists, Reason: ReasonResourceExists, Resource: resource,
		Message: fmt.Sprintf("%s %q is already registered with other content; update it instead", resourceType, ShortName(resource)),
	}
}

// RecordIDReused reports that the record's id is taken by a record with other
// content.
func RecordIDReused(resource string) *Error {
	return &Error{
		Kind: KindExists, Reason: ReasonRecordIDReused, Resource: resource,
		Message: fmt.Sprintf("record id %s was used before with other content; a record is never changed, make a new one", ShortName(resource)),
	}
}
