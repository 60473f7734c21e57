package service

import (
	"slices"
	"strings"

	"jointledger/internal/ledger"
)

var substitutionFields = slices.Concat(
	[]field[ledger.Substitution]{
		{"specification", func(dst, src *ledger.Substitution) { dst.Specification = src.Specification }},
	},
	permittedFields(),
	[]field[ledger.Substitution]{
		{"needs", func(dst, src *ledger.Substitution) { dst.Needs = src.Needs }},
		{"torque_newton_metres", func(dst, src *ledger.Substitution) { dst.TorqueNewtonMetres = src.TorqueNewtonMetres }},
		{"approved_by", func(dst, src *ledger.Substitution) { dst.ApprovedBy = src.ApprovedBy }},
	},
)

// permittedFields are those of the fastener, which a substitution has under
// another name.
func permittedFields() []field[ledger.Substitution] {
	fields := fastenerFields(func(s *ledger.Substitution) *ledger.Fastener { return &s.Permitted })
	for i, f := range fields {
		fields[i].path = "permitted" + strings.TrimPrefix(f.path, "fastener")
	}
	return fields
}
