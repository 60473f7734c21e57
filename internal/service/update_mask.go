package service

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/ledger"
)

// field is one field of a thing that an update may change.
type field[T any] struct {
	// path is as in the API, snake_case, with dots inside nested messages.
	path string
	copy func(dst, src *T)
}

// masked gives the fields that an update mask names: all that can change for an
// empty mask or `*`. Errors: KindInvalid with ReasonUpdateMaskInvalid for a path
// that is unknown or can't be changed.
func masked[T any](what string, m proto.Message, fields []field[T], mask *fieldmaskpb.FieldMask) ([]field[T], error) {
	paths := mask.GetPaths()
	if len(paths) == 0 || len(paths) == 1 && paths[0] == "*" {
		return fields, nil
	}
	var chosen []field[T]
	var bad []ledger.FieldError
	for _, path := range paths {
		i := slices.IndexFunc(fields, func(f field[T]) bool { return f.path == path })
		if i >= 0 {
			chosen = append(chosen, fields[i])
			continue
		}
		trouble := "is not a field of a " + what
		switch {
		case path == "*":
			trouble = "stands alone or not at all"
		case hasField(m.ProtoReflect().Descriptor(), path):
			trouble = "can't be changed"
		}
		bad = append(bad, ledger.FieldError{Field: "update_mask", Description: fmt.Sprintf("%q %s", path, trouble)})
	}
	if len(bad) == 0 {
		return chosen, nil
	}
	allowed := make([]string, len(fields))
	for i, f := range fields {
		allowed[i] = f.path
	}
	return nil, &ledger.Error{
		Kind: ledger.KindInvalid, Reason: ledger.ReasonUpdateMaskInvalid, Fields: bad,
		Message: fmt.Sprintf("the update mask is not valid; of a %s these can be changed: %s", what, strings.Join(allowed, ", ")),
	}
}

func hasField(d protoreflect.MessageDescriptor, path string) bool {
	for name := range strings.SplitSeq(path, ".") {
		if d == nil {
			return false
		}
		f := d.Fields().ByName(protoreflect.Name(name))
		if f == nil {
			return false
		}
		d = f.Message()
	}
	return true
}

// touching keeps the field errors that concern a field of the mask: what an
// update does not change need not be right in its request.
func touching[T any](errs []ledger.FieldError, fields []field[T]) []ledger.FieldError {
	var kept []ledger.FieldError
	for _, e := range errs {
		if slices.ContainsFunc(fields, func(f field[T]) bool {
			rest, ok := strings.CutPrefix(e.Field, f.path)
			return ok && (rest == "" || rest[0] == '.' || rest[0] == '[')
		}) {
			kept = append(kept, e)
		}
	}
	return kept
}
