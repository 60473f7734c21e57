package store

import (
	"context"

	"jointledger/ent"
	"jointledger/ent/joint"
	"jointledger/internal/ledger"
)

// JointFilter narrows a list of joints.
type JointFilter struct {
	Within        ledger.Place
	Kind          ledger.JointKind
	Specification string
}

var joints = thing[ledger.Joint, ledger.Place]{
	noun:     jointNoun,
	find:     placed(jointNoun),
	resource: func(j ledger.Joint) string { return j.Place.Resource() },
	key:      func(j ledger.Joint) ledger.Place { return j.Place },
	validate: ledger.Joint.Validate,
	revision: func(j *ledger.Joint) *ledger.Revision { return &j.Revision },
	same: func(a, b ledger.Joint) bool {
		a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
		return a == b
	},
	load: func(ctx context.Context, t *tx, p ledger.Place) (ledger.Joint, error) {
		keys, err := t.placeOf(ctx, jointNoun, p, 4)
		if err != nil {
			return ledger.Joint{}, err
		}
		row, err := t.ent().Joint.Query().Where(joint.ID(keys.joint)).WithSpecification().Only(ctx)
		if err != nil {
			return ledger.Joint{}, err
		}
		return jointOf(p, row)
	},
	insert: func(ctx context.Context, t *tx, v ledger.Joint) error {
		keys, err := t.place(ctx, v.Place.Parent())
		if err != nil {
			return err
		}
		spec, err := t.needNamed(ctx, specNoun, v.Specification)
		if err != nil || t.dry {
			return err
		}
		row, err := t.ent().Joint.Create().SetCellID(keys.cell).SetTag(v.Place.Joint).SetKind(uint8(v.Kind)).SetCritical(v.Critical).
			SetPartA(v.PartA).SetPartB(v.PartB).SetSpecificationID(spec).SetFasteners(v.Fasteners).
			SetVersion(v.Version).SetCreateTime(micro(v.CreateTime)).SetUpdateTime(micro(v.UpdateTime)).Save(ctx)
		if err != nil {
			return err
		}
		t.found[nameKey{jointNoun.collection, keys.cell, v.Place.Joint}] = row.ID
		return nil
	},
	update: func(ctx context.Context, t *tx, v ledger.Joint) error {
		keys, err := t.place(ctx, v.Place)
		if err != nil {
			return err
		}
		spec, err := t.needNamed(ctx, specNoun, v.Specification)
		if err != nil || t.dry {
			return err
		}
		return t.ent().Joint.UpdateOneID(keys.joint).SetKind(uint8(v.Kind)).SetCritical(v.Critical).
			SetPartA(v.PartA).SetPartB(v.PartB).SetSpecificationID(spec).SetFasteners(v.Fasteners).
			SetVersion(v.Version).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
}

func jointOf(p ledger.Place, r *ent.Joint) (ledger.Joint, error) {
	spec, err := r.Edges.SpecificationOrErr()
	if err != nil {
		return ledger.Joint{}, err
	}
	return ledger.Joint{
		Place: p, Kind: ledger.JointKind(r.Kind), Critical: r.Critical, PartA: r.PartA, PartB: r.PartB,
		Specification: spec.Code, Fasteners: r.Fasteners, Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime),
	}, nil
}

// RegisterJoints takes in joints and answers for each.
func (s *Store) RegisterJoints(ctx context.Context, items []ledger.Joint, c Change) ([]Outcome, error) {
	return register(ctx, s, joints, items, c)
}

// Joint reads one joint; KindNotFound when there is none.
func (s *Store) Joint(ctx context.Context, p ledger.Place) (ledger.Joint, error) {
	return get(ctx, s, joints, p)
}

// UpdateJoint changes one joint; errors as UpdateSite.
func (s *Store) UpdateJoint(ctx context.Context, p ledger.Place, version int, c Change, apply func(*ledger.Joint) error) (ledger.Joint, error) {
	return change(ctx, s, joints, p, version, c, apply)
}

// Joints lists joints in the order of their names. KindNotFound when the place
// or the specification does not exist.
func (s *Store) Joints(ctx context.Context, f JointFilter, p Page) (items []ledger.Joint, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		var more clause
		if f.Kind != 0 {
			more.add("j.kind = ?", uint8(f.Kind))
		}
		if f.Specification != "" {
			spec, err := t.needNamed(ctx, specNoun, f.Specification)
			if err != nil {
				return err
			}
			more.add("j.specification_id = ?", spec)
		}
		places, keys, n, err := t.listPlaces(ctx, "j.id, s.code, t.tag, c.tag, j.tag",
			"joints j JOIN cells c ON c.id = j.cell_id JOIN towers t ON t.id = c.tower_id JOIN sites s ON s.id = t.site_id", 4, f.Within, &more, p)
		if err != nil {
			return err
		}
		rows, err := t.ent().Joint.Query().Where(joint.IDIn(keys...)).WithSpecification().All(ctx)
		if err != nil {
			return err
		}
		byID := map[int]*ent.Joint{}
		for _, r := range rows {
			byID[r.ID] = r
		}
		for i, k := range keys {
			j, err := jointOf(places[i], byID[k])
			if err != nil {
				return err
			}
			items = append(items, j)
		}
		next = n
		return nil
	})
	return items, next, err
}
