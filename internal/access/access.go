package access

import (
	"context"

	"jointledger/internal/ledger"
)

// Role is what a principal is in the table below.
type Role uint8

// RoleFull may do everything everywhere. It is the only role of this release;
// narrower ones are rows of the table.
const RoleFull Role = 1

// Principal is who calls.
type Principal struct {
	// Name is for the log.
	Name string
	Role Role
}

// The principals of this release.
var (
	// Local calls a server that asks for no token.
	Local = Principal{Name: "local", Role: RoleFull}
	// Bearer showed the server's token.
	Bearer = Principal{Name: "bearer", Role: RoleFull}
)

// Action is what a principal wants to do.
type Action uint8

// Actions.
const (
	// Read reads things and records, and asks questions of them.
	Read Action = iota + 1
	// Register registers and changes things.
	Register
	// Record adds records of work.
	Record
	// Decide adds records that say what may be used and what was accepted: holds
	// and their releases, dispositions, sign-offs. Besides, the person who decides
	// needs a role that may; the store sees to that.
	Decide
	// Correct adds corrections of records.
	Correct
	// Attach attaches photos and certificates to records.
	Attach
	// RankPeople sets people apart by name in a comparison, model or order of
	// standing. What each has on record is read as everything else.
	RankPeople
)

var actionWords = map[Action]string{
	Read: "read", Register: "register or change things", Record: "add records",
	Decide: "hold, release, decide or sign off", Correct: "correct records", Attach: "attach files to records",
	RankPeople: "rank or compare people by name",
}

// scope is where a role may do something.
type scope uint8

const (
	nowhere scope = iota
	everywhere
)

// table is role by action; what is not in it is not allowed.
var table = map[Role]map[Action]scope{
	RoleFull: {Read: everywhere, Register: everywhere, Record: everywhere, Decide: everywhere, Correct: everywhere, Attach: everywhere, RankPeople: everywhere},
}

type principalKey struct{}

// With puts the principal into the context of a call.
func With(ctx context.Context, p Principal) context.Context {
	return context.WithValue(ctx, principalKey{}, p)
}

// From gives the principal of a call; false when nobody put one there.
func From(ctx context.Context) (Principal, bool) {
	p, ok := ctx.Value(principalKey{}).(Principal)
	return p, ok
}

// Allow says whether the principal of the call may do this. Errors:
// KindUnauthenticated when there is no principal; KindDenied when the table does
// not allow it.
func Allow(ctx context.Context, a Action) error {
	p, ok := From(ctx)
	if !ok {
		return &ledger.Error{Kind: ledger.KindUnauthenticated, Reason: ledger.ReasonUnauthenticated, Message: "the call has no principal"}
	}
	if table[p.Role][a] == nowhere {
		return &ledger.Error{
			Kind: ledger.KindDenied, Reason: ledger.ReasonPermissionDenied,
			Message: p.Name + " may not " + actionWords[a],
		}
	}
	return nil
}
