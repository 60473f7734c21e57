package service

import (
	"slices"

	"jointledger/internal/ledger"
)

var specificationFields = slices.Concat(
	fastenerFields(func(s *ledger.Specification) *ledger.Fastener { return &s.Fastener }),
	[]field[ledger.Specification]{
		{"treatment", func(dst, src *ledger.Specification) { dst.Treatment = src.Treatment }},
		{"locking_method", func(dst, src *ledger.Specification) { dst.Locking = src.Locking }},
		{"torque_newton_metres", func(dst, src *ledger.Specification) { dst.TorqueNewtonMetres = src.TorqueNewtonMetres }},
		{"torque_tolerance_percent", func(dst, src *ledger.Specification) { dst.TorqueTolerancePercent = src.TorqueTolerancePercent }},
		{"torque_basis", func(dst, src *ledger.Specification) { dst.TorqueBasis = src.TorqueBasis }},
		{"nut_factor", func(dst, src *ledger.Specification) { dst.NutFactor = src.NutFactor }},
		{"torque_tool_required", func(dst, src *ledger.Specification) { dst.TorqueToolRequired = src.TorqueToolRequired }},
		{"sealant", func(dst, src *ledger.Specification) { dst.Sealant = src.Sealant }},
		{"seal_width_millimetres", func(dst, src *ledger.Specification) { dst.SealWidthMillimetres = src.SealWidthMillimetres }},
		{"minimum_surface_celsius", func(dst, src *ledger.Specification) { dst.MinimumSurfaceCelsius = src.MinimumSurfaceCelsius }},
	},
)
