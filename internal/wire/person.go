package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// PersonFrom reads a person that a client asks for, without the code.
func PersonFrom(p *Problems, m *pb.Person) ledger.Person {
	person := ledger.Person{
		Name:     m.GetDisplayName(),
		Employer: m.GetEmployer(),
		HomeSite: p.Site("home_site", m.GetHomeSite()),
	}
	for _, r := range m.GetRoles() {
		person.Roles = append(person.Roles, Word[ledger.Role](r))
	}
	for _, q := range m.GetQualifications() {
		person.Qualifications = append(person.Qualifications, ledger.Qualification{Task: q.GetTask(), ExpireDate: q.GetExpireDate()})
	}
	return person
}

// PersonTo writes a person.
func PersonTo(person ledger.Person) *pb.Person {
	m := &pb.Person{
		Name:        ResourceName("people", person.ID),
		DisplayName: person.Name,
		Employer:    person.Employer,
		HomeSite:    ResourceName("sites", person.HomeSite),
		Etag:        EtagOf(person.Version),
		CreateTime:  Timestamp(person.CreateTime),
		UpdateTime:  Timestamp(person.UpdateTime),
	}
	for _, r := range person.Roles {
		m.Roles = append(m.Roles, pb.Role(r))
	}
	for _, q := range person.Qualifications {
		m.Qualifications = append(m.Qualifications, &pb.Qualification{Task: q.Task, ExpireDate: q.ExpireDate})
	}
	return m
}

// PersonName reads the full resource name of a person in a field; it must be given.
func PersonName(p *Problems, field, name string) string { return p.Required(field, "people", name) }
