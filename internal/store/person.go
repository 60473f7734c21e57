package store

import (
	"context"
	"slices"

	"jointledger/ent"
	"jointledger/ent/column"
	"jointledger/ent/person"
	"jointledger/internal/ledger"
)

// PersonFilter narrows a list of people.
type PersonFilter struct{ HomeSite string }

var people = thing[ledger.Person, string]{
	noun:     personNoun,
	find:     named(personNoun),
	resource: func(v ledger.Person) string { return "people/" + v.ID },
	key:      func(v ledger.Person) string { return v.ID },
	validate: ledger.Person.Validate,
	revision: func(v *ledger.Person) *ledger.Revision { return &v.Revision },
	same: func(a, b ledger.Person) bool {
		return a.ID == b.ID && a.Name == b.Name && a.Employer == b.Employer && a.HomeSite == b.HomeSite &&
			slices.Equal(a.Roles, b.Roles) && slices.Equal(a.Qualifications, b.Qualifications)
	},
	load: func(ctx context.Context, t *tx, id string) (ledger.Person, error) {
		row, err := t.ent().Person.Query().Where(person.Code(askable(id))).WithHomeSite().Only(ctx)
		if ent.IsNotFound(err) {
			return ledger.Person{}, t.notFound(ctx, personNoun, 0, id, "people/"+id)
		}
		if err != nil {
			return ledger.Person{}, err
		}
		return personOf(row)
	},
	insert: func(ctx context.Context, t *tx, v ledger.Person) error {
		home, err := t.homeSite(ctx, v.HomeSite)
		if err != nil || t.dry {
			return err
		}
		roles, qualifications := personColumns(v)
		return t.ent().Person.Create().SetCode(v.ID).SetName(v.Name).SetEmployer(v.Employer).SetNillableHomeSiteID(home).
			SetRoles(roles).SetQualifications(qualifications).
			SetVersion(v.Version).SetCreateTime(micro(v.CreateTime)).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, v ledger.Person) error {
		home, err := t.homeSite(ctx, v.HomeSite)
		if err != nil || t.dry {
			return err
		}
		roles, qualifications := personColumns(v)
		q := t.ent().Person.Update().Where(person.Code(v.ID)).SetName(v.Name).SetEmployer(v.Employer).
			SetRoles(roles).SetQualifications(qualifications).SetVersion(v.Version).SetUpdateTime(micro(v.UpdateTime))
		if home == nil {
			q.ClearHomeSite()
		} else {
			q.SetHomeSiteID(*home)
		}
		return q.Exec(ctx)
	},
}

func (t *tx) homeSite(ctx context.Context, code string) (*int, error) {
	if code == "" {
		return nil, nil
	}
	id, err := t.needNamed(ctx, siteNoun, code)
	return &id, err
}

func personColumns(v ledger.Person) ([]int, []column.Qualification) {
	roles, qualifications := make([]int, 0, len(v.Roles)), make([]column.Qualification, 0, len(v.Qualifications))
	for _, r := range v.Roles {
		roles = append(roles, int(r))
	}
	for _, q := range v.Qualifications {
		qualifications = append(qualifications, column.Qualification{Task: q.Task, ExpireDate: q.ExpireDate})
	}
	return roles, qualifications
}

func personOf(r *ent.Person) (ledger.Person, error) {
	v := ledger.Person{ID: r.Code, Name: r.Name, Employer: r.Employer, Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime)}
	if r.HomeSiteID != nil {
		home, err := r.Edges.HomeSiteOrErr()
		if err != nil {
			return v, err
		}
		v.HomeSite = home.Code
	}
	for _, role := range r.Roles {
		v.Roles = append(v.Roles, ledger.Role(role))
	}
	for _, q := range r.Qualifications {
		v.Qualifications = append(v.Qualifications, ledger.Qualification{Task: q.Task, ExpireDate: q.ExpireDate})
	}
	return v, nil
}

// RegisterPeople takes in people and answers for each.
func (s *Store) RegisterPeople(ctx context.Context, items []ledger.Person, c Change) ([]Outcome, error) {
	return register(ctx, s, people, items, c)
}

// Person reads one person; KindNotFound when there is none.
func (s *Store) Person(ctx context.Context, id string) (ledger.Person, error) {
	return get(ctx, s, people, id)
}

// UpdatePerson changes one person; errors as UpdateSite.
func (s *Store) UpdatePerson(ctx context.Context, id string, version int, c Change, apply func(*ledger.Person) error) (ledger.Person, error) {
	return change(ctx, s, people, id, version, c, apply)
}

// People lists people in the order of their ids. KindNotFound when the home
// site does not exist.
func (s *Store) People(ctx context.Context, f PersonFilter, p Page) (items []ledger.Person, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		q := t.ent().Person.Query().Where(person.CodeGT(p.After)).Order(person.ByCode()).Limit(p.Size + 1).WithHomeSite()
		if f.HomeSite != "" {
			home, err := t.needNamed(ctx, siteNoun, f.HomeSite)
			if err != nil {
				return err
			}
			q.Where(person.HomeSiteID(home))
		}
		rows, err := q.All(ctx)
		if err != nil {
			return err
		}
		for _, r := range rows {
			v, err := personOf(r)
			if err != nil {
				return err
			}
			items = append(items, v)
		}
		items, next = cut(items, p, func(v ledger.Person) string { return v.ID })
		return nil
	})
	return items, next, err
}
