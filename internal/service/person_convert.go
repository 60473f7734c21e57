package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func personFrom(p *problems, m *pb.Person) ledger.Person {
	person := ledger.Person{
		Name:     m.GetDisplayName(),
		Employer: m.GetEmployer(),
		HomeSite: p.site("home_site", m.GetHomeSite()),
	}
	for _, r := range m.GetRoles() {
		person.Roles = append(person.Roles, word[ledger.Role](r))
	}
	for _, q := range m.GetQualifications() {
		person.Qualifications = append(person.Qualifications, ledger.Qualification{Task: q.GetTask(), ExpireDate: q.GetExpireDate()})
	}
	return person
}

func personTo(person ledger.Person) *pb.Person {
	m := &pb.Person{
		Name:        resourceName("people", person.ID),
		DisplayName: person.Name,
		Employer:    person.Employer,
		HomeSite:    resourceName("sites", person.HomeSite),
		Etag:        etagOf(person.Version),
		CreateTime:  timestamp(person.CreateTime),
		UpdateTime:  timestamp(person.UpdateTime),
	}
	for _, r := range person.Roles {
		m.Roles = append(m.Roles, pb.Role(r))
	}
	for _, q := range person.Qualifications {
		m.Qualifications = append(m.Qualifications, &pb.Qualification{Task: q.Task, ExpireDate: q.ExpireDate})
	}
	return m
}

var personFields = []field[ledger.Person]{
	{"display_name", func(dst, src *ledger.Person) { dst.Name = src.Name }},
	{"employer", func(dst, src *ledger.Person) { dst.Employer = src.Employer }},
	{"home_site", func(dst, src *ledger.Person) { dst.HomeSite = src.HomeSite }},
	{"roles", func(dst, src *ledger.Person) { dst.Roles = src.Roles }},
	{"qualifications", func(dst, src *ledger.Person) { dst.Qualifications = src.Qualifications }},
}

func personName(p *problems, field, name string) string { return p.required(field, "people", name) }
