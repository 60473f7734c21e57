package known

import (
	"fmt"
	"slices"
	"strings"

	"jointledger/internal/ledger"
)

// deciders are the roles that may release holds, decide about incidents and sign off;
// lenders those that may let a tool go out that is not fit for it.
var (
	deciders = []ledger.Role{ledger.RoleSiteLead, ledger.RoleQuality, ledger.RoleRegionalManager, ledger.RoleAdministrator}
	lenders  = []ledger.Role{ledger.RoleCrib, ledger.RoleSiteLead, ledger.RoleQuality, ledger.RoleRegionalManager, ledger.RoleAdministrator}
)

// MayDecide is nil for somebody who may release holds, decide about incidents and sign
// off, and KindDenied for anybody else.
func MayDecide(p ledger.Person) error { return hasRole(p, deciders, "decide this") }

// MayLetPass is nil for somebody who may let a tool go out that is not fit for it, and
// KindDenied for anybody else.
func MayLetPass(p ledger.Person) error { return hasRole(p, lenders, "let this pass") }

func hasRole(p ledger.Person, roles []ledger.Role, do string) error {
	words := make([]string, len(roles))
	for i, role := range roles {
		if slices.Contains(p.Roles, role) {
			return nil
		}
		words[i] = ledger.Roles.Name(role)
	}
	return &ledger.Error{Kind: ledger.KindDenied, Reason: ledger.ReasonPermissionDenied, Resource: "people/" + p.ID,
		Message: fmt.Sprintf("%s has no role that may %s; it takes one of %s", p.ID, do, strings.Join(words, ", "))}
}
