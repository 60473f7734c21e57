package rpc

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"jointledger/internal/asof"
	"jointledger/internal/ledger"
)

const (
	// maxStalenessKey names the metadata with which a client says how old the state of
	// the record may be that its answer is read from, as `10s` or `1m30s`; `0s` for none
	// but the present one. Without it the server's own limit holds.
	maxStalenessKey = "jointledger-max-staleness"
	// asOfKey names the header of an answer that was read from a standby: it has all that
	// was committed up to that moment (RFC 3339, UTC), and perhaps what came after. An
	// answer without it is of the present state.
	asOfKey = "jointledger-as-of"
)

// staleness lets calls that are no streams be answered from a standby, where the server
// has one, and says in the answer of which moment it is. Which questions a standby
// answers is for the store: those on figures alone.
func staleness() interceptor {
	return interceptor{"staleness", func(ctx context.Context, c call, next func(context.Context) error) error {
		if c.stream() {
			return next(ctx)
		}
		most, err := maxStaleness(ctx)
		if err != nil {
			return err
		}
		reading := asof.New(most)
		if err := next(asof.With(ctx, reading)); err != nil {
			return err
		}
		if at, ok := reading.AsOf(); ok {
			return grpc.SetHeader(ctx, metadata.Pairs(asOfKey, at.UTC().Format(time.RFC3339Nano)))
		}
		return nil
	}}
}

// maxStaleness reads what the client accepts.
func maxStaleness(ctx context.Context) (time.Duration, error) {
	values := metadata.ValueFromIncomingContext(ctx, maxStalenessKey)
	if len(values) == 0 {
		return asof.Default, nil
	}
	d, err := time.ParseDuration(values[0])
	if err != nil || d < 0 || len(values) > 1 {
		return 0, &ledger.Error{
			Kind: ledger.KindInvalid, Reason: ledger.ReasonInvalidField, Message: "the metadata " + maxStalenessKey + " can't be read; expected one duration such as 10s, or 0s for the present state",
			Fields: []ledger.FieldError{{Field: maxStalenessKey, Description: "expected one duration such as 10s, not negative"}},
		}
	}
	return d, nil
}
