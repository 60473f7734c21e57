package store

import (
	"context"

	"jointledger/ent"
	"jointledger/ent/batch"
	"jointledger/ent/substitution"
	"jointledger/internal/ledger"
)

var (
	batchNoun        = noun{"batch", "batches", "batches", "number", ""}
	substitutionNoun = noun{"substitution", "substitutions", "substitutions", "code", ""}
)

// BatchFilter narrows a list of consumable batches.
type BatchFilter struct{ Kind ledger.ConsumableKind }

// SubstitutionFilter narrows a list of substitutions to those for one
// specification.
type SubstitutionFilter struct{ Specification string }

var batches = thing[ledger.Batch, string]{
	noun:     batchNoun,
	find:     named(batchNoun),
	resource: func(b ledger.Batch) string { return "batches/" + b.Number },
	key:      func(b ledger.Batch) string { return b.Number },
	validate: ledger.Batch.Validate,
	revision: func(b *ledger.Batch) *ledger.Revision { return &b.Revision },
	same:     sameBatch,
	load: func(ctx context.Context, t *tx, number string) (ledger.Batch, error) {
		row, err := t.ent().Batch.Query().Where(batch.Number(askable(number))).Only(ctx)
		if ent.IsNotFound(err) {
			return ledger.Batch{}, t.notFound(ctx, batchNoun, 0, number, "batches/"+number)
		}
		if err != nil {
			return ledger.Batch{}, err
		}
		return batchFrom(row), nil
	},
	insert: func(ctx context.Context, t *tx, b ledger.Batch) error {
		if t.dry {
			return nil
		}
		return t.ent().Batch.Create().SetNumber(b.Number).SetKind(uint8(b.Kind)).SetProduct(b.Product).SetExpireDate(b.ExpireDate).
			SetNillableMinC(b.MinimumCelsius).SetNillableMaxC(b.MaximumCelsius).
			SetVersion(b.Version).SetCreateTime(micro(b.CreateTime)).SetUpdateTime(micro(b.UpdateTime)).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, b ledger.Batch) error {
		if t.dry {
			return nil
		}
		q := t.ent().Batch.Update().Where(batch.Number(b.Number)).SetKind(uint8(b.Kind)).SetProduct(b.Product).SetExpireDate(b.ExpireDate).
			SetNillableMinC(b.MinimumCelsius).SetNillableMaxC(b.MaximumCelsius).SetVersion(b.Version).SetUpdateTime(micro(b.UpdateTime))
		if b.MinimumCelsius == nil {
			q.ClearMinC()
		}
		if b.MaximumCelsius == nil {
			q.ClearMaxC()
		}
		return q.Exec(ctx)
	},
}

func sameBatch(a, b ledger.Batch) bool {
	if !sameFigure(a.MinimumCelsius, b.MinimumCelsius) || !sameFigure(a.MaximumCelsius, b.MaximumCelsius) {
		return false
	}
	a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
	a.MinimumCelsius, a.MaximumCelsius, b.MinimumCelsius, b.MaximumCelsius = nil, nil, nil, nil
	return a == b
}

// sameFigure compares two figures that may be absent; zero is not absent.
func sameFigure(a, b *float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}

func batchFrom(r *ent.Batch) ledger.Batch {
	return ledger.Batch{
		Number: r.Number, Kind: ledger.ConsumableKind(r.Kind), Product: r.Product, ExpireDate: r.ExpireDate,
		MinimumCelsius: r.MinC, MaximumCelsius: r.MaxC, Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime),
	}
}

// RegisterBatches takes in consumable batches and answers for each.
func (s *Store) RegisterBatches(ctx context.Context, items []ledger.Batch, c Change) ([]Outcome, error) {
	return register(ctx, s, batches, items, c)
}

// Batch reads one consumable batch; KindNotFound when there is none.
func (s *Store) Batch(ctx context.Context, number string) (ledger.Batch, error) {
	return get(ctx, s, batches, number)
}

// UpdateBatch changes one consumable batch; errors as UpdateSite.
func (s *Store) UpdateBatch(ctx context.Context, number string, version int, c Change, apply func(*ledger.Batch) error) (ledger.Batch, error) {
	return change(ctx, s, batches, number, version, c, apply)
}

// Batches lists consumable batches in the order of their numbers.
func (s *Store) Batches(ctx context.Context, f BatchFilter, p Page) (items []ledger.Batch, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		q := t.ent().Batch.Query().Where(batch.NumberGT(p.After)).Order(batch.ByNumber()).Limit(p.Size + 1)
		if f.Kind != 0 {
			q.Where(batch.Kind(uint8(f.Kind)))
		}
		rows, err := q.All(ctx)
		for _, r := range rows {
			items = append(items, batchFrom(r))
		}
		items, next = cut(items, p, func(b ledger.Batch) string { return b.Number })
		return err
	})
	return items, next, err
}

var substitutions = thing[ledger.Substitution, string]{
	noun:     substitutionNoun,
	find:     named(substitutionNoun),
	resource: func(v ledger.Substitution) string { return "substitutions/" + v.Code },
	key:      func(v ledger.Substitution) string { return v.Code },
	validate: ledger.Substitution.Validate,
	revision: func(v *ledger.Substitution) *ledger.Revision { return &v.Revision },
	same: func(a, b ledger.Substitution) bool {
		a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
		return a == b
	},
	load: func(ctx context.Context, t *tx, code string) (ledger.Substitution, error) {
		row, err := t.ent().Substitution.Query().Where(substitution.Code(askable(code))).WithSpecification().Only(ctx)
		if ent.IsNotFound(err) {
			return ledger.Substitution{}, t.notFound(ctx, substitutionNoun, 0, code, "substitutions/"+code)
		}
		if err != nil {
			return ledger.Substitution{}, err
		}
		return substitutionOf(row)
	},
	insert: func(ctx context.Context, t *tx, v ledger.Substitution) error {
		spec, err := t.needNamed(ctx, specNoun, v.Specification)
		if err != nil || t.dry {
			return err
		}
		return t.ent().Substitution.Create().SetCode(v.Code).SetSpecificationID(spec).SetNeeds(v.Needs).
			SetTorqueNm(v.TorqueNewtonMetres).SetApprovedBy(v.ApprovedBy).
			SetThread(v.Permitted.Thread).SetLengthMm(v.Permitted.LengthMillimetres).SetMaterial(uint8(v.Permitted.Material)).
			SetPropertyClass(v.Permitted.PropertyClass).SetCoating(v.Permitted.Coating).SetHead(v.Permitted.Head).
			SetVersion(v.Version).SetCreateTime(micro(v.CreateTime)).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, v ledger.Substitution) error {
		spec, err := t.needNamed(ctx, specNoun, v.Specification)
		if err != nil || t.dry {
			return err
		}
		return t.ent().Substitution.Update().Where(substitution.Code(v.Code)).SetSpecificationID(spec).SetNeeds(v.Needs).
			SetTorqueNm(v.TorqueNewtonMetres).SetApprovedBy(v.ApprovedBy).
			SetThread(v.Permitted.Thread).SetLengthMm(v.Permitted.LengthMillimetres).SetMaterial(uint8(v.Permitted.Material)).
			SetPropertyClass(v.Permitted.PropertyClass).SetCoating(v.Permitted.Coating).SetHead(v.Permitted.Head).
			SetVersion(v.Version).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
}

func substitutionOf(r *ent.Substitution) (ledger.Substitution, error) {
	spec, err := r.Edges.SpecificationOrErr()
	if err != nil {
		return ledger.Substitution{}, err
	}
	return ledger.Substitution{
		Code: r.Code, Specification: spec.Code, Needs: r.Needs, TorqueNewtonMetres: r.TorqueNm, ApprovedBy: r.ApprovedBy,
		Permitted: ledger.Fastener{
			Thread: r.Thread, LengthMillimetres: r.LengthMm, Material: ledger.Material(r.Material),
			PropertyClass: r.PropertyClass, Coating: r.Coating, Head: r.Head,
		},
		Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime),
	}, nil
}

// RegisterSubstitutions takes in substitutions and answers for each.
func (s *Store) RegisterSubstitutions(ctx context.Context, items []ledger.Substitution, c Change) ([]Outcome, error) {
	return register(ctx, s, substitutions, items, c)
}

// Substitution reads one substitution; KindNotFound when there is none.
func (s *Store) Substitution(ctx context.Context, code string) (ledger.Substitution, error) {
	return get(ctx, s, substitutions, code)
}

// UpdateSubstitution changes one substitution; errors as UpdateSite.
func (s *Store) UpdateSubstitution(ctx context.Context, code string, version int, c Change, apply func(*ledger.Substitution) error) (ledger.Substitution, error) {
	return change(ctx, s, substitutions, code, version, c, apply)
}

// Substitutions lists substitutions in the order of their codes. KindNotFound
// when the specification does not exist.
func (s *Store) Substitutions(ctx context.Context, f SubstitutionFilter, p Page) (items []ledger.Substitution, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		q := t.ent().Substitution.Query().Where(substitution.CodeGT(p.After)).Order(substitution.ByCode()).Limit(p.Size + 1).WithSpecification()
		if f.Specification != "" {
			spec, err := t.needNamed(ctx, specNoun, f.Specification)
			if err != nil {
				return err
			}
			q.Where(substitution.SpecificationID(spec))
		}
		rows, err := q.All(ctx)
		if err != nil {
			return err
		}
		for _, r := range rows {
			v, err := substitutionOf(r)
			if err != nil {
				return err
			}
			items = append(items, v)
		}
		items, next = cut(items, p, func(v ledger.Substitution) string { return v.Code })
		return nil
	})
	return items, next, err
}
