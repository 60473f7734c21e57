package store

import (
	"context"
	"fmt"

	"jointledger/ent"
	"jointledger/ent/specification"
	"jointledger/ent/specificationrevision"
	"jointledger/internal/ledger"
)

// SpecificationFilter narrows a list of specifications; there is nothing to
// narrow by yet.
type SpecificationFilter struct{}

var specifications = thing[ledger.Specification, string]{
	noun:     specNoun,
	find:     named(specNoun),
	resource: func(s ledger.Specification) string { return "specifications/" + s.Code },
	key:      func(s ledger.Specification) string { return s.Code },
	validate: ledger.Specification.Validate,
	revision: func(s *ledger.Specification) *ledger.Revision { return &s.Revision },
	same:     sameSpecification,
	load: func(ctx context.Context, t *tx, code string) (ledger.Specification, error) {
		return t.specification(ctx, code, 0)
	},
	insert: func(ctx context.Context, t *tx, s ledger.Specification) error {
		if t.dry {
			return nil
		}
		row, err := t.ent().Specification.Create().SetCode(s.Code).
			SetVersion(s.Version).SetCreateTime(micro(s.CreateTime)).SetUpdateTime(micro(s.UpdateTime)).Save(ctx)
		if err != nil {
			return err
		}
		return t.addRevision(ctx, row.ID, s)
	},
	update: func(ctx context.Context, t *tx, s ledger.Specification) error {
		id, err := t.needNamed(ctx, specNoun, s.Code)
		if err != nil || t.dry {
			return err
		}
		if err := t.ent().Specification.UpdateOneID(id).SetVersion(s.Version).SetUpdateTime(micro(s.UpdateTime)).Exec(ctx); err != nil {
			return err
		}
		return t.addRevision(ctx, id, s)
	},
}

func sameSpecification(a, b ledger.Specification) bool {
	if (a.MinimumSurfaceCelsius == nil) != (b.MinimumSurfaceCelsius == nil) ||
		a.MinimumSurfaceCelsius != nil && *a.MinimumSurfaceCelsius != *b.MinimumSurfaceCelsius {
		return false
	}
	a.MinimumSurfaceCelsius, b.MinimumSurfaceCelsius = nil, nil
	a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
	return a == b
}

func (t *tx) addRevision(ctx context.Context, id int, s ledger.Specification) error {
	return t.ent().SpecificationRevision.Create().SetSpecificationID(id).SetRevision(s.Version).SetCreateTime(micro(s.UpdateTime)).
		SetTreatment(uint8(s.Treatment)).SetLocking(uint8(s.Locking)).
		SetTorqueNm(s.TorqueNewtonMetres).SetTorqueTolerancePct(s.TorqueTolerancePercent).SetTorqueBasis(uint8(s.TorqueBasis)).
		SetNutFactor(s.NutFactor).SetTorqueToolRequired(s.TorqueToolRequired).
		SetSealant(s.Sealant).SetSealWidthMm(s.SealWidthMillimetres).SetNillableMinSurfaceC(s.MinimumSurfaceCelsius).
		SetThread(s.Fastener.Thread).SetLengthMm(s.Fastener.LengthMillimetres).SetMaterial(uint8(s.Fastener.Material)).
		SetPropertyClass(s.Fastener.PropertyClass).SetCoating(s.Fastener.Coating).SetHead(s.Fastener.Head).Exec(ctx)
}

func specificationOf(name *ent.Specification, r *ent.SpecificationRevision) ledger.Specification {
	return ledger.Specification{
		Code: name.Code,
		Fastener: ledger.Fastener{
			Thread: r.Thread, LengthMillimetres: r.LengthMm, Material: ledger.Material(r.Material),
			PropertyClass: r.PropertyClass, Coating: r.Coating, Head: r.Head,
		},
		Treatment: ledger.Treatment(r.Treatment), Locking: ledger.LockingMethod(r.Locking),
		TorqueNewtonMetres: r.TorqueNm, TorqueTolerancePercent: r.TorqueTolerancePct, TorqueBasis: ledger.TorqueBasis(r.TorqueBasis),
		NutFactor: r.NutFactor, TorqueToolRequired: r.TorqueToolRequired,
		Sealant: r.Sealant, SealWidthMillimetres: r.SealWidthMm, MinimumSurfaceCelsius: r.MinSurfaceC,
		Revision: revisionOf(r.Revision, name.CreateTime, r.CreateTime),
	}
}

// specification reads one revision; 0 is the newest.
func (t *tx) specification(ctx context.Context, code string, revision int) (ledger.Specification, error) {
	name, err := t.ent().Specification.Query().Where(specification.Code(askable(code))).Only(ctx)
	if ent.IsNotFound(err) {
		return ledger.Specification{}, t.notFound(ctx, specNoun, 0, code, "specifications/"+code)
	}
	if err != nil {
		return ledger.Specification{}, err
	}
	if revision == 0 {
		revision = name.Version
	}
	r, err := t.ent().SpecificationRevision.Query().
		Where(specificationrevision.SpecificationID(name.ID), specificationrevision.Revision(revision)).Only(ctx)
	if ent.IsNotFound(err) {
		return ledger.Specification{}, ledger.NotFound("specification", fmt.Sprintf("specifications/%s@%d", code, revision), fmt.Sprintf("%s@%d", code, name.Version))
	}
	if err != nil {
		return ledger.Specification{}, err
	}
	return specificationOf(name, r), nil
}

// RegisterSpecifications takes in specifications and answers for each.
func (s *Store) RegisterSpecifications(ctx context.Context, items []ledger.Specification, c Change) ([]Outcome, error) {
	return register(ctx, s, specifications, items, c)
}

// Specification reads one revision of a specification, 0 being the newest;
// KindNotFound when there is none.
func (s *Store) Specification(ctx context.Context, code string, revision int) (item ledger.Specification, err error) {
	err = s.view(ctx, func(t *tx) error {
		item, err = t.specification(ctx, code, revision)
		return err
	})
	return item, err
}

// UpdateSpecification makes a new revision; errors as UpdateSite.
func (s *Store) UpdateSpecification(ctx context.Context, code string, version int, c Change, apply func(*ledger.Specification) error) (ledger.Specification, error) {
	return change(ctx, s, specifications, code, version, c, apply)
}

// SpecificationRevisions reads all revisions of one specification, oldest first.
func (s *Store) SpecificationRevisions(ctx context.Context, code string) (items []ledger.Specification, err error) {
	err = s.view(ctx, func(t *tx) error {
		newest, err := t.specification(ctx, code, 0)
		if err != nil {
			return err
		}
		for r := 1; r < newest.Version; r++ {
			older, err := t.specification(ctx, code, r)
			if err != nil {
				return err
			}
			items = append(items, older)
		}
		items = append(items, newest)
		return nil
	})
	return items, err
}

// Specifications lists the newest revisions in the order of their codes.
func (s *Store) Specifications(ctx context.Context, _ SpecificationFilter, p Page) (items []ledger.Specification, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		names, err := t.ent().Specification.Query().Where(specification.CodeGT(p.After)).
			Order(specification.ByCode()).Limit(p.Size + 1).All(ctx)
		if err != nil {
			return err
		}
		names, next = cut(names, p, func(n *ent.Specification) string { return n.Code })
		for _, n := range names {
			one, err := t.specification(ctx, n.Code, 0)
			if err != nil {
				return err
			}
			items = append(items, one)
		}
		return nil
	})
	return items, next, err
}
